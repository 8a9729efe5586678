"""Who plays no more after a run that failed: a logistic regression on how often a player has failed so far.

`logit p = a + b (died twice in the last segment) + c (failures so far - 1)`, with normal priors.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit

from analysis.models.fitting.laplace import Design, laplace

# From so many failures on they are counted alike.
MOST_FAILURES = 3


@dataclass(frozen=True)
class StopPriors:
    """(mean, sd) on the logit scale. first: about one in eight, worth some five observations. Guesses, no source:
    people lose heart the sooner the oftener they fail, in one place more so."""

    first: tuple[float, float] = (float(logit(0.12)), 1.1)
    twice: tuple[float, float] = (0.3, 0.4)
    again: tuple[float, float] = (0.4, 0.4)


@dataclass(frozen=True)
class Stops:
    """beta: (draws, 3) of a, b, c."""

    beta: np.ndarray

    def chance(self, failures: int, twice: bool) -> np.ndarray:
        """(draws,) that a player stops after so many failed runs; twice: the last ended at a repeated death."""
        return expit(self.beta @ np.array([1.0, float(twice), min(failures, MOST_FAILURES) - 1.0]))


def fit_stops(
    stops: np.ndarray, chances: np.ndarray, draws: int, rng: np.random.Generator, priors: StopPriors | None = None
) -> Stops:
    """Posterior draws by Laplace's approximation.

    stops of chances: (2, MOST_FAILURES), plain and after repeated deaths, by failures so far.
    """
    priors = priors or StopPriors()
    twice, failed = np.mgrid[:2, :MOST_FAILURES].reshape(2, -1).astype(float)
    own = np.array([priors.first, priors.twice, priors.again])
    mode = laplace(
        Design(
            x=np.stack([np.ones(twice.size), twice, failed], axis=1),
            player=np.zeros(0, dtype=int),
            players=0,
            counts=stops.ravel().astype(float),
            offset=np.zeros(twice.size),
            names=("first", "twice", "again"),
            prior_mean=own[:, 0],
            prior_covariance=np.diag(own[:, 1] ** 2),
            trials=chances.ravel().astype(float),
        )
    )
    root = np.linalg.cholesky(mode.covariance)
    return Stops(mode.beta + rng.standard_normal((draws, 3)) @ root.T)
