"""Maximum likelihood of plain mixed models (Poisson or binomial, one random intercept) by adaptive Gauss-Hermite
quadrature, after Pinheiro & Bates 1995 (J. Comp. Graph. Stat. 4:12-35). The tuning's posterior uses the same
quadrature; this module makes it comparable with published fits.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import gammaln

from analysis.models.fitting.laplace import Design, log_marginal


@dataclass(frozen=True)
class MixedFit:
    """coefficients (p,), their standard errors, sd of the intercepts, ln likelihood (constants included)."""

    coefficients: np.ndarray
    standard_error: np.ndarray
    sigma: float
    log_likelihood: float


def fit_mixed(
    x: np.ndarray,
    group: np.ndarray,
    count: np.ndarray,
    trials: np.ndarray | None = None,
    offset: np.ndarray | None = None,
    nodes: int = 25,
) -> MixedFit:
    """x (rows, p); group: index of the cluster; count: Poisson counts, or successes among `trials`.

    nodes: quadrature points (1: the Laplace approximation). Raises ValueError when it does not converge.
    """
    rows, width = x.shape
    if not (len(group) == len(count) == rows) or (trials is not None and len(trials) != rows):
        raise ValueError("x, group, count and trials must have one row each")
    design = Design(
        x=np.asarray(x, dtype=float),
        player=np.asarray(group, dtype=int),
        players=int(np.max(group)) + 1,
        counts=np.asarray(count, dtype=float),
        offset=np.zeros(rows) if offset is None else np.asarray(offset, dtype=float),
        names=(),
        prior_mean=np.zeros(width),
        prior_covariance=np.eye(width),
        trials=None if trials is None else np.asarray(trials, dtype=float),
    )
    scale = np.maximum(np.abs(design.x).max(axis=0), 1e-12)

    def loss(parameters: np.ndarray) -> float:
        sigma = np.exp(parameters[-1:])
        return -float(log_marginal(design, (parameters[:-1] / scale)[None], sigma, nodes)[0])

    start = np.concatenate([_start(design) * scale, [np.log(0.5)]])
    found = minimize(loss, start, method="BFGS", options={"gtol": 1e-6})
    found = minimize(loss, found.x, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 6000})
    hessian = _hessian(loss, found.x)
    try:
        covariance = np.linalg.inv(hessian)
    except np.linalg.LinAlgError:
        raise ValueError("the mixed model did not converge; are there enough groups?") from None
    errors = np.sqrt(np.maximum(np.diag(covariance), 0))[:-1] / scale
    constant = -gammaln(design.counts + 1).sum()
    if design.trials is not None:
        constant += (gammaln(design.trials + 1) - gammaln(design.trials - design.counts + 1)).sum()
    return MixedFit(found.x[:-1] / scale, errors, float(np.exp(found.x[-1])), float(-found.fun + constant))


def _start(design: Design) -> np.ndarray:
    """A least squares start on the link's scale."""
    if design.trials is None:
        y = np.log(design.counts + 0.5) - design.offset
    else:
        y = np.log((design.counts + 0.5) / (design.trials - design.counts + 0.5)) - design.offset
    return np.linalg.lstsq(design.x, y, rcond=None)[0]


def _hessian(loss, at: np.ndarray, step: float = 1e-3) -> np.ndarray:  # type: ignore[no-untyped-def]
    width = len(at)
    moves = np.eye(width) * step
    hessian = np.empty((width, width))
    for i in range(width):
        for j in range(i + 1):
            a, b = moves[i], moves[j]
            value = loss(at + a + b) - loss(at + a - b) - loss(at - a + b) + loss(at - a - b)
            hessian[i, j] = hessian[j, i] = value / (4 * step**2)
    return hessian
