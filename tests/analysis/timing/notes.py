"""Timed notes made by hand for the tests."""

import numpy as np

from analysis.stats.rhythm.timed_notes import TimedNotes


def timed_notes(
    error_ms,
    player=None,
    song=None,
    run=None,
    attempt=None,
    lane=None,
    due_ms=None,
    early_ms=50.0,
    late_ms=50.0,
    offset_ms=0.0,
    poll_ms=np.nan,
    stray_run=(),
    stray_ms=(),
    capture=None,
    build=None,
    builds=("1.0",),
    reach_ms=300,
    experienced=None,
) -> TimedNotes:
    error = np.asarray(error_ms, float)
    n = len(error)

    def column(value, default=0):
        return np.full(n, default) if value is None else np.broadcast_to(np.asarray(value), n).copy()

    player, song, capture = column(player).astype(int), column(song).astype(int), column(capture).astype(int)
    run = player.copy() if run is None else np.asarray(run)
    due = np.arange(n) * 500.0 if due_ms is None else np.asarray(due_ms, float)
    start = {r: due[run == r].min() for r in np.unique(run)}
    players, songs = int(player.max(initial=0)) + 1, int(song.max(initial=0)) + 1
    return TimedNotes(
        players=tuple(f"P{p + 1:02d}" for p in range(players)),
        songs=tuple(f"song {s + 1}" for s in range(songs)),
        song_numbers=tuple(range(1, songs + 1)),
        song_places=tuple((s + 1, 0) for s in range(songs)),
        builds=builds,
        captures=tuple(f"c{c}.playlog" for c in range(int(capture.max(initial=0)) + 1)),
        experienced=tuple(experienced or [False] * players),
        player=player,
        run=run,
        attempt=column(attempt, 1).astype(int),
        song=song,
        build=column(build).astype(int),
        capture=capture,
        lane=column(lane, -1).astype(int),
        due_us=np.rint(1000 * due).astype(np.int64),
        in_song_us=np.rint(1000 * (due - np.array([start[r] for r in run]))).astype(np.int64),
        error_us=1000 * error,
        early_us=1000 * column(early_ms).astype(float),
        late_us=1000 * column(late_ms).astype(float),
        offset_us=1000 * column(offset_ms).astype(float),
        poll_us=1000 * column(poll_ms).astype(float),
        reach_us=1000 * reach_ms,
        stray_run=np.asarray(stray_run, int),
        stray_us=1000 * np.asarray(stray_ms, float),
    )
