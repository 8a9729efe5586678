"""How the chance of success falls with a dose (speed, distance): logistic regression with an interval by
player.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL, Estimate, t_critical

Array = np.ndarray
_MOST_STEPS = 50


@dataclass(frozen=True)
class DoseResponse:
    """logit P(success) = intercept + slope * dose. `covariance` is 2x2, by player; `t` its critical value.

    `half` is the dose at which half succeed, with its interval (None where the slope may be nil and no
    interval exists). `converged` is False where successes and failures are parted completely by the dose.
    """

    intercept: float
    slope: Estimate
    half: Estimate
    covariance: Array
    t: float
    players: int
    converged: bool

    def chance(self, dose: Array) -> tuple[Array, Array, Array]:
        """(chance, low, high) of success at given doses."""
        dose = np.asarray(dose, dtype=float)
        design = np.column_stack([np.ones(dose.size), dose])
        middle = design @ np.array([self.intercept, self.slope.value])
        margin = self.t * np.sqrt(np.einsum("ij,jk,ik->i", design, self.covariance, design))
        return special.expit(middle), special.expit(middle - margin), special.expit(middle + margin)


def logistic(design: Array, successes: Array, trials: Array) -> tuple[Array, Array, bool]:
    """Maximum likelihood by iteratively reweighted least squares: (coefficients, information matrix,
    converged).

    design: (n, k); successes, trials: (n,). McCullagh & Nelder 1989, Generalized Linear Models, 2nd ed., ch.
    4.
    """
    design = np.asarray(design, dtype=float)
    beta = np.zeros(design.shape[1])
    information = np.eye(beta.size)
    for _ in range(_MOST_STEPS):
        chance = special.expit(design @ beta)
        weight = np.maximum(trials * chance * (1 - chance), 1e-12)
        information = design.T @ (design * weight[:, None])
        step = np.linalg.lstsq(information, design.T @ (successes - trials * chance), rcond=None)[0]
        beta = beta + step
        if np.max(np.abs(step)) < 1e-10 * (1 + np.max(np.abs(beta))):
            return beta, information, True
        if np.max(np.abs(design @ beta)) > 40:
            break
    return beta, information, False


def dose_response(dose: Array, successes: Array, trials: Array, player: Array) -> DoseResponse | None:
    """Logistic dose-response with cluster-robust (sandwich) covariance and t(players - 1).

    dose, successes, trials: (n,); player: (n,) labels. None where there are fewer than two players or doses.
    The half-dose interval is Fieller's (Finney 1971, Probit Analysis, 3rd ed.); Liang & Zeger 1986,
    Biometrika 73:13-22 (the sandwich), times players / (players - 1).
    """
    dose, successes, trials = (np.asarray(c, dtype=float) for c in (dose, successes, trials))
    labels, number = numbered(player)
    players = labels.size
    if players < 2 or np.unique(dose).size < 2:
        return None
    # Centred and scaled, so that a dose in hundreds of pixels a second is as well conditioned as one in
    # units.
    middle, unit = dose.mean(), dose.std()
    design = np.column_stack([np.ones(dose.size), (dose - middle) / unit])
    beta, information, converged = logistic(design, successes, trials)
    residual = successes - trials * special.expit(design @ beta)
    score = np.column_stack([np.bincount(number, weights=residual * c, minlength=players) for c in design.T])
    bread = np.linalg.pinv(information)
    scaled = players / (players - 1) * bread @ (score.T @ score) @ bread
    back = np.array([[1.0, -middle / unit], [0.0, 1 / unit]])
    (intercept, slope), covariance = back @ beta, back @ scaled @ back.T
    t = t_critical(LEVEL, players - 1)
    steep = Estimate.around(slope, t * np.sqrt(covariance[1, 1]), players=players)
    half = _half(intercept, slope, covariance, t) if converged else (None, None, None)
    return DoseResponse(float(intercept), steep, Estimate(*half, players=players), covariance, t, players, converged)


def _half(
    intercept: float, slope: float, covariance: Array, t: float
) -> tuple[float | None, float | None, float | None]:
    """-intercept / slope with Fieller's limits; no limits where the slope is not told from nil."""
    if slope == 0:
        return None, None, None
    half = -intercept / slope
    a = slope**2 - t**2 * covariance[1, 1]
    b = intercept * slope - t**2 * covariance[0, 1]
    c = intercept**2 - t**2 * covariance[0, 0]
    if a <= 0 or b * b - a * c < 0:
        return float(half), None, None
    root = np.sqrt(b * b - a * c)
    return float(half), float((-b - root) / a), float((-b + root) / a)
