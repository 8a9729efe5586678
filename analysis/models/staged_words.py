"""What carries a proposal for a staged game, what else it does, and what it assumes."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from scipy.optimize import brentq
from scipy.stats import poisson

from analysis.models.setting import Setting
from analysis.models.staged import StagedModel
from analysis.tuning.proposal import Change
from analysis.tuning.ranking import Describer

_POLICY = frozenset({"start_lives", "lives_refill", "tiers_survive"})


class StagedWords(Describer):
    """Words and side effects of the staged model."""

    def __init__(self) -> None:
        self._now: tuple[StagedModel, dict[str, Any]] | None = None

    def carried_by(self, model: StagedModel, changes: Sequence[Change]) -> Mapping[str, str]:
        return {change.tunable: _carried(model, change.role) for change in changes}

    def side_effects(self, model: StagedModel, setting: Setting) -> Mapping[str, Any]:
        # The present is the same for every proposal of a model.
        if self._now is None or self._now[0] is not model:
            self._now = (model, _effects(model, {}))
        return {"now": self._now[1], "proposed": _effects(model, setting) if setting else self._now[1]}

    def assumptions(self, model: StagedModel) -> tuple[str, ...]:
        p = model.priors
        rate = "block speed" if model.data.segments[0].is_level else "fire rate"
        said = [
            f"deaths a second alive ~ (player) x (attempt)^l x ({rate})^e, in each segment at its own level",
            f"e ~ N({p.exponent[0]:g}, {p.exponent[1]:g}) and l ~ N({p.learning[0]:g}, {p.learning[1]:g}) "
            "before the data",
            f"players differ by a factor exp(u), u ~ N(0, s), s ~ half-normal({p.sigma_scale:g})",
        ]
        if "again" in model.hazard.names:
            factor = np.exp(np.quantile(model.hazard.effect("again"), [0.1, 0.5, 0.9]))
            said.append(
                "after a death in a segment, what is left of it is "
                f"{factor[1]:.1f} times as dangerous (80 % {factor[0]:.1f} to {factor[2]:.1f}); before the data "
                f"ln of it ~ N({p.again[0]:g}, {p.again[1]:g})"
            )
        if "aimed" in model.hazard.names:
            said.append(f"all shots aimed instead of none: ln hazard + N({p.aimed[0]:g}, {p.aimed[1]:g})")
        if not model.data.finish_known:
            said.append("nobody finished: the end is taken to be the last segment seen or named by a tunable")
        return tuple(said)


def _effects(model: StagedModel, setting: Setting) -> dict[str, Any]:
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
            float(np.median(worst[hardest])), float(np.exp(np.median(model.hazard.effect("again"))))
        ),
    }


def most_deaths(mean: float, again: float, share: float = 0.1, parts: int = 200) -> int:
    """Of visits with `mean` deaths each, `share` see at least so many.

    The first comes at an even rate, those after it at `again` times this rate in what is left of the visit.
    """
    left = 1 - (np.arange(parts) + 0.5) / parts

    def first(rate: float) -> np.ndarray:
        return -np.expm1(-rate / parts) * np.exp(-rate * (1 - left - 0.5 / parts))

    def excess(rate: float) -> float:
        return float(first(rate) @ (1 + again * rate * left)) - mean

    rate = brentq(excess, 0.0, 1 + mean * (1 + 1 / again)) if mean > 0 else 0.0
    most = 0
    while first(rate) @ poisson.sf(most - 1, again * rate * left) >= share:
        most += 1
    return most


def _carried(model: StagedModel, role: str | None) -> str:
    if role in _POLICY:
        return "data: the deaths and times seen in each segment, through the rules of the game"
    if role in ("fire_period", "drop_interval"):
        share = model.hazard.data_share("exponent")
        if share < 0.1:
            return "prior: only one rate has been played, so how strongly it acts is assumed, not measured"
        if share < 0.5:
            return f"prior mostly: the play has settled {100 * share:.0f} % of what was uncertain beforehand"
        return f"data mostly: the play has settled {100 * share:.0f} % of what was uncertain beforehand"
    if role == "aimed_share":
        share = model.hazard.data_share("aimed") if "aimed" in model.hazard.names else 0.0
        return (
            "prior: only one share has been played"
            if share < 0.1
            else f"data ({100 * share:.0f} % of variance)"
        )
    return (
        "prior: pick-ups are taken to come in proportion to the rate; the effect of a tier is from the data"
    )
