"""Timing by song and along each: where hits fall apart, where notes are off, and whether errors drift."""

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.declared import Column, Declared, estimate_columns
from analysis.findings.timing.levels import (
    BIAS,
    HIT,
    LAPSES,
    SONG,
    SPREAD,
    WITHIN_PLAYER,
    compare,
    held_fixed,
    hit_columns,
    mean_columns,
    percent_of,
)
from analysis.findings.timing.window_in_force import rests_on
from analysis.stats.estimate import LEVEL
from analysis.stats.players.within_player import linked_levels, mean_of_players
from analysis.stats.rhythm.song_time import drift, passages
from analysis.stats.rhythm.timed_notes import TimedNotes

SONGS = Declared(
    "timing.songs",
    "timing",
    "How hard each song is",
    WITHIN_PLAYER,
    {
        "songs": (
            SONG,
            *HIT,
            Column("p", "", "that it is hit as the average song, corrected for the number of songs"),
            *BIAS,
            SPREAD,
            LAPSES,
            Column("rank", "", "1 is the hardest"),
        )
    },
)
PASSAGES = Declared(
    "timing.passages",
    "timing",
    "Along the song: where hits fall apart, where notes are off",
    WITHIN_PLAYER,
    {
        "passages": (
            SONG,
            Column("start_s", "s", "where the passage begins"),
            Column("end_s", "s", "where it ends"),
            *HIT,
            *BIAS,
            Column("p_bias", "", "that its bias is that of the song, corrected for the number of passages"),
            Column("p_hit", "", "that its share is that of the song, likewise"),
            Column("off", "", "1 where the bias is told from the rest of the song, by 5 ms or more"),
        )
    },
)
DRIFT = Declared(
    "timing.drift",
    "timing",
    "Drift against the song",
    "timing.drift",
    {
        "songs": (
            SONG,
            *estimate_columns("ppm", "ppm", "how fast errors grow along the song"),
            Column("players", "", "players with presses enough"),
            Column("over_song_ms", "ms", "by its end"),
        )
    },
)
# A passage is called off only from here on: less is beyond what anybody hears (asynchronies of a few ms are not
# noticed; common practice, no source) and within what a tick of the console costs.
OFF_MS = 5.0


def find(notes: TimedNotes, warnings: tuple[str, ...]) -> list[Finding]:
    """Songs where there are several; passages and drift where one is long enough for them."""
    return [found for make in (_songs, _passages, _drift) if (found := make(notes, warnings)) is not None]


def _songs(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    every, block = len(notes.songs), held_fixed(notes, songs=False)
    # Songs that nobody played beside another can only be compared over players, and are not.
    linked = linked_levels(notes.song, block, every)
    if np.sum(linked) < 2:
        return None
    names = [name for name, one in zip(notes.songs, linked, strict=True) if one]
    mine = linked[notes.song]
    notes = notes.where(mine)
    level = (np.cumsum(linked) - 1)[notes.song]
    effects, bias, spread, lapses = compare(notes, level, len(names), block[mine])
    rank = np.argsort(np.argsort(np.nan_to_num(effects.mean, nan=np.inf))) + 1
    hardest, easiest = int(np.argmin(rank)), int(np.argmax(rank))
    says = f"{names[hardest]} is hit least ({percent_of(effects, hardest)} for the average player)"
    says += f" and {names[easiest]} most ({percent_of(effects, easiest)})"
    told = [s for s in (hardest, easiest) if effects.p[s] < 0.05]
    if len(told) == 1:
        says += f"; of the two, only {names[told[0]]} is told from the average song"
    says += "." if told else ", but the order is within chance."
    tables = {
        "songs": {
            "song": names,
            **hit_columns(effects),
            "p": effects.p,
            **mean_columns(bias, "bias_ms", "bias_"),
            "spread_ms": spread,
            "lapses": lapses,
            "rank": rank,
        }
    }
    return SONGS.finding(rests_on(notes, warnings), says, tables=tables)


def _passages(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    tables: list[pd.DataFrame] = []
    off: list[tuple[float, str]] = []
    worst: tuple[float, str] | None = None
    cut = [(song, *passages(notes, song)) for song in range(len(notes.songs))]
    cut = [(song, edges, number) for song, edges, number in cut if len(edges) > 2]
    for song, edges, number in cut:
        own, name, count = notes.where(number >= 0), notes.songs[song], len(edges) - 1
        hit, bias, _, _ = compare(own, number[number >= 0], count, None)
        # Corrected within the song already; more songs are more passages to stand out by chance.
        p_hit, p_bias = (np.minimum(1, len(cut) * p) for p in (hit.p, bias.p))
        flagged = (p_bias < 0.05) & (np.abs(bias.effect) >= OFF_MS)
        columns = {
            "song": name,
            "start_s": edges[:-1] / 1e6,
            "end_s": edges[1:] / 1e6,
            **hit_columns(hit),
            **mean_columns(bias, "bias_ms", "bias_"),
            "p_bias": p_bias,
            "p_hit": p_hit,
            "off": flagged.astype(int),
        }
        tables.append(pd.DataFrame(columns))
        for i in np.flatnonzero(flagged):
            where = f"{name} from {edges[i] / 1e6:.0f} to {edges[i + 1] / 1e6:.0f} s ({bias.effect[i]:+.0f} ms)"
            off.append((abs(float(bias.effect[i])), where))
        if np.isfinite(hit.effect).any():
            lowest = int(np.nanargmin(hit.effect))
            if p_hit[lowest] < 0.05 and (worst is None or hit.effect[lowest] < worst[0]):
                worst = (
                    float(hit.effect[lowest]),
                    f"{name} from {edges[lowest] / 1e6:.0f} to {edges[lowest + 1] / 1e6:.0f} s",
                )
    if not tables:
        return None
    says = (
        "No passage is told from the rest of its song by its timing."
        if not off
        else "Against the rest of their song, presses are shifted in "
        + "; ".join(w for _, w in sorted(off, reverse=True)[:4])
        + ". Presses that come early there mean notes written late, or the other way round: listen to the passage."
    )
    says += "" if worst is None else f" Hits fall apart most in {worst[1]} ({100 * worst[0]:+.0f} points)."
    return PASSAGES.finding(rests_on(notes, warnings), says, tables={"passages": pd.concat(tables, ignore_index=True)})


def _drift(notes: TimedNotes, warnings: tuple[str, ...]) -> Finding | None:
    found = [drift(notes, song) for song in range(len(notes.songs))]
    found = [d for d in found if d.ppm.value is not None]
    if not found:
        return None
    # Every song is looked at, so each has its part of the level only.
    held = [mean_of_players(d.own_ppm, 1 - (1 - LEVEL) / len(found)) for d in found]
    parts = [
        f"{notes.songs[d.song]} by {ppm.value:+.0f} ppm (between {ppm.low:+.0f} and {ppm.high:+.0f}), that is"
        f" {ppm.value * d.length_s / 1000:+.0f} ms by its end"
        for d, ppm in zip(found, held, strict=True)
        if ppm.value is not None and ppm.low is not None and ppm.high is not None and ppm.low * ppm.high > 0
    ]
    says = (
        "Errors do not drift along any song by more than chance."
        if not parts
        else "Errors drift along " + "; ".join(parts) + ". Plus means presses fall later and later: the chart's tempo"
        " runs ahead of the music, or the console's clock is fast; tiring players look the same."
    )
    table = {
        "song": [notes.songs[d.song] for d in found],
        "ppm": [d.ppm.value for d in found],
        "low": [d.ppm.low for d in found],
        "high": [d.ppm.high for d in found],
        "players": [d.ppm.players for d in found],
        "over_song_ms": [d.ppm.value * d.length_s / 1000 for d in found if d.ppm.value is not None],
    }
    tables = {"songs": table}
    return DRIFT.finding(rests_on(notes, warnings), says, tables=tables)
