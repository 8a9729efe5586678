"""A hierarchical model of players' hands: bias, spread and lapses of players not yet seen.

The error of a press of player i on song s at attempt a is mu_i + b_s + sigma * z with
ln sigma = s_i + d_s + learning * ln a and z Student's t; a note is left without a press with chance
expit(l_i + c_s + ...). (mu_i, s_i, l_i) are jointly normal over players, so a clumsy player may also lapse more.
A console that logs only some presses (those in its window) is met by the likelihood of what was logged: an error within
the logged range, or nothing, by a lapse or by a press outside.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy import special

from analysis.models.fitting.sampling import Sampling, effective_of_chain

Array = np.ndarray
_SHAPES = np.array([2.5, 3.0, 4.0, 6.0, 10.0, 20.0, 60.0])  # degrees of freedom tried for z
MOST_NOTES = 4000


@dataclass(frozen=True)
class HandsPriors:
    """Weakly informative, of (bias in ms, ln spread in ms, logit of lapses).

    Tapping errors: spread 20 to 60 ms, bias some tens of ms early (Repp 2005); a console's latency may add as much the
    other way. What players differ by, `between`, is taken to be like that of as many players as `between_weight` says
    (inverse Wishart: Gelman et al. 2013, Bayesian Data Analysis, section 3.6); the figures are common sense, no source,
    and a class of twelve outweighs them. learning (on spread and lapses): practice follows a power of the attempts
    (Newell & Rosenbloom 1981); in rhythm games a few per cent an attempt.
    """

    mean: Array = field(default_factory=lambda: np.array([0.0, np.log(40.0), np.log(0.03 / 0.97)]))
    mean_sd: Array = field(default_factory=lambda: np.array([80.0, 0.6, 1.2]))
    between: Array = field(default_factory=lambda: np.array([16.0, 0.27, 0.6]))
    between_weight: float = 3.0
    song_sd: Array = field(default_factory=lambda: np.array([15.0, 0.2, 0.5]))
    experienced_sd: Array = field(default_factory=lambda: np.array([15.0, 0.3, 0.7]))
    learning: Array = field(default_factory=lambda: np.array([-0.1, -0.1]))
    learning_sd: Array = field(default_factory=lambda: np.array([0.15, 0.4]))


@dataclass(frozen=True)
class LoggedNotes:
    """What the model is fitted to; one element a note. error_ms: NaN where nothing was logged; low_ms, high_ms: the
    range in which a press would have been logged as this note's. experienced: one a player."""

    player: Array
    song: Array
    attempt: Array
    error_ms: Array
    low_ms: Array
    high_ms: Array
    players: int
    songs: int
    experienced: Array


@dataclass(frozen=True)
class HandsPosterior:
    """Draws, first axis. mean: (draws, 3) of a new player; root: (draws, 3, 3) lower Cholesky factor over players;
    song: (draws, songs, 3); learning: (draws, 2) on spread and lapses; players: (draws, players, 3);
    shape_z, shape_cdf: the distribution of z. split: largest split-half R of the means (1 is converged)."""

    mean: Array
    root: Array
    song: Array
    learning: Array
    players: Array
    shape_z: Array
    shape_cdf: Array
    freedom: Array
    split: float
    sampling: Sampling


def thinned(notes: LoggedNotes, most: int = MOST_NOTES) -> LoggedNotes:
    """At most `most` notes, those of each player evenly: what is left still tells each spread to a few per cent."""
    each = max(60, most // max(1, notes.players))
    keep = np.zeros(len(notes.player), bool)
    for p in range(notes.players):
        own = np.flatnonzero(notes.player == p)
        keep[own if len(own) <= each else own[np.linspace(0, len(own) - 1, each).round().astype(int)]] = True
    return LoggedNotes(
        notes.player[keep],
        notes.song[keep],
        notes.attempt[keep],
        notes.error_ms[keep],
        notes.low_ms[keep],
        notes.high_ms[keep],
        notes.players,
        notes.songs,
        notes.experienced,
    )


class _Cells:
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


def fit(
    notes: LoggedNotes,
    seed: int = 1,
    burn: int = 300,
    keep: int = 700,
    draws: int = 200,
    priors: HandsPriors | None = None,
) -> HandsPosterior:
    """Samples the posterior: Metropolis for players and songs, Gibbs for what is over players.

    Raises ValueError where no press was logged.
    """
    notes, priors = thinned(notes), priors or HandsPriors()
    cells = _Cells(notes)
    if not len(cells.error):
        raise ValueError("no press lies near any note: there is nothing to fit")
    rng = np.random.default_rng(seed)
    state = _Start(notes, cells, priors)
    theta, song, learning, freedom = state.theta, state.song, state.learning, 6.0
    design = np.stack([np.ones(notes.players), notes.experienced.astype(float)], axis=1)
    effects = np.stack([theta.mean(axis=0), np.zeros(3)])
    precision = np.diag(priors.between**-2.0)
    pressed = np.maximum(cells.by_player(cells.logged), 1)
    missed = cells.by_player(cells.missing)
    step = np.stack(
        [1.7 * np.exp(theta[:, 1]) / np.sqrt(pressed), 1.4 / np.sqrt(pressed), 2.0 / np.sqrt(missed + 2)], axis=1
    )
    step_song, step_learning = 0.3 * priors.song_sd / np.sqrt(max(1, len(pressed) / 4)), np.array([0.05, 0.2])
    stored: list[tuple[Array, Array, Array, Array, Array, float]] = []

    def linear(theta: Array, song: Array, learning: Array) -> tuple[Array, Array, Array]:
        at = theta[cells.player] + song[cells.song]
        return (at[:, 0], at[:, 1] + learning[0] * cells.log_attempt, at[:, 2] + learning[1] * cells.log_attempt)

    mu, log_sigma, logit = linear(theta, song, learning)
    shape = cells.shape_terms(mu, log_sigma, freedom)
    presence = cells.presence_terms(mu, log_sigma, logit, freedom)

    for turn in range(burn + keep):
        centre = design @ effects

        def prior(theta: Array, centre: Array = centre, precision: Array = precision) -> Array:
            away = theta - centre
            return -0.5 * np.einsum("ij,jk,ik->i", away, precision, away)

        # Bias and spread of each player together, then lapses: the latter need no look at the errors.
        for move in (np.array([1.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])):
            trial = theta + step * move * rng.standard_normal(theta.shape)
            new = linear(trial, song, learning)
            new_shape = cells.shape_terms(new[0], new[1], freedom) if move[0] else shape
            new_presence = cells.presence_terms(*new, freedom)
            gain = cells.by_player(new_shape + new_presence - shape - presence) + prior(trial) - prior(theta)
            accept = np.log(rng.random(len(gain))) < gain
            theta = np.where(accept[:, None], trial, theta)
            taken = accept[cells.player]
            shape, presence = np.where(taken, new_shape, shape), np.where(taken, new_presence, presence)
            if turn < burn:
                step *= np.exp(np.outer(accept - 0.35, move) * 2 / np.sqrt(turn + 4))
        if cells.songs > 1:
            # Songs differ around zero; a common shift belongs to the players.
            for move in (np.array([1.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])):
                push = step_song * move * rng.standard_normal(song.shape)
                trial_song = song + push - push.mean(axis=0)
                new = linear(theta, trial_song, learning)
                new_shape = cells.shape_terms(new[0], new[1], freedom) if move[0] else shape
                new_presence = cells.presence_terms(*new, freedom)
                gain_all = float((new_shape + new_presence - shape - presence).sum()) - 0.5 * float(
                    ((trial_song / priors.song_sd) ** 2).sum() - ((song / priors.song_sd) ** 2).sum()
                )
                accepted = np.log(rng.random()) < gain_all
                if accepted:
                    song, shape, presence = trial_song, new_shape, new_presence
                if turn < burn:
                    step_song = step_song * np.exp(move * (accepted - 0.3) * 2 / np.sqrt(turn + 4))
        if np.ptp(cells.log_attempt) > 1e-9:
            trial_learning = learning + step_learning * rng.standard_normal(2)
            new = linear(theta, song, trial_learning)
            new_shape, new_presence = (cells.shape_terms(new[0], new[1], freedom), cells.presence_terms(*new, freedom))
            gain_all = float((new_shape + new_presence - shape - presence).sum()) - 0.5 * float(
                (
                    ((trial_learning - priors.learning) / priors.learning_sd) ** 2
                    - ((learning - priors.learning) / priors.learning_sd) ** 2
                ).sum()
            )
            accepted = np.log(rng.random()) < gain_all
            if accepted:
                learning, shape, presence = trial_learning, new_shape, new_presence
            if turn < burn:
                step_learning = step_learning * np.exp((accepted - 0.35) * 2 / np.sqrt(turn + 4))
        else:
            learning = priors.learning + priors.learning_sd * rng.standard_normal(2)
        at = int(np.searchsorted(_SHAPES, freedom))
        other = at + int(rng.choice([-1, 1]))
        if 0 <= other < len(_SHAPES):
            mu, log_sigma, logit = linear(theta, song, learning)
            new_shape = cells.shape_terms(mu, log_sigma, _SHAPES[other])
            new_presence = cells.presence_terms(mu, log_sigma, logit, _SHAPES[other])
            if np.log(rng.random()) < float((new_shape + new_presence - shape - presence).sum()):
                freedom, shape, presence = float(_SHAPES[other]), new_shape, new_presence

        effects = _draw_effects(theta, design, precision, priors, rng)
        precision = _draw_precision(theta - design @ effects, priors, rng)
        if turn >= burn:
            stored.append(
                (
                    effects[0],
                    np.linalg.cholesky(np.linalg.inv(precision)),
                    song.copy(),
                    learning.copy(),
                    theta.copy(),
                    freedom,
                )
            )

    means, roots, songs, slopes, thetas, freedoms = (np.array(column) for column in zip(*stored, strict=True))
    settled = _split_r(np.concatenate([means, thetas.mean(axis=1)], axis=1))
    # Levels are told for the first attempt.
    means[:, 1:] -= slopes * cells.mean_log_attempt
    effective = effective_of_chain(np.concatenate([means, np.log(np.linalg.norm(roots, axis=2))], axis=1))
    first_thetas = thetas.copy()
    first_thetas[:, :, 1:] -= slopes[:, None, :] * cells.mean_log_attempt
    chosen = np.linspace(0, keep - 1, draws).round().astype(int)
    shape_z, shape_cdf = _shape(notes, cells, thetas.mean(axis=0), songs.mean(axis=0), slopes.mean(axis=0), freedoms)
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


class _Start:
    """Where the chain starts: medians and quartiles, which are near enough everywhere."""

    def __init__(self, notes: LoggedNotes, cells: _Cells, priors: HandsPriors):
        middle, spread = (
            float(np.median(cells.error)),
            1.4826 * float(np.median(np.abs(cells.error - np.median(cells.error)))),
        )
        spread = max(spread, 1.0)
        self.theta = np.tile([middle, np.log(spread), priors.mean[2]], (notes.players, 1))
        of_player = cells.player[cells.of]
        for p in range(notes.players):
            own = cells.error[of_player == p]
            if len(own) >= 8:
                self.theta[p, 0] = np.median(own)
                self.theta[p, 1] = np.log(max(1.4826 * np.median(np.abs(own - np.median(own))), 1.0))
        pressed, missed = cells.by_player(cells.logged), cells.by_player(cells.missing)
        self.theta[:, 2] = np.log((missed + 0.5) / (pressed + 10))
        self.song, self.learning = np.zeros((notes.songs, 3)), priors.learning.copy()


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


def _shape(
    notes: LoggedNotes, cells: _Cells, theta: Array, song: Array, learning: Array, freedoms: Array
) -> tuple[Array, Array]:
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


def _split_r(chain: Array) -> float:
    """Largest potential scale reduction of the two halves of a chain (Gelman & Rubin 1992; split: common practice)."""
    half = len(chain) // 2
    parts = np.stack([chain[:half], chain[half : 2 * half]])
    within = parts.var(axis=1, ddof=1).mean(axis=0)
    between = half * parts.mean(axis=1).var(axis=0, ddof=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        r = np.sqrt(((half - 1) / half * within + between / half) / within)
    return float(np.nanmax(np.where(np.isfinite(r), r, 1.0)))
