"""Timing along the song: passages, drift of the console's clock or tempo, density of notes."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.estimate import Estimate
from analysis.stats.players.within_player import mean_of_players
from analysis.stats.rhythm.timed_notes import TimedNotes
from analysis.stats.rhythm.timing_errors import bias_and_spread

Array = np.ndarray
# Passages of a song: enough to tell a bar or two from the next, few enough that each holds notes of most players.
MOST_PASSAGES = 24
SHORTEST_US = 2_000_000
# Classes of the time since the note before, in ms. Below 150 ms most people cannot tap one finger (Repp 2005, on
# rate limits of tapping: 100 to 120 ms); the other edges are about half an octave of tempo: common practice.
TEMPO_EDGES_MS = (0.0, 150.0, 250.0, 350.0, 500.0, 700.0, np.inf)


def passages(notes: TimedNotes, song: int) -> tuple[Array, Array]:
    """(edges in us, passage number of each note of the song, -1 for other songs' notes)."""
    own = notes.song == song
    length = float(notes.in_song_us[own].max(initial=0)) + 1
    count = int(np.clip(length // SHORTEST_US, 1, MOST_PASSAGES))
    edges = np.linspace(min(0.0, float(notes.in_song_us[own].min(initial=0))), length, count + 1)
    number = np.clip(np.searchsorted(edges, notes.in_song_us, side="right") - 1, 0, count - 1)
    return edges, np.where(own, number, -1)


def since_last_note_us(notes: TimedNotes) -> Array:
    """(n,) time since the note before in the run, of any lane; chords count from the note before the chord."""
    due, new_run = notes.due_us.astype(float), np.ones(len(notes), bool)
    new_run[1:] = notes.run[1:] != notes.run[:-1]
    # The first note of each chord; the others take over its distance.
    start = new_run.copy()
    start[1:] |= np.diff(due) > 0
    index = np.maximum.accumulate(np.where(start, np.arange(len(due)), 0))
    before = index - 1
    out = np.where(before >= 0, due - due[before], np.nan)
    return np.where(new_run[index], np.nan, out)


@dataclass(frozen=True)
class Drift:
    """How the error changes along one song: us per s of song, that is parts per million.

    own_ppm: (players,), NaN where a player has too few presses; ppm: their mean.
    """

    song: int
    own_ppm: Array
    ppm: Estimate
    length_s: float


def drift(notes: TimedNotes, song: int) -> Drift:
    """The mean over players of the slope of their errors along the song, each run about its own level.

    Positive: presses fall later and later against the notes, as when the console's tempo runs ahead of the music.
    Errors are clipped at three spreads of the player, so that lapses cannot tilt the line. song: its number in
    `notes.songs`; the slopes in ppm, us of error for a second of song.
    """
    own = (notes.song == song) & notes.pressed
    player, run = notes.player[own], notes.run[own]
    error, at = notes.error_us[own], notes.in_song_us[own].astype(float)
    players = len(notes.players)
    middle, spread = bias_and_spread(error, player, players)
    clipped = np.clip(error, (middle - 3 * spread)[player], (middle + 3 * spread)[player])
    number = np.unique(run, return_inverse=True)[1].reshape(-1)
    with np.errstate(divide="ignore", invalid="ignore"):

        def centred(v: Array) -> Array:
            return v - (np.bincount(number, v) / np.bincount(number))[number] if len(v) else v

        x, y = centred(at), centred(clipped)
        square = np.bincount(player, x * x, players)
        slope = np.where(square > 0, np.bincount(player, x * y, players) / square, np.nan)
    counted = np.bincount(player, minlength=players) >= 10
    own_ppm = np.where(counted, 1e6 * slope, np.nan)
    return Drift(song, own_ppm, mean_of_players(own_ppm), float(at.max(initial=0)) / 1e6)
