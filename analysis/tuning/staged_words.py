"""What carries a proposal for a staged game, what else it does, and what it assumes."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from scipy.stats import poisson

from analysis.tuning.proposal import Change
from analysis.tuning.propose import Describer
from analysis.tuning.setting import Setting
from analysis.tuning.staged import StagedModel

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
        # One visit in ten sees at least this many deaths in a row there.
        "most_deaths_in_a_row": int(poisson.ppf(0.9, np.median(worst[hardest]))),
    }


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
