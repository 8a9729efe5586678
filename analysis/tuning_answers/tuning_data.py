"""From the study to what the tuning is fitted to: builds, runs and single trials of one game."""

from contextlib import suppress
from dataclasses import dataclass

import numpy as np

from analysis.models.data import Build, TrialData, Tunable
from analysis.models.targets import TargetSet
from analysis.played_order import build_to_change
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.tuning.target_file import BadTargets, read_targets
from ingest.vocabulary import Recruitment, TunableRole


class NothingToTune(ValueError):
    """The study holds no run that the tuning could be fitted to; the message says why and what would help."""


class NoTrials(NothingToTune):
    """There are runs, but no single shot was logged in them."""


@dataclass(frozen=True)
class KeptTargets:
    """A targets file that the study keeps. noted_at: when, UTC."""

    text: str
    noted_at: str

    @property
    def read(self) -> TargetSet:
        """What it says. Raises BadTargets."""
        return read_targets(self.text)

    @property
    def read_or_none(self) -> TargetSet | None:
        """The same; None for one that cannot be read, as another version may have written it."""
        with suppress(BadTargets):
            return self.read
        return None


def kept_targets(reader: Reader, game: str) -> KeptTargets | None:
    """The newest targets that the study keeps for a game, if any."""
    rows = reader.ask("game_targets", game=game)
    return KeptTargets(str(rows["target_toml"][0]), str(rows["noted_at"][0])) if len(rows["noted_at"]) else None


def load_builds(reader: Reader, game: str) -> dict[int, Build]:
    """Every build of a game by its number in the study."""
    rows = reader.ask("tuning_tunables", game=game)
    found: dict[int, Build] = {}
    for build_id in dict.fromkeys(rows["build_id"].tolist()):
        own = [n for n, b in enumerate(rows["build_id"].tolist()) if b == build_id]
        tunables = tuple(_tunable(rows, n) for n in own if rows["tunable"][n] is not None)
        found[int(build_id)] = Build(str(rows["label"][own[0]]), str(rows["firmware"][own[0]]), tunables)
    return found


def _tunable(rows: Columns, n: int) -> Tunable:
    def whole(name: str) -> int | None:
        value = rows[name][n]
        return None if value is None or value != value else int(value)

    role = rows["role"][n]
    return Tunable(
        name=str(rows["tunable"][n]),
        # A study may be older or newer than the vocabulary: a role that is not in it has no known effect.
        role=next((known for known in TunableRole if known == role), None),
        value=whole("value") or 0,
        low=whole("low") or 0,
        high=whole("high") or 0,
        step=whole("step") or 1,
        unit="" if rows["unit"][n] is None else str(rows["unit"][n]),
        stage=whole("stage"),
        stage_kind=whole("stage_kind"),
        song=whole("song"),
        level=whole("level"),
        grade=whole("grade"),
    )


def load_trials(reader: Reader, selection: Selection, build: str | None = None) -> TrialData:
    """A game of one shot at a time. Raises NothingToTune."""
    runs, players, player, builds, build_index, current = played_runs(reader, selection, build)
    rows = reader.ask_chosen("tuning_trials", selection)
    row_of_run = {int(run): n for n, run in enumerate(runs["run_id"])}
    known = np.array([int(run) in row_of_run for run in rows["run_id"]], dtype=bool)
    if not known.any():
        raise NoTrials(
            f"no run of {selection.game!r} has single trials: log an event with the role trial and a field success, or "
            "give it that role (setscrew roles)"
        )
    run = np.array([row_of_run[int(r)] for r in rows["run_id"][known]], dtype=int)
    nominal = np.array(
        [next((t.value for t in b.tunables if t.role == TunableRole.TARGET_SPEED), 0) for b in builds.values()],
        dtype=float,
    )[build_index[run]]
    speed = np.abs(np.asarray(rows["speed"][known], dtype=float)) if rows["speed"] is not None else np.zeros(len(run))
    usable = np.isfinite(speed) & (speed > 0) & (nominal > 0)
    relative = np.where(usable, speed / np.where(usable, nominal, 1), 1.0)
    starts = np.concatenate([[True], run[1:] != run[:-1]])
    first = np.maximum.accumulate(np.where(starts, np.arange(len(run)), 0))
    return TrialData(
        game=selection.game,
        players=players,
        builds=tuple(builds.values()),
        current=current,
        player=player[run],
        run=run,
        attempt=runs["attempt"].astype(int)[run],
        build=build_index[run],
        experienced=experience_of(runs, player)[run],
        index=np.arange(len(run)) - first,
        relative_speed=relative,
        success=np.asarray(rows["success"][known], dtype=float) > 0,
        cut=(runs["ending"] == "cut")[run],
    )


def played_runs(
    reader: Reader, selection: Selection, build: str | None
) -> tuple[Columns, tuple[str, ...], np.ndarray, dict[int, Build], np.ndarray, int]:
    """Runs, players' tags, player of each run, builds, build of each run, the current build."""
    runs = reader.ask_chosen("tuning_runs", selection)
    whole = ~runs["mixed_build"].astype(bool) if len(runs["run_id"]) else np.zeros(0, dtype=bool)
    if whole.any():
        runs = runs.where(whole)
    if len(runs["run_id"]) == 0:
        raise NothingToTune(
            f"there is no valid run of {selection.game!r} by a player who is not of the team: let others play, or look "
            "on the page of runs who played and which runs are marked as not valid"
        )
    all_builds = load_builds(reader, selection.game)
    labels = {b.label: build_id for build_id, b in all_builds.items()}
    if build is not None and build not in labels:
        raise NothingToTune(f"there is no build {build!r} of {selection.game!r}; it has {', '.join(labels)}")
    build = build or build_to_change(reader, selection.game)[0]
    chosen = labels[build] if build is not None else int(runs["build_id"][-1])
    used = sorted({int(b) for b in runs["build_id"]} | {chosen})
    players, player = np.unique(runs["player"].astype(str), return_inverse=True)
    build_index = np.array([used.index(int(b)) for b in runs["build_id"]], dtype=int)
    builds = {b: all_builds[b] for b in used}
    return runs, tuple(players.tolist()), player, builds, build_index, used.index(chosen)


def said_of_testers(reader: Reader) -> Recruitment:
    """How the people who played were found, as the study says."""
    said = reader.ask("testers_found")["found"]
    return next((kind for kind in Recruitment if len(said) and kind == said[0]), Recruitment.UNKNOWN)


def present(column: np.ndarray) -> np.ndarray:
    """Where a column of the study holds a value: NULL comes as None or NaN."""
    if column.dtype.kind in "iubf":
        return np.isfinite(column)
    return np.array([value is not None and value == value for value in column], dtype=bool)


def whole_numbers(column: np.ndarray, missing: int) -> np.ndarray:
    """A column of the study as int, with `missing` for NULL."""
    if column.dtype.kind in "iub":
        return column.astype(int)
    if column.dtype.kind == "f":
        return np.where(np.isfinite(column), column, missing).astype(int)
    values = [missing if value is None or value != value else int(value) for value in column]
    return np.array(values, dtype=int)


def experience_of(runs: Columns, player: np.ndarray) -> np.ndarray:
    """Known to have played before the study: the tag of the player's own first run says so."""
    said = np.array([value is not None and value == value and not bool(value) for value in runs["first_time"]])
    first = runs["attempt"].astype(int) == 1
    veterans = set(player[said & first].tolist())
    return np.array([p in veterans for p in player], dtype=bool)
