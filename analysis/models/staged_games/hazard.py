"""The hazard of dying as a regression: what depends on what, and the priors.

Deaths of player i in a cell of segment j, attempt r, tier k and dose m of a lever during E seconds alive at the age t
of a life (ages.py), before (a = 0) or after (a = 1) a first death in that segment:
`y ~ Poisson(E exp(alpha_j + u_i + learning ln r + tier k + again a + age ln t + effect (m - m_now)))`,
`u_i ~ N(0, sigma^2)`. Danger that goes with a power of the age makes the time to a death Weibull's.
For a fire period the dose is ln of the rate (analysis/levers says how each lever enters).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.levers import DoseLever, rate_levers
from analysis.models.data import Segment, StagedData
from analysis.models.fitting.laplace import Design
from analysis.models.setting import Rules
from ingest.vocabulary import TunableRole


@dataclass(frozen=True)
class Priors:
    """Normal priors as (mean, sd), and the scale of sigma's half-normal. Stated with every proposal.

    The level is in ln deaths a second alive; all else acts on the ln hazard. levers: where a lever's effect is not to
    have the prior that its module states.
    """

    level: tuple[float, float] = (-3.5, 2.5)
    boss: tuple[float, float] = (0.3, 0.7)
    walk_sd: float = 0.5
    own_sd: float = 0.35
    learning: tuple[float, float] = (-0.18, 0.3)
    tier: tuple[float, float] = (0.0, 0.12)
    again: tuple[float, float] = (0.0, 0.6)
    age: tuple[float, float] = (0.0, 0.4)
    experienced: tuple[float, float] = (-0.3, 0.4)
    other_firmware: tuple[float, float] = (0.0, 0.15)
    sigma_scale: float = 0.7
    levers: Mapping[TunableRole, tuple[float, float]] = field(default_factory=dict)

    def of(self, lever: DoseLever) -> tuple[float, float]:
        """The prior of a lever's effect on the deaths."""
        assert lever.deaths is not None
        return self.levers.get(lever.role, (lever.deaths.mean, lever.deaths.sd))


def alpha_prior(segments: Sequence[Segment], priors: Priors) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance of the segments' levels: shared level, boss step, walk over stages, own part."""
    number = np.array([s.number for s in segments], dtype=float)
    boss = np.array([s.boss for s in segments], dtype=float)
    order = number - number.min()
    mean = priors.level[0] + priors.boss[0] * boss
    covariance = priors.level[1] ** 2 * np.ones((len(segments), len(segments)))
    covariance += priors.boss[1] ** 2 * np.outer(boss, boss)
    covariance += priors.walk_sd**2 * np.minimum.outer(order, order)
    return mean, covariance + priors.own_sd**2 * np.eye(len(segments))


def hazard_design(data: StagedData, priors: Priors, by_build: Sequence[Rules]) -> Design:
    """The cells as a regression, with only those coefficients that this game or its levers need."""
    cells, segments = data.cells, len(data.segments)
    columns: dict[str, np.ndarray] = {}
    own: dict[str, tuple[float, float]] = {}

    def add(name: str, column: np.ndarray, prior: tuple[float, float]) -> None:
        columns[name], own[name] = column, prior

    add("learning", np.log(cells.attempt), priors.learning)
    if data.tiers > 1:
        add("tier", cells.tier.astype(float), priors.tier)
    if cells.again.any():
        add("again", cells.again.astype(float), priors.again)
    if (cells.age != 1).any():
        add("age", np.log(cells.age), priors.age)
    for lever in played_levers(data, by_build):
        if lever.deaths is not None:
            add(lever.role, steps(lever, data, by_build)[cells.build, cells.segment], priors.of(lever))
    if cells.experienced.any():
        add("experienced", cells.experienced.astype(float), priors.experienced)
    firmwares = sorted({b.firmware for b in data.builds} - {data.build.firmware})
    for firmware in firmwares:
        column = np.array([b.firmware == firmware for b in data.builds], dtype=float)[cells.build]
        if column.any():
            add(f"firmware {firmware}", column, priors.other_firmware)
    x = np.zeros((len(cells.deaths), segments + len(columns)))
    x[np.arange(len(cells.deaths)), cells.segment] = 1
    for n, column in enumerate(columns.values()):
        x[:, segments + n] = column
    mean, covariance = np.zeros(x.shape[1]), np.zeros((x.shape[1], x.shape[1]))
    mean[:segments], covariance[:segments, :segments] = alpha_prior(data.segments, priors)
    for n, (center, sd) in enumerate(own.values()):
        mean[segments + n], covariance[segments + n, segments + n] = center, sd**2
    return Design(
        x,
        cells.player,
        len(data.players),
        cells.deaths.astype(float),
        np.log(np.maximum(cells.alive_s, 1e-6)),
        tuple(columns),
        mean,
        covariance,
        priors.sigma_scale,
    )


def lever_effects() -> list[DoseLever]:
    """The levers whose effect on the deaths is fitted."""
    return [lever for lever in rate_levers() if lever.deaths is not None]


def played_levers(data: StagedData, by_build: Sequence[Rules]) -> list[DoseLever]:
    """Those that some build has a tunable of, and that act in a game like this."""
    declared = {t.role for b in data.builds for t in b.tunables}
    return [lever for lever in rate_levers() if lever.role in declared & set(by_build[data.current].doses)]


def steps(lever: DoseLever, data: StagedData, by_build: Sequence[Rules]) -> np.ndarray:
    """(builds, segments): the lever's dose in each build, less that of the present one."""
    now = by_build[data.current].doses[lever.role]
    return np.array([rule.doses[lever.role] - now for rule in by_build])
