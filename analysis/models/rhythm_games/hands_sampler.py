"""Samples the posterior of players' hands: Metropolis for players and songs, Gibbs for what is over players."""

import numpy as np
from scipy import special

from analysis.models.fitting.sampling import Sampling, effective_of_chain, split_r
from analysis.models.rhythm_games.hands import Array, HandsPosterior, HandsPriors, LoggedNotes, thinned
from analysis.models.rhythm_games.note_cells import NoteCells

_SHAPES = np.array([2.5, 3.0, 4.0, 6.0, 10.0, 20.0, 60.0])  # degrees of freedom tried for z
# Bias and spread move together, then lapses: the latter need no look at the errors.
_MOVES = (np.array([1.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0]))
# Where presses are withheld, spread, lapses and tails make up for each other, and steps along one of them at a time
# hardly get anywhere. So all three also move as they were seen to move together while the chain settled (adaptive
# Metropolis: Haario et al. 2001, Bernoulli 7:223-242): from this turn on, and looked at again after so many.
_SEEN_FROM, _SEEN_EVERY = 60, 20
# Added to what was seen, as long as that is little: in squares of ms, ln spread and logit.
_LEAST_SEEN = np.diag([0.1, 0.001, 0.01])


def fit(
    notes: LoggedNotes,
    seed: int = 1,
    burn: int = 300,
    keep: int = 700,
    draws: int = 200,
    priors: HandsPriors | None = None,
) -> HandsPosterior:
    """Samples the posterior: `burn` turns to settle, `keep` kept, of which `draws` are handed on.

    Raises ValueError where no press was logged.
    """
    notes = thinned(notes)
    cells = NoteCells(notes)
    if not len(cells.error):
        raise ValueError("no press lies near any note: there is nothing to fit")
    chain = _Chain(notes, cells, priors or HandsPriors(), np.random.default_rng(seed), burn)
    stored = []
    for turn in range(burn + keep):
        chain.advance(turn)
        if turn >= burn:
            stored.append(chain.state())
    means, roots, songs, slopes, thetas, freedoms = (np.array(column) for column in zip(*stored, strict=True))
    settled = split_r(np.concatenate([means, thetas.mean(axis=1)], axis=1))
    # Levels are told for the first attempt.
    means[:, 1:] -= slopes * cells.mean_log_attempt
    effective = effective_of_chain(np.concatenate([means, np.log(np.linalg.norm(roots, axis=2))], axis=1))
    first_thetas = thetas.copy()
    first_thetas[:, :, 1:] -= slopes[:, None, :] * cells.mean_log_attempt
    chosen = np.linspace(0, keep - 1, draws).round().astype(int)
    shape_z, shape_cdf = _shape(cells, thetas.mean(axis=0), songs.mean(axis=0), slopes.mean(axis=0), freedoms)
    return HandsPosterior(
        means[chosen],
        roots[chosen],
        songs[chosen],
        slopes[chosen],
        first_thetas[chosen],
        shape_z,
        shape_cdf,
        freedoms[chosen],
        settled,
        Sampling(draws, effective),
    )


class _Chain:
    """Where the sampling stands. theta: (players, 3); song: (songs, 3); learning: (2,) on spread and lapses; shape and
    presence: (cells,) the log likelihood there."""

    def __init__(self, notes: LoggedNotes, cells: NoteCells, priors: HandsPriors, rng: np.random.Generator, burn: int):
        self._cells, self._priors, self._rng, self._burn = cells, priors, rng, burn
        self.theta = _first_guess(cells, priors)
        self.song, self.learning, self.freedom = np.zeros((notes.songs, 3)), priors.learning.copy(), 6.0
        self._design = np.stack([np.ones(notes.players), notes.experienced.astype(float)], axis=1)
        self.effects = np.stack([self.theta.mean(axis=0), np.zeros(3)])
        self.precision = np.diag(priors.between**-2.0)
        pressed, missed = np.maximum(cells.by_player(cells.logged), 1), cells.by_player(cells.missing)
        spread = np.exp(self.theta[:, 1])
        steps = [1.7 * spread / np.sqrt(pressed), 1.4 / np.sqrt(pressed), 2.0 / np.sqrt(missed + 2)]
        self._step = np.stack(steps, axis=1)
        self._step_song = 0.3 * priors.song_sd / np.sqrt(max(1, notes.players / 4))
        self._step_learning = np.array([0.05, 0.2])
        self._past: list[Array] = []
        self._root_class, self._step_class = np.diag([2.0, 0.1, 0.3]), np.ones(1)
        self._root_each, self._step_each = np.diag(np.sqrt(np.diag(_LEAST_SEEN))), np.full(notes.players, 1.0)
        self._shape, self._presence = self._tried(self.theta, self.song, self.learning, self.freedom)

    def advance(self, turn: int) -> None:
        """One turn: each part in its place, the others held."""
        for move in _MOVES:
            self._move_players(move, turn)
        self._move_each(turn)
        for _ in range(2):
            self._move_class(turn)
        if self._cells.songs > 1:
            for move in _MOVES:
                self._move_songs(move, turn)
        if np.ptp(self._cells.log_attempt) > 1e-9:
            self._move_learning(turn)
        else:
            self.learning = self._priors.learning + self._priors.learning_sd * self._rng.standard_normal(2)
        self._move_freedom()
        self.effects = _draw_effects(self.theta, self._design, self.precision, self._priors, self._rng)
        self.precision = _draw_precision(self.theta - self._design @ self.effects, self._priors, self._rng)
        if turn < self._burn:
            self._look_back(turn)

    def state(self) -> tuple[Array, Array, Array, Array, Array, float]:
        """What is kept of a turn: mean of new players, root over players, songs, learning, players, freedom."""
        root = np.linalg.cholesky(np.linalg.inv(self.precision))
        return self.effects[0], root, self.song, self.learning, self.theta, self.freedom

    def _tried(
        self, theta: Array, song: Array, learning: Array, freedom: float, errors: bool = True
    ) -> tuple[Array, Array]:
        """(shape, presence) there; without `errors`, where bias and spread are as they were, the shape too is."""
        cells = self._cells
        at = theta[cells.player] + song[cells.song]
        mu, log_sigma = at[:, 0], at[:, 1] + learning[0] * cells.log_attempt
        logit = at[:, 2] + learning[1] * cells.log_attempt
        shape = cells.shape_terms(mu, log_sigma, freedom) if errors else self._shape
        return shape, cells.presence_terms(mu, log_sigma, logit, freedom)

    def _gain(self, shape: Array, presence: Array) -> Array:
        return shape + presence - self._shape - self._presence

    def _pace(self, away: Array | float, turn: int) -> Array | float:
        """What a step is to be multiplied by, given how far acceptance is from what is wanted."""
        return np.exp(away * 2 / np.sqrt(turn + 4)) if turn < self._burn else 1.0

    def _prior(self, theta: Array) -> Array:
        away = theta - self._design @ self.effects
        return -0.5 * np.einsum("ij,jk,ik->i", away, self.precision, away)

    def _move_players(self, move: Array, turn: int) -> None:
        accept = self._try_players(self._step * move * self._rng.standard_normal(self.theta.shape), bool(move[0]))
        self._step = self._step * self._pace(np.outer(accept - 0.35, move), turn)

    def _move_each(self, turn: int) -> None:
        """Each player in all three, as they were seen to go together."""
        push = np.einsum("...ij,...j->...i", self._root_each, self._rng.standard_normal(self.theta.shape))
        accept = self._try_players(self._step_each[:, None] * push)
        self._step_each = self._step_each * self._pace(accept - 0.3, turn)

    def _try_players(self, push: Array, errors: bool = True) -> Array:
        """Moves each player by its own `push` or not at all; (players,) which were moved."""
        trial = self.theta + push
        shape, presence = self._tried(trial, self.song, self.learning, self.freedom, errors)
        gain = self._cells.by_player(self._gain(shape, presence)) + self._prior(trial) - self._prior(self.theta)
        accept = np.log(self._rng.random(len(gain))) < gain
        self.theta = np.where(accept[:, None], trial, self.theta)
        taken = accept[self._cells.player]
        self._shape, self._presence = np.where(taken, shape, self._shape), np.where(taken, presence, self._presence)
        return accept

    def _move_class(self, turn: int) -> None:
        push = self._step_class * (self._root_class @ self._rng.standard_normal(3))
        self._step_class = self._step_class * self._pace(self._try_class(push, self.freedom) - 0.3, turn)

    def _try_class(self, push: Array, freedom: float) -> bool:
        """Moves all players and the mean over them by one `push`, with other tails, or not; whether it did."""
        trial, mean = self.theta + push, self.effects[0] + push
        tried, away = self._tried(trial, self.song, self.learning, freedom), self._priors.mean_sd**-2.0
        prior = away @ ((mean - self._priors.mean) ** 2 - (self.effects[0] - self._priors.mean) ** 2)
        accepted = np.log(self._rng.random()) < float(self._gain(*tried).sum()) - 0.5 * float(prior)
        if accepted:
            self.theta, self.freedom, (self._shape, self._presence) = trial, freedom, tried
            self.effects = np.stack([mean, self.effects[1]])
        return bool(accepted)

    def _look_back(self, turn: int) -> None:
        """How players, and the class as a whole, were seen to move, without the first third."""
        self._past.append(self.theta)
        if turn >= _SEEN_FROM and turn % _SEEN_EVERY == 0:
            past = np.array(self._past[turn // 3 :])
            self._root_class = np.linalg.cholesky(np.cov(past.mean(axis=1), rowvar=False) + _LEAST_SEEN / 3)
            away = past - past.mean(axis=0)
            self._root_each = np.linalg.cholesky(np.einsum("tpi,tpj->pij", away, away) / len(past) + _LEAST_SEEN)

    def _move_songs(self, move: Array, turn: int) -> None:
        # Songs differ around zero; a common shift belongs to the players.
        push = self._step_song * move * self._rng.standard_normal(self.song.shape)
        trial, sd = self.song + push - push.mean(axis=0), self._priors.song_sd
        tried = self._tried(self.theta, trial, self.learning, self.freedom, bool(move[0]))
        gain = float(self._gain(*tried).sum()) - 0.5 * float(((trial / sd) ** 2).sum() - ((self.song / sd) ** 2).sum())
        accepted = np.log(self._rng.random()) < gain
        if accepted:
            self.song, self._shape, self._presence = trial, *tried
        self._step_song = self._step_song * self._pace(move * (accepted - 0.3), turn)

    def _move_learning(self, turn: int) -> None:
        trial = self.learning + self._step_learning * self._rng.standard_normal(2)
        tried = self._tried(self.theta, self.song, trial, self.freedom)
        mean, sd = self._priors.learning, self._priors.learning_sd
        prior = (((trial - mean) / sd) ** 2 - ((self.learning - mean) / sd) ** 2).sum()
        accepted = np.log(self._rng.random()) < float(self._gain(*tried).sum()) - 0.5 * float(prior)
        if accepted:
            self.learning, self._shape, self._presence = trial, *tried
        self._step_learning = self._step_learning * self._pace(accepted - 0.35, turn)

    def _move_freedom(self) -> None:
        other = int(np.searchsorted(_SHAPES, self.freedom)) + int(self._rng.choice([-1, 1]))
        if 0 <= other < len(_SHAPES):
            # The quartiles of the errors stay where they are: the data tell them better than either number.
            now, then = special.stdtrit([self.freedom, _SHAPES[other]], 0.75)
            self._try_class(np.array([0.0, np.log(now / then), 0.0]), float(_SHAPES[other]))


def _first_guess(cells: NoteCells, priors: HandsPriors) -> Array:
    """(players, 3) where the chain starts: medians and quartiles, which are near enough everywhere."""
    middle, spread = _middle_and_spread(cells.error)
    theta = np.tile([middle, np.log(spread), priors.mean[2]], (cells.players, 1))
    of_player = cells.player[cells.of]
    for p in range(cells.players):
        own = cells.error[of_player == p]
        if len(own) >= 8:
            middle, spread = _middle_and_spread(own)
            theta[p, :2] = middle, np.log(spread)
    pressed, missed = cells.by_player(cells.logged), cells.by_player(cells.missing)
    theta[:, 2] = np.log((missed + 0.5) / (pressed + 10))
    return theta


def _middle_and_spread(errors: Array) -> tuple[float, float]:
    middle = float(np.median(errors))
    return middle, max(1.4826 * float(np.median(np.abs(errors - middle))), 1.0)


def _draw_effects(theta: Array, design: Array, inverse: Array, priors: HandsPriors, rng: np.random.Generator) -> Array:
    """(2, 3) mean of new players and what experience adds: normal given the players (multivariate regression)."""
    prior_precision = np.concatenate([1 / priors.mean_sd**2, 1 / priors.experienced_sd**2])
    cross = design.T @ design
    precision = (cross[:, None, :, None] * inverse[None, :, None, :]).reshape(6, 6) + np.diag(prior_precision)
    right = (design.T @ theta @ inverse).ravel() + prior_precision * np.concatenate([priors.mean, np.zeros(3)])
    root = np.linalg.cholesky(precision)
    return np.linalg.solve(root.T, np.linalg.solve(root, right) + rng.standard_normal(6)).reshape(2, 3)


def _draw_precision(away: Array, priors: HandsPriors, rng: np.random.Generator) -> Array:
    """Inverse covariance over players, given their distances from the mean: Wishart, by Bartlett's decomposition."""
    size = away.shape[1]
    root = np.linalg.cholesky(np.linalg.inv(away.T @ away + priors.between_weight * np.diag(priors.between**2)))
    lower = np.tril(rng.standard_normal((size, size)), -1)
    degrees = priors.between_weight + size + len(away)
    lower[np.diag_indices(size)] = np.sqrt(rng.chisquare(degrees - np.arange(size)))
    factor = root @ lower
    return factor @ factor.T


def _shape(cells: NoteCells, theta: Array, song: Array, learning: Array, freedoms: Array) -> tuple[Array, Array]:
    """The distribution of z: what the standardised errors show where all presses were logged, else the t fitted.

    Hands are not quite t: corrections, passages, fatigue. Where nothing is cut off, their own distribution is better.
    """
    at = theta[cells.player] + song[cells.song]
    sigma = np.exp(at[:, 1] + learning[0] * cells.log_attempt)
    whole = np.minimum(cells.high - at[:, 0], at[:, 0] - cells.low) > 3.5 * sigma
    if cells.logged[~whole].sum() < 0.02 * cells.logged.sum() and len(cells.error) >= 200:
        z = np.sort((cells.error - at[:, 0][cells.of]) / sigma[cells.of])
        grid = np.linspace(-8, 8, 801)
        # A little smoothing, as much as 2 % of the spread, so that ticks of the log make no steps.
        cdf = (np.searchsorted(z, grid, side="right") + np.searchsorted(z, grid, side="left")) / (2 * len(z))
        weights = np.exp(-0.5 * (np.arange(-6, 7) * 0.02 / 0.06) ** 2)
        cdf = np.convolve(np.pad(cdf, 6, mode="edge"), weights / weights.sum(), mode="valid")
        return grid, cdf
    grid = np.linspace(-12, 12, 1201)
    values, counts = np.unique(freedoms, return_counts=True)
    return grid, np.sum(
        [c * special.stdtr(v, grid) for v, c in zip(values, counts, strict=True)], axis=0
    ) / counts.sum()
