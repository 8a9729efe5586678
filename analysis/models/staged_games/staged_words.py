"""What carries a proposal for a staged game, what else it does, and what it assumes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.levers import lever_of
from analysis.models.data import Tunable
from analysis.models.fitted import of_the_playtest
from analysis.models.setting import Setting
from analysis.models.staged_games.hazard import lever_effects
from analysis.models.targets import Outcome, Target
from analysis.stats.laws import poisson_above
from analysis.words import amount

if TYPE_CHECKING:
    from analysis.models.staged_games.staged import StagedModel

_HALVINGS = 60

# With fewer runs a player a later attempt rests on the prior of learning (MEASURED.md, Uneven play).
RUNS_FOR_LEARNING = 2

# Who lived for less than this part of what a target speaks of has shown nothing of the rest. Common sense, no source.
_PART = 0.5


def carried_by(model: StagedModel, tunable: Tunable) -> str:
    """What a tunable's predicted effect rests on."""
    lever = lever_of(tunable.role)
    if lever is None:
        return ""
    if not model.data.cells.deaths.any():
        return "assumptions alone: nobody died"
    return lever.carried_by(model.hazard.data_share(lever.role) if lever.role in model.hazard.names else None)


def unknown(model: StagedModel, targets: Sequence[Target]) -> str:
    """Nobody died, or all were dead long before the part of the game that the targets speak of."""
    if not model.data.cells.deaths.any():
        return "nobody died"
    visits, name = model.data.visits, model.data.segments[0].name
    longest = float(visits.alive_s.max(initial=0.0))
    seconds = [float(t.number or 0) for t in targets if t.outcome == Outcome.SURVIVE]
    if seconds and len(seconds) == len(targets):
        # Of whole runs: a visit is a part of one, a level for instance.
        longest = float(model.data.runs.alive_s.max(initial=0.0))
        return f"nobody lived longer than {amount(longest, 's')}" if longest < _PART * min(seconds) else ""
    lasts = float(np.exp(np.median(model.times.level[:, 0])))
    if visits.cleared.any() or model.data.runs.furthest.any() or longest >= _PART * lasts:
        return ""
    return f"nobody got through {name} or was alive in it longer than {amount(longest, 's')}"


def side_effects(model: StagedModel, setting: Setting) -> Mapping[str, Any]:
    """The course of a first run, now and as proposed."""
    now = model.course_now
    return {"now": now, "proposed": effects(model, setting) if setting else now}


def assumptions(model: StagedModel) -> tuple[str, ...]:
    """The priors in use, in words and figures."""
    p, played = model.priors, [lever for lever in lever_effects() if lever.role in model.hazard.names]
    powers = "".join(f" x {lever.factor()}" for lever in played if lever.by_ratio)
    priors = [
        *(lever.assumed(*p.of(lever)) for lever in played if lever.by_ratio),
        f"l ~ N({p.learning[0]:g}, {p.learning[1]:g})",
    ]
    said = [
        f"deaths a second alive ~ (player) x (attempt)^l{powers}, in each segment at its own level",
        f"{' and '.join(priors)} before the data",
        f"players differ by a factor exp(u), u ~ N(0, s), s ~ half-normal({p.sigma_scale:g})",
    ]
    if "again" in model.hazard.names:
        factor = np.exp(np.quantile(model.hazard.effect("again"), [0.1, 0.5, 0.9]))
        said.append(
            "after a death in a segment, what is left of it is "
            f"{factor[1]:.1f} times as dangerous (80 % {factor[0]:.1f} to {factor[2]:.1f}); before the data "
            f"ln of it ~ N({p.again[0]:g}, {p.again[1]:g})"
        )
    said += [lever.assumed(*p.of(lever)) for lever in played if not lever.by_ratio]
    if "age" in model.hazard.names:
        power = np.quantile(model.hazard.effect("age"), [0.1, 0.5, 0.9])
        said.append(
            f"a life's danger goes with its age in the segment to the power {power[1]:.1f} (80 % {power[0]:.1f} to "
            f"{power[2]:.1f}): 0 is even, more makes the times to a death more alike; before the data it is "
            f"~ N({p.age[0]:g}, {p.age[1]:g})"
        )
    if not model.data.finish_known:
        said.append("nobody finished: the end is taken to be the last segment seen or named by a tunable")
    return tuple(said)


def cautions(model: StagedModel) -> tuple[str, ...]:
    """What to keep in mind: of the playtest, and what was seen to be out in simulated games like this one."""
    runs = model.data.runs
    said = of_the_playtest(runs.player[~runs.experienced], model.players, runs.count, int(runs.damaged.sum()))
    if runs.count < RUNS_FOR_LEARNING * model.players:
        said += ("in simulated games of one run a player, shares of a third attempt were said some 3 points too high",)
    return said


def effects(model: StagedModel, setting: Setting) -> dict[str, Any]:
    """What a first run is like under a setting: medians over the posterior."""
    ends = model.ends(setting)
    worst = model.average(ends.segment_deaths / np.maximum(ends.reach[:-1], 1e-9))
    hardest = int(np.argmax(np.median(worst, axis=1)))
    return {
        "run_length_s": float(np.median(model.average(ends.alive_s))),
        "deaths_per_run": float(np.median(model.average(ends.deaths))),
        "never_see_the_end": float(np.median(1 - model.average(ends.reach[-1]))),
        "quit_share": float(np.median(model.average(ends.quit))),
        "hardest": model.data.segments[hardest].name,
        "most_deaths_in_a_row": most_deaths(
            float(np.median(worst[hardest])),
            float(np.exp(np.median(model.hazard.effect("again")))),
            float(np.median(model.hazard.effect("age"))),
        ),
    }


def most_deaths(mean: float, again: float, age: float = 0.0, share: float = 0.1, parts: int = 200) -> int:
    """Of visits with `mean` deaths each, `share` see at least so many.

    The first comes at a rate that goes with the life's age to the power `age`, those after it at `again` times the rate
    of a life as long as what is left of the visit.
    """
    met = (np.arange(parts + 1) / parts) ** (1 + age)
    left = (1 - (np.arange(parts) + 0.5) / parts) ** (1 + age)

    def first(rate: float) -> np.ndarray:
        return -np.diff(np.exp(-rate * met))

    # The deaths grow with the rate. Halved, since what finds roots in scipy takes a command longer to import.
    low, rate = 0.0, 10 * (1 + mean * (1 + 1 / again))
    for _ in range(_HALVINGS):
        middle = (low + rate) / 2
        low, rate = (middle, rate) if first(middle) @ (1 + again * middle * left) < mean else (low, middle)
    most = 0
    while first(rate) @ poisson_above(most - 1, again * rate * left) >= share:
        most += 1
    return most
