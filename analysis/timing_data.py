"""Reads the notes and presses of a selection from the study and matches them."""

import numpy as np

from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.rhythm.timed_notes import TimedNotes, reach_for, time_notes
from analysis.stats.rhythm.window_settings import InForce, TimingTunable, in_force
from analysis.words import amount, counted
from ingest.vocabulary import TunableRole

# Beyond, an even sample of runs is read: players, not notes, make the intervals, and a page must not wait.
MOST_NOTES = 200_000


def read_timing_tunables(reader: Reader, game: str) -> list[TimingTunable]:
    """Every build's windows, offset and polling period as declared."""
    c = reader.ask("timing_tunables", game=game)

    def scope(column: str, i: int) -> int | None:
        value = c[column][i]
        return None if value is None or np.isnan(value) else int(value)

    return [
        TimingTunable(
            str(c["build"][i]),
            str(c["tunable"][i]),
            TunableRole(c["role"][i]),
            int(c["value"][i]),
            int(c["low"][i]),
            int(c["high"][i]),
            int(c["step"][i]),
            str(c["unit"][i] or "-"),
            float(c["unit_us"][i] or np.nan),
            scope("stage", i),
            scope("stage_kind", i),
            scope("song", i),
            scope("grade", i),
        )
        for i in range(len(c["tunable"]))
    ]


def read_timing(reader: Reader, selection: Selection) -> TimedNotes | None:
    """The timed notes of the selection, or None where no note came due.

    Damaged runs are left out for players who have an undamaged one: a lost press looks like a missed note.
    """
    runs = _sample(_undamaged(reader.ask_chosen("timing_runs", selection)))
    wanted = runs["run_id"].tolist()
    if not wanted:
        return None
    notes = reader.ask_chosen("timing_notes", selection, runs=wanted)
    if not len(notes["run_id"]):
        return None
    presses = reader.ask_chosen("timing_presses", selection, runs=wanted)

    row = np.searchsorted(runs["run_id"], notes["run_id"])
    settings = settings_of(runs["build"][row], notes, read_timing_tunables(reader, selection.game))
    early, late, offset, poll = settings
    reach = reach_for(np.nanmax(np.r_[early, late, 0.0]))
    error, stray_run, stray = matched(notes, presses, offset, reach)
    players, player = np.unique(runs["player"][row], return_inverse=True)
    builds, build = np.unique(runs["build"][row].astype(str), return_inverse=True)
    captures, capture = np.unique(runs["capture"][row], return_inverse=True)
    numbers, song = np.unique(notes["song"], return_inverse=True)
    names = song_names(reader, selection.game)
    lane = _plain_lane(notes["lane"])
    return TimedNotes(
        players=tuple(players),
        songs=tuple(names.get(int(n), f"song {int(n)}") for n in numbers),
        song_numbers=tuple(int(n) for n in numbers),
        song_places=tuple(_place(notes, song == s) for s in range(len(numbers))),
        builds=tuple(builds),
        captures=tuple(captures),
        experienced=tuple(bool(np.any(runs["experienced"][runs["player"] == p])) for p in players),
        player=player,
        run=notes["run_id"],
        attempt=runs["attempt"][row].astype(int),
        song=song,
        build=build,
        capture=capture,
        lane=np.where(np.isnan(lane), -1, lane).astype(int),
        due_us=notes["due_us"],
        in_song_us=notes["due_us"] - notes["song_start_us"],
        error_us=error,
        early_us=early,
        late_us=late,
        offset_us=offset,
        poll_us=poll,
        reach_us=reach,
        stray_run=stray_run,
        stray_us=stray,
    )


def matched(notes: Columns, presses: Columns, offset_us: np.ndarray, reach_us: int) -> tuple[np.ndarray, ...]:
    """What `time_notes` answers for the columns of queries/timing_notes.sql and timing_presses.sql."""
    return time_notes(
        notes["run_id"],
        _plain_lane(notes["lane"]),
        notes["due_us"],
        presses["run_id"],
        _plain_lane(presses["lane"]),
        presses["press_us"],
        offset_us,
        reach_us,
    )


def left_out(reader: Reader, selection: Selection) -> tuple[str, ...]:
    """What `read_timing` left out of the selection, or used with doubts, in words."""
    runs = reader.ask_chosen("timing_runs", selection)
    sound = _undamaged(runs)
    damaged, used = len(runs["run_id"]) - len(sound["run_id"]), int(sound["damaged"].astype(bool).sum())
    sampled, all_ = len(_sample(sound)["run_id"]), len(sound["run_id"])
    said = []
    if damaged:
        said.append(
            f"{counted(damaged, 'damaged run')} left out: a press lost with a packet would look like a missed note."
        )
    if used:
        why = "its player has no other" if used == 1 else "their players have no others"
        said.append(f"{counted(used, 'damaged run')} used, as {why}: lapses may be too many.")
    if sampled < all_:
        said.append(
            f"So many notes that an even sample of {amount(sampled)} of {counted(all_, 'run')} was taken, from every "
            "player."
        )
    return tuple(said)


def song_names(reader: Reader, game: str) -> dict[int, str]:
    """The game's own names of its songs."""
    c = reader.ask("timing_song_names", game=game)
    return {int(n): str(label) for n, label in zip(c["song"], c["label"], strict=True)}


def _place(notes: Columns, own: np.ndarray) -> tuple[int, int]:
    """Stage and kind in which a song is mostly played."""
    pair = np.stack([np.nan_to_num(np.array(notes[n], float)[own], nan=-1.0) for n in ("stage", "stage_kind")])
    places, count = np.unique(pair, axis=1, return_counts=True)
    stage, kind = places[:, int(np.argmax(count))]
    return int(stage), int(kind)


def _undamaged(runs: Columns) -> Columns:
    damaged = runs["damaged"].astype(bool)
    sound = np.unique(runs["player"][~damaged])
    keep = ~damaged | ~np.isin(runs["player"], sound)
    return runs.where(keep)


def _sample(runs: Columns) -> Columns:
    """Every k-th run of each player, where all of them hold more than MOST_NOTES notes."""
    stride = int(np.ceil(float(np.sum(runs["notes"])) / MOST_NOTES))
    if stride <= 1:
        return runs
    player = np.unique(runs["player"], return_inverse=True)[1].reshape(-1)
    order = np.argsort(player, kind="stable")
    first = np.searchsorted(player[order], np.arange(int(player.max()) + 1))
    number = np.empty(len(player), int)
    number[order] = np.arange(len(player)) - first[player[order]]
    return runs.where(number % stride == 0)


def _plain_lane(lane: np.ndarray) -> np.ndarray:
    return np.array(lane, dtype=float)


def settings_of(build: np.ndarray, notes: Columns, tunables: list[TimingTunable]) -> tuple[np.ndarray, ...]:
    """(early, late, offset, poll) for each note, in microseconds."""
    names, number = np.unique(build.astype(str), return_inverse=True)
    # A note outside stages has none: -1 is no number of a stage, and no scope names it.
    place = [np.nan_to_num(np.array(notes[n], float), nan=-1.0) for n in ("stage", "stage_kind", "song")]
    places, of_place = np.unique(np.stack([number.astype(float), *place]), axis=1, return_inverse=True)
    of_place = of_place.reshape(-1)
    found: list[InForce] = [
        in_force([t for t in tunables if t.build == names[int(b)]], stage, kind, song)
        for b, stage, kind, song in places.T
    ]
    columns = [[f.early_us, f.late_us, f.offset_us, f.poll_us] for f in found]
    return tuple(np.array(columns, float).T[:, of_place])
