"""The share of notes hit, for every window the console might use."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.proportions import Share, share_by_player
from analysis.stats.rhythm.timed_notes import TimedNotes

Array = np.ndarray


@dataclass(frozen=True)
class AccuracyCurve:
    """Hit share for each half-width (early and late alike) around one input offset.

    by_player: (players, windows); share with low..high: all players' notes together, interval by player;
    median, lower_quarter: over players.
    """

    share: Array
    low: Array
    high: Array
    by_player: Array
    median: Array
    lower_quarter: Array


def hit_counts(judged_us: Array, player: Array, players: int, early_us: Array, late_us: Array) -> tuple[Array, Array]:
    """((players, windows) hits, (players,) notes) for windows -early..late, both edges included.

    judged_us: (n,) press - offset - due, NaN for a note without a press, which no window hits.
    """
    trials = np.bincount(player, minlength=players)
    hits = np.zeros((players, len(early_us)), np.int64)
    order = np.argsort(player, kind="stable")
    first = np.concatenate([[0], np.cumsum(trials)])
    for p in range(players):
        own = np.sort(judged_us[order[first[p] : first[p + 1]]])
        own = own[~np.isnan(own)]
        hits[p] = np.searchsorted(own, late_us, side="right") - np.searchsorted(own, -early_us, side="left")
    return np.maximum(hits, 0), trials


def accuracy_curve(notes: TimedNotes, window_us: Array) -> AccuracyCurve:
    """Hit share as a function of the window, around the offset in force.

    window_us: (windows,) half-widths. Intervals by player, as `share_by_player`.
    """
    hits, trials = hit_counts(notes.judged_us, notes.player, len(notes.players), window_us, window_us)
    played = trials > 0
    hits, trials = hits[played], trials[played]
    shares = [share_by_player(column, trials, np.arange(len(trials))) for column in hits.T]
    own = hits / trials[:, None]
    return AccuracyCurve(
        _column(shares, "value"),
        _column(shares, "low"),
        _column(shares, "high"),
        own,
        np.quantile(own, 0.5, axis=0),
        np.quantile(own, 0.25, axis=0),
    )


def needed_windows(notes: TimedNotes, share: float) -> Array:
    """(players who have notes,) half the narrowest window, in us, in which each hits `share` of the notes, around the
    offset in force; infinity for one who pressed at too few."""
    distance = np.where(np.isnan(notes.judged_us), np.inf, np.abs(notes.judged_us))
    own = [np.sort(distance[notes.player == p]) for p in np.unique(notes.player)]
    return np.array([d[int(np.ceil(share * len(d) - 1e-9)) - 1] for d in own])


def asymmetric_shares(notes: TimedNotes, early_us: Array, late_us: Array) -> Array:
    """(early, late) share of all notes hit, each player counting alike, around the offset in force."""
    e, late = np.meshgrid(early_us, late_us, indexing="ij")
    hits, trials = hit_counts(notes.judged_us, notes.player, len(notes.players), e.ravel(), late.ravel())
    played = trials > 0
    return (hits[played] / trials[played][:, None]).mean(axis=0).reshape(e.shape)


def window_steps(notes: TimedNotes, steps: int = 60) -> Array:
    """(about `steps`,) us: from 0 to the widest logged press that was meant for a note, at most the 99.5 % of them."""
    distance = np.abs(notes.judged_us[notes.pressed])
    widest = float(np.quantile(distance, 0.995)) if len(distance) else 0.0
    edge = float(np.nanmax(np.r_[notes.early_us, notes.late_us, 0.0]))
    # Whole milliseconds read well, and today's edge is always within the picture.
    top = max(widest, 1.2 * edge, 10_000.0)
    return np.unique(np.rint(np.linspace(0, top, steps) / 1000)) * 1000


def _column(shares: list[Share], name: str) -> Array:
    return np.array([np.nan if (v := getattr(s, name)) is None else v for s in shares], float)
