"""A hierarchical model of players' hands: bias, spread and lapses of players not yet seen.

The error of a press of player i on song s at attempt a is mu_i + b_s + sigma * z with
ln sigma = s_i + d_s + learning * ln a and z Student's t; a note is left without a press with chance
expit(l_i + c_s + ...). (mu_i, s_i, l_i) are jointly normal over players, so a clumsy player may also lapse more.
A console that logs only some presses (those in its window) is met by the likelihood of what was logged: an error within
the logged range, or nothing, by a lapse or by a press outside.
"""

from dataclasses import dataclass, field

import numpy as np

from analysis.models.fitting.sampling import Sampling

Array = np.ndarray
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
