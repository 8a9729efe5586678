"""How regular deaths are: from even danger (deaths as random as can be) to hazards at fixed places.

A stretch is the time alive from the start of a visit, or from a death, to the next death or the visit's end. With its
time weighed by the danger that the model expects there, stretches of even danger are exponential. Weibull's
distribution with shape k >= 1 holds the others: the larger k, the more alike are the times to a death. What the chain
takes of it is 1 - (standard deviation / mean)^2 of such times.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from analysis.models.data import Cells, StagedData, Stretches
from analysis.models.fitting.laplace import Design
from analysis.models.fitting.posterior import Posterior

# ln k ~ half-normal: deaths are taken for random until they show otherwise.
SHAPE_SD = 0.4
_SHAPES = np.exp(np.linspace(0.0, 1.6, 33))
# A stretch of 0 s says nothing of the shape.
_LEAST = 1e-3


@dataclass(frozen=True)
class Regularity:
    """draws: of 1 - (sd / mean)^2 of the time to a death, from 0 (random) towards 1 (always alike)."""

    draws: np.ndarray

    @property
    def mean(self) -> float:
        return float(self.draws.mean())


def fit_regularity(
    data: StagedData, design: Design, hazard: Posterior, draws: int, rng: np.random.Generator
) -> Regularity:
    """From the stretches of the data; with none, deaths are random. Where a death throws back, nothing is said."""
    stretches = data.stretches
    if stretches is None or data.restarts or not stretches.died.any():
        return Regularity(np.zeros(draws))
    weight = log_posterior(_weighed(data, design, hazard), stretches.died)
    weight = np.exp(weight - weight.max())
    shape = rng.choice(_SHAPES, size=draws, p=weight / weight.sum())
    return Regularity(regular(shape))


def regular(shape: np.ndarray) -> np.ndarray:
    """1 - (sd / mean)^2 of Weibull's distribution: 0 at shape 1, then rising towards 1."""
    return 2 - np.exp(gammaln(1 + 2 / shape) - 2 * gammaln(1 + 1 / shape))


def log_posterior(time: np.ndarray, died: np.ndarray) -> np.ndarray:
    """ln density of each of _SHAPES, the scale at its best; times that did not end in a death are censored."""
    time = np.maximum(time, _LEAST)
    deaths = died.sum()
    log_time = np.log(time)
    power = np.exp(np.outer(_SHAPES, log_time)).sum(axis=1)
    fit = deaths * np.log(_SHAPES) - deaths * np.log(power) + (_SHAPES - 1) * log_time[died].sum()
    return fit - 0.5 * (np.log(_SHAPES) / SHAPE_SD) ** 2


def _weighed(data: StagedData, design: Design, hazard: Posterior) -> np.ndarray:
    """(stretches,) the deaths that the model expects in each: its time at the mean rate of player, attempt and segment,
    before or after a first death."""
    cells, stretches = data.cells, data.stretches
    assert stretches is not None
    expected = np.exp(design.offset + design.x @ hazard.beta.mean(axis=0) + hazard.skill[design.player])
    span = int(max(cells.attempt.max(), stretches.attempt.max())) + 1

    def key(rows: Cells | Stretches) -> np.ndarray:
        return 2 * ((rows.player * span + rows.attempt) * len(data.segments) + rows.segment) + rows.again

    of, asked = key(cells), key(stretches)
    keys, row = np.unique(of, return_inverse=True)
    rate = np.bincount(row, expected) / np.maximum(np.bincount(row, cells.alive_s), 1e-9)
    place = np.minimum(np.searchsorted(keys, asked), len(keys) - 1)
    found = keys[place] == asked
    return stretches.alive_s * np.where(found, rate[place], 0.0)
