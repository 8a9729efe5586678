"""The join for a lesson: what the sheets for the table and for the teacher are made of, as far as it is known."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.played_order import of_newest
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning.lesson_hour import USUAL_MINUTES, USUAL_PAIRS, Hour, RunTime, hour, share_margins
from analysis.tuning.playtest_plan import Slot, schedule
from analysis.tuning_answers.plan_game import USUAL_PLAYERS, next_tag

PRESENT = "the present build"
_USUAL_SIZES = (5, 10, 20, 40)


@dataclass(frozen=True)
class Lesson:
    """What the sheets say. plan: `setscrew plan --json`, None where no target was planned for.

    margins: (players, margin of error of a share of players, 0 to 1). most_flashes: of the screen in any one second, as
    logged, None where none was logged. study: its file's name, "" without one.
    """

    game: str
    study: str
    fingerprint: str
    slots: tuple[Slot, ...]
    hour: Hour
    time: RunTime
    margins: tuple[tuple[int, float], ...]
    most_flashes: int | None = None
    plan: Mapping[str, Any] | None = None

    @property
    def builds(self) -> tuple[str, ...]:
        """The builds that are played, by their labels."""
        return tuple(dict.fromkeys(build for slot in self.slots for build in slot.builds))


def lesson_of(
    reader: Reader | None,
    game: str,
    study: str = "",
    plan: Mapping[str, Any] | None = None,
    players: int | None = None,
    runs: int = 3,
    pairs: int = USUAL_PAIRS,
    minutes: float = USUAL_MINUTES,
) -> Lesson:
    """The lesson by `plan`; without one by `players` and `runs`, of the newest build; without `reader` by assumptions.

    plan: the keys of `setscrew plan --json`. Raises ValueError for a class or lesson that cannot be.
    """
    if plan is None:
        label = PRESENT if reader is None else _newest_label(reader, game)
        tag = 1 if reader is None else next_tag(reader, Selection(game))
        slots: Sequence[Slot] = schedule((label,), players or USUAL_PLAYERS, runs, tag)
    else:
        slots = [Slot(s["number"], s["player"], tuple(s["builds"]), s["runs"]) for s in plan["schedule"]]
    time = RunTime() if reader is None else run_time(reader, game)
    each = slots[0].builds
    flashed = len(each) if len({build for slot in slots for build in slot.builds}) > 1 else 0
    held = hour(time, len(slots), slots[0].runs, len(each), flashed, pairs, minutes)
    sizes = sorted({size for size in (held.players, len(slots), *_USUAL_SIZES) if size})
    flashes = None
    if reader is not None:
        found = reader.ask("game_flashes", game=game)
        flashes = int(found["most"][0]) if int(found["flashes"][0]) else None
    fingerprint = "" if reader is None else reader.fingerprint()
    return Lesson(game, study, fingerprint, tuple(slots), held, time, share_margins(sizes), flashes, plan)


def run_time(reader: Reader, game: str) -> RunTime:
    """How long runs of the newest build took, of those that came to their end with nothing lost; of any build where it
    has none, of the makers where only they have played, assumed where nobody has."""
    newest = of_newest(reader, Selection(game, newest=True))
    every = Selection(game)
    for selection in (newest, every, replace(every, include_team=True)):
        run = reader.ask_chosen("run_ends", selection)
        whole = (run["ending"] != "cut") & (run["damaged"] == 0) & (run["run_us"].astype(float) > 0)
        if whole.any():
            own = pd.Series(run["run_us"][whole] / 1e6).groupby(run["player"][whole]).mean().to_numpy(float)
            spread = float(own.std(ddof=1)) if own.size > 1 else 0.0
            return RunTime(float(own.mean()), spread, int(np.sum(whole)), int(own.size), selection.include_team)
    return RunTime()


def _newest_label(reader: Reader, game: str) -> str:
    newest = of_newest(reader, Selection(game, newest=True)).builds
    return newest[0] if newest else PRESENT
