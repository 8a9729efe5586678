"""Blocks of sampling: draws to be weighed, resampling, and how many independent draws a sample is worth."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import ndtri

from analysis.words import counted

# At fewer effective draws an end of an 80 % interval is out by over a tenth of the interval's width: the standard error
# of a quantile, sqrt(p (1 - p) / n) over the density, for a normal posterior and p = 0.1.
FEWEST_EFFECTIVE = 50


@dataclass(frozen=True)
class Sampling:
    """What the draws behind an answer are worth. draws: kept for the figures; effective: how many independent draws say
    as much as all that were made."""

    draws: int
    effective: float

    @property
    def caution(self) -> str:
        """What is to be said of too few; empty where there are enough."""
        if self.effective >= FEWEST_EFFECTIVE:
            return ""
        worth = counted(max(1, round(self.effective)), "independent one")
        return f"the draws behind these figures are worth only {worth}: take the ends of the intervals as rough"


def t_draws(count: int, dimension: int, freedom: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """(standard multivariate t draws (count, dimension), their ln density up to a constant (count,))."""
    normal = rng.standard_normal((count, dimension))
    scale = np.sqrt(freedom / rng.chisquare(freedom, count))
    standard = normal * scale[:, None]
    return standard, -(freedom + dimension) / 2 * np.log1p((standard**2).sum(axis=1) / freedom)


def importance(log_target: np.ndarray, log_proposal: np.ndarray) -> np.ndarray:
    """Weights that add up to 1, from ln densities that may each lack a constant."""
    weight = np.exp(log_target - log_proposal - np.max(log_target - log_proposal))
    return weight / weight.sum()


def effective_of_weights(weight: np.ndarray) -> float:
    """How many equally weighted draws weighted ones are worth (Kish 1965, Survey Sampling; weights add up to 1)."""
    return float(1 / (weight**2).sum())


def systematic(weight: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
    """Indices drawn in proportion to `weight` with the least noise: one uniform shift of an even comb."""
    comb = (np.arange(draws) + rng.random()) / draws
    return np.minimum(np.searchsorted(np.cumsum(weight), comb), len(weight) - 1)


def effective_of_chain(chain: np.ndarray) -> float:
    """How many independent draws a Markov chain (turns, quantities) is worth: for the quantity that mixes worst.

    The autocorrelations are added up while those of neighbouring lags stay positive in pairs (the initial positive
    sequence: Geyer 1992, Practical Markov chain Monte Carlo, Stat. Sci. 7:473-483).
    """
    turns = len(chain)
    centred = chain - chain.mean(axis=0)
    spectrum = np.fft.rfft(centred, 2 * turns, axis=0)
    correlation = np.fft.irfft(abs(spectrum) ** 2, axis=0)[:turns]
    moving = correlation[0] > 1e-12 * np.maximum(1.0, chain.mean(axis=0) ** 2)
    if not moving.any():
        return float(turns)
    correlation = correlation[:, moving] / correlation[0, moving]
    even = turns // 2 * 2
    pairs = correlation[0:even:2] + correlation[1:even:2]
    positive = np.cumprod(pairs > 0, axis=0)
    time = 2 * (pairs * positive).sum(axis=0) - 1
    return float(min(turns, (turns / np.maximum(time, 1.0)).min()))


def split_r(chain: np.ndarray) -> float:
    """Largest potential scale reduction of the two halves of a chain (Gelman & Rubin 1992; split: common practice)."""
    half = len(chain) // 2
    parts = np.stack([chain[:half], chain[half : 2 * half]])
    within = parts.var(axis=1, ddof=1).mean(axis=0)
    between = half * parts.mean(axis=1).var(axis=0, ddof=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        r = np.sqrt(((half - 1) / half * within + between / half) / within)
    return float(np.nanmax(np.where(np.isfinite(r), r, 1.0)))


def bayesian_bootstrap(values: np.ndarray, draws: int, count: int, seed: int) -> np.ndarray:
    """(draws, count) of the values, drawn with weights from a flat Dirichlet distribution: Rubin 1981, The Bayesian
    bootstrap, Ann. Stat. 9:130-134."""
    rng = np.random.default_rng(seed)
    upto = np.cumsum(rng.dirichlet(np.ones(len(values)), draws), axis=1)
    # Evenly spread over each draw's weights, in random order: as many as the weight says, with no noise on top.
    at = (rng.permuted(np.tile(np.arange(count), (draws, 1)), axis=1) + 0.5) / count
    return values[np.minimum((at[:, :, None] > upto[:, None, :]).sum(axis=2), len(values) - 1)]


@cache
def normal_nodes(count: int, dimensions: int) -> np.ndarray:
    """Evenly spread points of a standard normal distribution: Sobol's sequence, scrambled with a fixed seed."""
    from scipy.stats import qmc  # takes long to import, and whoever only reads needs no draws

    points = qmc.Sobol(dimensions, scramble=True, seed=7).random(count)
    return ndtri(np.clip(points, 1e-6, 1 - 1e-6))
