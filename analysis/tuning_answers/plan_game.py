"""The join for planning: what the next playtest should settle, from the study and the targets."""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace

from analysis.arguments import WrongArgument
from analysis.models.audience import LIKE_TESTERS
from analysis.models.staged_games.staged import StagedModel
from analysis.models.targets import TargetSet
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning.c_header import NotHoldable, checked
from analysis.tuning.players_needed import players_to_know
from analysis.tuning.playtest_plan import Plan, each_needed, half_width, power_of, precision_of, schedule
from analysis.tuning_answers.tuning_answer import fit_game
from analysis.tuning_answers.tuning_data import NothingToTune

USUAL_PLAYERS = 12
AS_PROPOSED = "as proposed"  # the label of the build that a schedule sets against the present one


def plan_game(
    reader: Reader,
    selection: Selection,
    targets: TargetSet,
    build: str | None = None,
    wanted: float | None = None,
    players: int | None = None,
    runs: int = 3,
    against: Mapping[str, int] | None = None,
    within: bool = False,
    simulate: bool = True,
    tick: Callable[[], None] | None = None,
) -> Plan:
    """The plan for the first target that the game can answer. Raises NothingToTune and WrongArgument.

    wanted: half of the 80 % interval, in percentage points or the target's unit; default: the target's tolerance.
    against: a setting to be played against the present build. simulate: False leaves the precision table out; it is
    there for stages and levels only. How many are needed is worked out as for a proposal (`players_needed`).
    """
    fitted, why = fit_game(reader, selection, targets, build)
    # More players of the same kind say more of people like them, and nothing of how the audience differs.
    whole = [model.for_audience(LIKE_TESTERS) for model in fitted if model.of_the_game]
    pairs = [(model, target) for model in whole for target in targets.targets if model.knows(target)]
    if not pairs:
        raise NothingToTune("; ".join(f"{name}: {reason}" for name, reason in why.items()))
    model, target = pairs[0]
    scale = 100 if target.unit == "share" else 1
    aim = target.tolerance if wanted is None else wanted / scale
    if aim <= 0:
        raise WrongArgument("precision", wanted, "the wanted precision must be more than 0")
    if against:
        try:
            checked(model.tunables, against)
        except NotHoldable as error:
            raise WrongArgument("against", None, str(error)) from None
    now = half_width(model.figures({}, [target])[0])
    precision = precision_of(model, target, runs=runs, tick=tick) if simulate and isinstance(model, StagedModel) else ()
    more = players_to_know(model.players, now, aim)
    power = power_of(model, target, {}, against) if against else ()
    each = each_needed(power)
    builds = (model.build.label,) if not against else (model.build.label, AS_PROPOSED)
    count = players or _suggested(more, each, bool(against))
    return Plan(
        target=target.name,
        unit=target.unit,
        now_half_width=now,
        wanted_half_width=aim,
        precision=precision,
        players_needed=more,
        power=power,
        players_each_needed=each,
        schedule=schedule(builds, count, runs, next_tag(reader, selection), within and bool(against)),
    )


def _suggested(more: int | None, each: int | None, two: bool) -> int:
    """What is needed, if a class can give it; otherwise a usual playtest."""
    count = (2 * each if each else 0) if two else (more or 0)
    return count if 4 <= count <= 40 else USUAL_PLAYERS


def next_tag(reader: Reader, selection: Selection) -> int:
    """The first player number that nobody has; 1 again where numbers would run out."""
    tags = reader.ask_chosen("tuning_runs", replace(selection.of_every_build(), include_team=True))["player"]
    numbers = [int(m.group(1)) for tag in set(tags) if (m := re.fullmatch(r"P(\d+)", str(tag)))]
    following = max(numbers, default=0) + 1
    return following if following <= 200 else 1
