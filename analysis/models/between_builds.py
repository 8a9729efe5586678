"""A plain dose-response between builds, for tunables whose effect no model knows.

`logit p = a + slope (x - present) / spread` over the values of one tunable in the builds that were played; p is the
share of players who met the target. It knows nothing of the game, and all else that differed between the builds'
playtests is in it; proposals from it say so.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit

from analysis.models.data import Build, Tunable
from analysis.models.observed import ByPlayer
from analysis.models.setting import Setting
from analysis.models.targets import Statistic, Target
from analysis.tuning.proposal import Change
from analysis.tuning.ranking import Describer

DRAWS, QUICK = 240, 3
# Normal priors on the logit scale: any share is possible, and a step over all that was played may do much or nothing.
LEVEL_SD, SLOPE_SD = 1.5, 1.5


@dataclass(frozen=True)
class BetweenBuilds:
    """The fitted line of one tunable for each target: draws of (level, slope), by the target's name."""

    tunable: Tunable
    build: Build
    spread: float
    played: tuple[int, ...]
    lines: Mapping[str, np.ndarray]
    others: tuple[str, ...]  # what else differed between these builds
    roles: tuple[str, ...] = ()

    @property
    def tunables(self) -> tuple[Tunable, ...]:
        return (self.tunable,)

    def knows(self, target: Target) -> bool:
        """Only shares of players, where two builds with different values were played."""
        return target.name in self.lines

    def figures(self, setting: Setting, targets: Sequence[Target], quick: bool = False) -> np.ndarray:
        """(targets, draws) of the share under `setting`."""
        x = (setting.get(self.tunable.name, self.tunable.value) - self.tunable.value) / self.spread
        lines = [self.lines[t.name][:: QUICK if quick else 1] for t in targets]
        return np.array([expit(line[:, 0] + line[:, 1] * x) for line in lines])


def fit_between(
    tunable: Tunable,
    build: Build,
    targets: Sequence[Target],
    results: Mapping[str, Sequence[tuple[int, ByPlayer]]],
    others: Sequence[str] = (),
    seed: int = 1,
) -> BetweenBuilds | None:
    """results: target's name -> (the tunable's value, what players did there), one a build. None: nothing to fit."""
    rng = np.random.default_rng(seed)
    values = sorted({value for rows in results.values() for value, _ in rows})
    if len(values) < 2:
        return None
    spread = float(values[-1] - values[0])
    lines = {}
    for target in targets:
        rows = [(v, r) for v, r in results.get(target.name, ()) if len(r.value)]
        if target.statistic != Statistic.SHARE or len({v for v, _ in rows}) < 2:
            continue
        x = np.concatenate([np.full(len(r.value), (v - tunable.value) / spread) for v, r in rows])
        y = np.concatenate([r.value for _, r in rows])
        lines[target.name] = _line(x, y, rng)
    if not lines:
        return None
    return BetweenBuilds(tunable, build, spread, tuple(values), lines, tuple(others))


def _line(x: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """(draws, 2) of (level, slope): the normal approximation about the posterior mode."""
    design = np.column_stack([np.ones(len(x)), x])
    precision = np.diag([1 / LEVEL_SD**2, 1 / SLOPE_SD**2])
    beta = np.array([float(logit(np.clip(y.mean(), 0.1, 0.9))), 0.0])
    hessian = precision
    for _ in range(50):
        chance = expit(design @ beta)
        hessian = (design * (chance * (1 - chance))[:, None]).T @ design + precision
        step = np.linalg.solve(hessian, design.T @ (y - chance) - precision @ beta)
        beta = beta + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-8:
            break
    root = np.linalg.cholesky(np.linalg.inv(hessian))
    return beta + rng.standard_normal((DRAWS, 2)) @ root.T


class BetweenWords(Describer):
    """Words that call it what it is."""

    def carried_by(self, model: BetweenBuilds, changes: Sequence[Change]) -> Mapping[str, str]:
        said = f"data: a plain line between the builds played at {', '.join(map(str, model.played))}"
        if model.others:
            said += f"; in these builds {', '.join(model.others)} differed too, and nothing tells their effects apart"
        return {change.tunable: said for change in changes}

    def assumptions(self, model: BetweenBuilds) -> tuple[str, ...]:
        return (
            "plain dose-response between builds: a straight line in the logit of the share of players",
            "nothing is known of what this tunable does; beyond the values played it is a guess",
        )
