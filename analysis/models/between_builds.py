"""A plain dose-response between builds, for tunables whose effect no model knows.

`logit p = a + slope (x - present) / spread` over the values of one tunable in the builds that were played; p is the
share of players who met the target. It knows nothing of the game, and all else that differed between the builds'
playtests is in it; proposals from it say so.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.special import expit

from analysis.models.audience import LIKE_TESTERS, Shift
from analysis.models.data import Build, StagedData, Tunable
from analysis.models.fitted import AS_THEY_ARE, Fitted
from analysis.models.fitting.laplace import Design, laplace
from analysis.models.fitting.sampling import Sampling
from analysis.models.moves import Move, holdable_within
from analysis.models.observed import Observed, by_player_staged, observed_staged
from analysis.models.setting import Setting
from analysis.models.targets import Changeable, Outcome, Statistic, Target

# Values of the tunable that are looked at.
_MOST_VALUES = 200
DRAWS, QUICK = 240, 3


@dataclass(frozen=True)
class LinePriors:
    """Standard deviations on the logit scale: any share is possible, and a step over all that was played may do much
    or nothing. No source."""

    level_sd: float = 1.5
    slope_sd: float = 1.5


@dataclass(frozen=True)
class BetweenBuilds(Fitted):
    """The fitted line of one tunable for each target: draws of (level, slope), by the target's name."""

    data: StagedData
    tunable: Tunable
    spread: float
    played: tuple[int, ...]
    lines: Mapping[str, np.ndarray]
    others: tuple[str, ...]  # what else differed between these builds
    wishes: tuple[Target, ...]
    shift: Shift = LIKE_TESTERS

    method = "tuning.between_builds"
    roles = ()
    of_the_game = False
    more, less = "its odds of coming so far are a third less", "its odds of coming so far are a third more"

    def for_audience(self, shift: Shift) -> "BetweenBuilds":
        return replace(self, shift=shift)

    @property
    def build(self) -> Build:
        return self.data.build

    @property
    def apart(self) -> str:
        return f"a line between the builds by {self.tunable.name}"

    @property
    def acting(self) -> tuple[Tunable, ...]:
        return (self.tunable,)

    @property
    def players(self) -> int:
        return len(self.data.players)

    @property
    def runs(self) -> int:
        return self.data.runs.count

    @property
    def sampling(self) -> Sampling:
        return Sampling(DRAWS, DRAWS)  # of the normal approximation itself, so each is independent

    def observed(self, target: Target) -> Observed:
        return observed_staged(self.data, target)

    def knows(self, target: Target) -> bool:
        return target.name in self.lines

    def figures(self, setting: Setting, targets: Sequence[Target], quick: bool = False) -> np.ndarray:
        x = (setting.get(self.tunable.name, self.tunable.value) - self.tunable.value) / self.spread
        pick = slice(None, None, QUICK if quick else 1)
        harder = self.shift.draws(DRAWS)[pick]
        lines = [self.lines[t.name][pick] for t in targets]
        return np.array([expit(line[:, 0] - harder + line[:, 1] * x) for line in lines])

    def moves(self, wishes: Changeable, targets: Sequence[Target]) -> tuple[Move, ...]:
        t = self.tunable
        low, high = wishes.range(t.name, t.role, t.low, t.high)
        values = holdable_within(t.holdable, low, high)
        options = sorted({*values[:: max(1, len(values) // _MOST_VALUES)], t.value})
        return (Move(t.name, tuple({t.name: value} for value in options), joint=True),)

    def carried_by(self, tunable: Tunable) -> str:
        said = f"data: a plain line between the builds played at {', '.join(map(str, self.played))}"
        if self.others:
            said += f"; in these builds {', '.join(self.others)} differed too, and nothing tells their effects apart"
        return said

    def assumptions(self) -> tuple[str, ...]:
        return (
            "plain dose-response between builds: a straight line in the logit of the share of players",
            "nothing is known of what this tunable does; beyond the values played it is a guess",
        )

    def otherwise(self) -> Mapping[str, Callable[[], Fitted]]:
        plain = LinePriors()
        cases = {
            AS_THEY_ARE: plain,
            "it may do far more or less": replace(plain, slope_sd=2 * plain.slope_sd),
            "it hardly does anything": replace(plain, slope_sd=plain.slope_sd / 4),
        }
        return {f"{words} ({self.apart})": partial(self._under, priors) for words, priors in cases.items()}

    def _under(self, priors: LinePriors) -> "BetweenBuilds":
        fitted = fit_between(self.data, self.tunable, self.wishes, self.others, priors)
        assert fitted is not None  # it could be fitted to the same data before
        return fitted.for_audience(self.shift)


def fit_between(
    data: StagedData,
    tunable: Tunable,
    targets: Sequence[Target],
    others: Sequence[str] = (),
    priors: LinePriors | None = None,
    seed: int = 1,
) -> BetweenBuilds | None:
    """A line for each target that counts shares, over the builds that were played. None: there is nothing to fit.

    tunable: of the build to be changed. others: tunables that differed between the builds too.
    """
    rng = np.random.default_rng(seed)
    values = {n: _value(data.builds[n], tunable.name) for n in sorted(set(data.runs.build.tolist()))}
    if len(set(values.values())) < 2:
        return None
    spread = float(max(values.values()) - min(values.values()))
    lines = {}
    for target in targets:
        rows = [(values[n], by_player_staged(data, target, n)) for n in values]
        rows = [(value, result) for value, result in rows if len(result.value)]
        # Of quits it is not known which way another audience would go.
        measured = target.statistic != Statistic.SHARE or target.outcome == Outcome.QUIT_SHARE
        if measured or len({value for value, _ in rows}) < 2:
            continue
        x = np.concatenate([np.full(len(r.value), (v - tunable.value) / spread) for v, r in rows])
        y = np.concatenate([r.value for _, r in rows])
        lines[target.name] = _line(x, y, priors or LinePriors(), rng)
    if not lines:
        return None
    played = tuple(sorted(set(values.values())))
    return BetweenBuilds(data, tunable, spread, played, lines, tuple(others), tuple(targets))


def varied(data: StagedData) -> list[str]:
    """The tunables that all builds played have, and that differed between them."""
    builds = [{t.name: t.value for t in data.builds[n].tunables} for n in sorted(set(data.runs.build.tolist()))]
    shared = set.intersection(*(set(build) for build in builds))
    return sorted(name for name in shared if len({build[name] for build in builds}) > 1)


def _value(build: Build, name: str) -> int:
    return next(t.value for t in build.tunables if t.name == name)


def _line(x: np.ndarray, y: np.ndarray, priors: LinePriors, rng: np.random.Generator) -> np.ndarray:
    """(draws, 2) of (level, slope): the normal approximation about the posterior mode."""
    mode = laplace(
        Design(
            x=np.column_stack([np.ones(len(x)), x]),
            player=np.zeros(0, dtype=int),
            players=0,
            counts=y,
            offset=np.zeros(len(x)),
            names=("slope",),
            prior_mean=np.zeros(2),
            prior_covariance=np.diag([priors.level_sd**2, priors.slope_sd**2]),
            trials=np.ones(len(x)),
        )
    )
    return mode.beta + rng.standard_normal((DRAWS, 2)) @ np.linalg.cholesky(mode.covariance).T
