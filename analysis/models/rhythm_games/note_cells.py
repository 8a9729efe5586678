"""The likelihood of what was logged of players' hands, a cell of like notes at a time."""

import numpy as np
from scipy import special

from analysis.models.rhythm_games.hands import Array, LoggedNotes


class NoteCells:
    """The notes sorted by (player, song, attempt, range): parameters are alike within a cell."""

    def __init__(self, notes: LoggedNotes):
        key = np.stack([notes.player, notes.song, notes.attempt, notes.low_ms.round(3), notes.high_ms.round(3)])
        cells, of = np.unique(key, axis=1, return_inverse=True)
        of = of.reshape(-1)
        self.player, self.song = cells[0].astype(int), cells[1].astype(int)
        self.log_attempt = np.log(np.maximum(cells[2], 1))
        self.low, self.high = cells[3], cells[4]
        logged = ~np.isnan(notes.error_ms)
        order = np.argsort(of[logged], kind="stable")
        self.error = notes.error_ms[logged][order]
        self.of = of[logged][order]
        count = len(self.player)
        self.logged = np.bincount(of[logged], minlength=count).astype(float)
        self.missing = np.bincount(of[~logged], minlength=count).astype(float)
        self.players, self.songs = notes.players, notes.songs
        # About their mean, or the slope over attempts and the players' levels would have to move together.
        self.mean_log_attempt = float(np.average(self.log_attempt, weights=self.logged + self.missing))
        self.log_attempt -= self.mean_log_attempt
        # Cells with at least one logged note, as rows for reduceat.
        self.some = np.flatnonzero(self.logged)
        self.first = np.searchsorted(self.of, self.some)

    def by_player(self, values: Array) -> Array:
        """(players,) sums of one value a cell."""
        return np.bincount(self.player, values, self.players)

    def shape_terms(self, mu: Array, log_sigma: Array, freedom: float) -> Array:
        """(cells,) sum of ln density of the logged errors."""
        z = (self.error - mu[self.of]) * np.exp(-log_sigma)[self.of]
        each = np.log1p(z * z / freedom)
        out = np.zeros(len(self.player))
        if len(self.some):
            out[self.some] = np.add.reduceat(each, self.first)
        return -0.5 * (freedom + 1) * out + self.logged * (_log_norm(freedom) - log_sigma)

    def presence_terms(self, mu: Array, log_sigma: Array, logit: Array, freedom: float) -> Array:
        """(cells,) ln chance of a press at all, and of nothing logged."""
        sigma = np.exp(log_sigma)
        out = special.stdtr(freedom, (self.low - mu) / sigma) + special.stdtr(freedom, (mu - self.high) / sigma)
        lapse = special.expit(logit)
        press = special.log_expit(-logit)
        return self.logged * press + self.missing * np.log(np.maximum(lapse + (1 - lapse) * out, 1e-300))


def _log_norm(freedom: float) -> float:
    return float(special.gammaln((freedom + 1) / 2) - special.gammaln(freedom / 2) - 0.5 * np.log(freedom * np.pi))
