"""The tables read from a study, some 50,000 rows at a time: a study of a million notes needs no more memory for it."""

from collections.abc import Callable, Iterator, Sequence

import numpy as np
import pandas as pd

from analysis.data.declared_tables import DataTable, Kind
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.rhythm.timed_notes import hits, reach_for
from analysis.timing_data import matched, read_timing_tunables, settings_of, song_names

_NOTES_IN_A_PART = 50_000
_EVERY_RUN = 2**31 - 1


def parts(
    reader: Reader, table: DataTable, games: Sequence[str], makers: bool = False, tags: bool = True
) -> Iterator[pd.DataFrame]:
    """Frames with the declared columns of `table` in their types, together all rows of it.

    makers: whether their runs count too. tags: players by their tags; otherwise numbered, without what is personal.
    """
    numbers = None if tags else numbered(reader)
    columns = table.given(tags)
    for game in games:
        for part in _READ[table.name](reader, Selection(game, include_team=makers)):
            part["game"] = game
            if numbers is not None:
                part["player"] = part["player"].map(numbers)
            yield pd.DataFrame({one.name: _typed(part[one.name], one.kind) for one in columns})


def whole(reader: Reader, table: DataTable, games: Sequence[str], makers: bool = False) -> pd.DataFrame:
    """The whole table as one frame, players by their tags."""
    found = list(parts(reader, table, games, makers))
    if found:
        return pd.concat(found, ignore_index=True)
    return pd.DataFrame({one.name: _typed(pd.Series([], dtype=object), one.kind) for one in table.columns})


def numbered(reader: Reader) -> dict[str, str]:
    """P1, P2, ... for each player of the study, the same in all its tables, in an order that tells nothing."""
    asked = reader.ask("people_numbered")
    return dict(zip(asked["player"].tolist(), asked["given"].tolist(), strict=True))


def _typed(values: pd.Series, kind: Kind) -> pd.Series:
    if kind is Kind.TEXT:
        return values.astype(object).where(values.notna(), None)
    if kind is Kind.NUMBER:
        return values.astype("float64")
    return (
        values.where(values.notna(), None).astype(kind.dtype) if values.dtype == object else values.astype(kind.dtype)
    )


def _runs(reader: Reader, selection: Selection) -> Iterator[pd.DataFrame]:
    yield from reader.in_parts("runs_listed", selection, most=_EVERY_RUN)


def _lives(reader: Reader, selection: Selection) -> Iterator[pd.DataFrame]:
    for part in reader.in_parts("lives", selection, by_stage=False):
        part["start_s"], part["alive_s"] = part["start_us"] / 1e6, part["alive_us"] / 1e6
        part["died"] = part["ended_by"] == "death"
        yield part


def _deaths(reader: Reader, selection: Selection) -> Iterator[pd.DataFrame]:
    for part in reader.in_parts("deaths", selection):
        for name in ("alive", "run", "shot_ago"):
            part[f"{name}_s"] = part[f"{name}_us"] / 1e6
        yield part


def _notes(reader: Reader, selection: Selection) -> Iterator[pd.DataFrame]:
    """Of whole runs, matched as the findings on timing do."""
    runs = reader.ask_chosen("timing_runs", selection)
    tunables = read_timing_tunables(reader, selection.game)
    windows = [t.value_us for t in tunables if t.role.value.startswith("window") and np.isfinite(t.unit_us)]
    reach = reach_for(max(windows, default=0.0))  # of the game: how a note is matched depends on no other run
    names = song_names(reader, selection.game)
    for some in _runs_at_a_time(runs):
        wanted = some["run_id"].tolist()
        notes = reader.ask_chosen("timing_notes", selection, runs=wanted)
        presses = reader.ask_chosen("timing_presses", selection, runs=wanted)
        row = np.searchsorted(some["run_id"], notes["run_id"])
        early, late, offset, _ = settings_of(some["build"][row], notes, tunables)
        error, _, _ = matched(notes, presses, offset, reach)
        yield _notes_frame(some, row, notes, (early, late, offset), error, names)


def _notes_frame(
    runs: Columns,
    row: np.ndarray,
    notes: Columns,
    settings: tuple[np.ndarray, ...],
    error: np.ndarray,
    names: dict[int, str],
) -> pd.DataFrame:
    """row: for each note its run's place in `runs`; settings: early, late, offset in microseconds."""
    early, late, offset = settings
    told = pd.DataFrame({name: runs[name][row] for name in ("run_id", "player", "build", "attempt", "damaged")})
    hit = pd.array(hits(error - offset, early, late), dtype="boolean")
    hit[np.isnan(early) & np.isnan(late)] = pd.NA
    return told.assign(
        song=notes["song"],
        song_name=[names.get(song, f"song {song}") for song in notes["song"].tolist()],
        stage=notes["stage"],
        stage_kind=notes["stage_kind"],
        lane=notes["lane"],
        in_song_s=(notes["due_us"] - notes["song_start_us"]) / 1e6,
        pressed=~np.isnan(error),
        error_ms=error / 1e3,
        judged_ms=(error - offset) / 1e3,
        early_ms=early / 1e3,
        late_ms=late / 1e3,
        hit=hit,
    )


def _runs_at_a_time(runs: Columns) -> Iterator[Columns]:
    """The runs by build, in lots of some _NOTES_IN_A_PART notes: whether lanes are told is a matter of the build."""
    for build in np.unique(runs["build"].astype(str)):
        own = runs.where(runs["build"] == build)
        lot = (np.cumsum(own["notes"]) - own["notes"]) // _NOTES_IN_A_PART
        yield from (own.where(lot == one) for one in np.unique(lot))


_READ: dict[str, Callable[[Reader, Selection], Iterator[pd.DataFrame]]] = {
    "runs": _runs,
    "lives": _lives,
    "deaths": _deaths,
    "notes": _notes,
}
