"""Normal errors of which only those within a window were seen."""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

Array = np.ndarray


@dataclass(frozen=True)
class TruncatedNormal:
    """Mean and standard deviation of errors before they were cut, and the share of them within the window."""

    mean_us: float
    spread_us: float
    inside: float


def truncated_normal_fit(error_us: Array, low_us: float, high_us: float) -> TruncatedNormal:
    """Maximum likelihood for normal errors of which only those from `low_us` to `high_us` were seen.

    The spread is kept below three window widths: beyond, the errors seen are flat and say no more than "wide".
    Cohen 1950, Ann. Math. Stat. 21:557-569 (the estimator; the page from memory). Raises ValueError below 5 errors.
    """
    error = np.asarray(error_us, float)
    if len(error) < 5:
        raise ValueError(f"a truncated fit needs at least 5 errors, got {len(error)}")
    width = high_us - low_us
    n, mean, square = len(error), float(error.mean()), float(np.mean(error**2))

    def loss(x: Array) -> float:
        mu, sigma = x[0], np.exp(x[1])
        inside = special.ndtr((high_us - mu) / sigma) - special.ndtr((low_us - mu) / sigma)
        return n * (np.log(max(inside, 1e-300)) + x[1] + (square - 2 * mu * mean + mu * mu) / (2 * sigma**2))

    start = np.array([mean, np.log(max(float(error.std()), width / 100))])
    bounds = [(low_us - width, high_us + width), (np.log(width / 1000), np.log(3 * width))]
    best = optimize.minimize(loss, start, method="L-BFGS-B", bounds=bounds)
    mu, sigma = float(best.x[0]), float(np.exp(best.x[1]))
    inside = float(special.ndtr((high_us - mu) / sigma) - special.ndtr((low_us - mu) / sigma))
    return TruncatedNormal(mu, sigma, inside)
