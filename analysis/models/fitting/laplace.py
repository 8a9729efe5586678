"""The Laplace approximation of regressions with a normal effect of each player, and their exact marginal likelihood.

Counts (Poisson) or successes among trials (logistic), `x` times the coefficients plus an offset plus the player's
effect on the ln or logit scale; normal priors. Laplace: Tierney & Kadane 1986; the integral over the players' effects:
adaptive Gauss-Hermite quadrature (Pinheiro & Bates 1995).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse
from scipy.special import expit


@dataclass(frozen=True)
class Design:
    """A regression: `x` (cells, coefficients), player of each cell, counts, an offset on the ln (or logit) scale.

    names: of the last coefficients; those before are levels, one a segment. Without `trials` the counts are Poisson (of
    deaths, with ln seconds alive as the offset); with them, successes among `trials`. players 0: no effects of players,
    and `player` is empty. sigma_scale: of the half-normal prior of the players' spread.
    """

    x: np.ndarray
    player: np.ndarray
    players: int
    counts: np.ndarray
    offset: np.ndarray
    names: tuple[str, ...]
    prior_mean: np.ndarray
    prior_covariance: np.ndarray
    sigma_scale: float = 0.7
    trials: np.ndarray | None = None

    @property
    def levels(self) -> int:
        """How many coefficients are levels."""
        return self.x.shape[1] - len(self.names)

    @cached_property
    def by_player(self) -> sparse.csr_array:
        """(players, cells) of ones: times a column a cell it gives each player's sum."""
        cells = len(self.counts)
        if not self.players:
            return sparse.csr_array((0, cells))
        return sparse.csr_array((np.ones(cells), (self.player, np.arange(cells))), shape=(self.players, cells))


@dataclass(frozen=True)
class Mode:
    """The joint mode at one sigma: beta (coefficients,), skill (players,), beta's covariance, ln evidence (up to a
    constant)."""

    beta: np.ndarray
    skill: np.ndarray
    covariance: np.ndarray
    evidence: float


def laplace(design: Design, sigma: float = 1.0, start: np.ndarray | None = None) -> Mode:
    """The mode of (beta, u) at one spread of the players, by Newton's method, and the normal approximation there."""
    players, own = design.players, design.by_player
    precision = np.linalg.inv(design.prior_covariance)
    beta, skill = (design.prior_mean if start is None else start).copy(), np.zeros(players)
    counts_of = own @ design.counts

    def objective(beta: np.ndarray, skill: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        linear = design.offset + design.x @ beta + (skill[design.player] if players else 0.0)
        shift = beta - design.prior_mean
        penalty = 0.5 * shift @ precision @ shift + 0.5 * (skill @ skill) / sigma**2
        if design.trials is None:
            mean = np.exp(np.minimum(linear, 30))
            return design.counts @ linear - mean.sum() - penalty, mean, mean
        mean = design.trials * expit(linear)
        fit = design.counts @ linear - design.trials @ np.logaddexp(0, linear)
        return fit - penalty, mean, mean * expit(-linear)

    value, mean, curve = objective(beta, skill)
    for _ in range(60):
        gradient_beta = design.x.T @ (design.counts - mean) - precision @ (beta - design.prior_mean)
        gradient_skill = counts_of - own @ mean - skill / sigma**2
        weighted = design.x * curve[:, None]
        hessian = design.x.T @ weighted + precision
        cross = own @ weighted
        diagonal = own @ curve + 1 / sigma**2
        schur = hessian - cross.T @ (cross / diagonal[:, None])
        step_beta = np.linalg.solve(schur, gradient_beta - cross.T @ (gradient_skill / diagonal))
        step_skill = (gradient_skill - cross @ step_beta) / diagonal
        size = 1.0
        while size > 1e-6:
            new_value, new_mean, new_curve = objective(beta + size * step_beta, skill + size * step_skill)
            if new_value >= value - 1e-10:
                break
            size /= 2
        gain = new_value - value
        beta, skill = beta + size * step_beta, skill + size * step_skill
        value, mean, curve = new_value, new_mean, new_curve
        if gain < 1e-9:
            break
    covariance = np.linalg.inv(schur)
    _sign, log_det = np.linalg.slogdet(schur)
    evidence = value - players * np.log(sigma) - 0.5 * (np.log(diagonal).sum() + log_det)
    return Mode(beta, skill, (covariance + covariance.T) / 2, float(evidence))


def log_marginal(design: Design, beta: np.ndarray, sigma: np.ndarray, nodes: int = 9) -> np.ndarray:
    """(draws,): ln likelihood with the players' effects integrated out; constants of the data are left out.

    beta (draws, coefficients), sigma (draws,).
    """
    if design.trials is not None:
        linear = design.x @ beta.T + design.offset[:, None]
        return _log_binomial_normal(design, linear, sigma, nodes)
    # Many cells have the same row of x: each is worked out once.
    rows, row = np.unique(design.x, axis=0, return_inverse=True)
    row = row.ravel()
    linear = rows @ beta.T
    exposure = sparse.csr_array((np.exp(design.offset), (design.player, row)), shape=(design.players, len(rows)))
    expected = exposure @ np.exp(np.minimum(linear, 30))
    counts = (design.by_player @ design.counts)[:, None]
    fit = np.bincount(row, design.counts, minlength=len(rows)) @ linear
    return fit + log_poisson_normal(counts, expected, sigma[None, :], nodes).sum(axis=0)


def log_poisson_normal(counts: np.ndarray, expected: np.ndarray, sigma: np.ndarray, nodes: int = 9) -> np.ndarray:
    """ln of the integral of exp(y u - M e^u) over u ~ N(0, sigma^2), by adaptive Gauss-Hermite quadrature."""
    at, weight = np.polynomial.hermite.hermgauss(nodes)
    variance = sigma**2
    expected = np.maximum(expected, 1e-300)
    u = np.zeros(np.broadcast(counts, expected, sigma).shape)
    for _ in range(25):
        rate = expected * np.exp(u)
        step = (counts - rate - u / variance) / (rate + 1 / variance)
        # A Newton step on a convex exponential overshoots upward: at most 1.5 a step.
        step = np.clip(step, -3.0, 1.5)
        u = u + step
        if np.max(np.abs(step), initial=0) < 1e-6:
            break
    rate = expected * np.exp(u)
    spread = 1 / np.sqrt(rate + 1 / variance)
    total = np.zeros(u.shape)
    for z, w in zip(at, weight, strict=True):
        # Against the height at the mode, which nothing exceeds: no power overflows.
        apart = np.sqrt(2) * spread * z
        lower = rate * np.expm1(apart) - counts * apart + (u + apart / 2) * apart / variance
        total += w * np.exp(z * z - lower)
    height = counts * u - rate - u**2 / (2 * variance)
    return height + np.log(total) + np.log(spread) - np.log(sigma) - 0.5 * np.log(np.pi)


def _log_binomial_normal(design: Design, linear: np.ndarray, sigma: np.ndarray, nodes: int) -> np.ndarray:
    """(draws,): as log_marginal for the logistic model, whose cells cannot be added up; linear (cells, draws)."""
    assert design.trials is not None
    trials, players, variance = design.trials[:, None], design.players, sigma**2
    own = design.by_player
    successes = (own @ design.counts)[:, None]

    def by_player(values: np.ndarray) -> np.ndarray:
        return own @ values

    u = np.zeros((players, len(sigma)))
    for _ in range(12):
        chance = expit(linear + u[design.player])
        curve = by_player(trials * chance * (1 - chance)) + 1 / variance
        step = np.clip((successes - by_player(trials * chance) - u / variance) / curve, -2, 2)
        u = u + step
        if np.max(np.abs(step), initial=0) < 1e-6:
            break
    chance = expit(linear + u[design.player])
    spread = 1 / np.sqrt(by_player(trials * chance * (1 - chance)) + 1 / variance)
    at, weight = np.polynomial.hermite.hermgauss(nodes)
    total = None
    for z, w in zip(at, weight, strict=True):
        value = u + np.sqrt(2) * spread * z
        shifted = linear + value[design.player]
        fit = by_player(design.counts[:, None] * shifted - trials * np.logaddexp(0, shifted))
        term = np.log(w) + z * z + fit - value**2 / (2 * variance)
        total = term if total is None else np.logaddexp(total, term)
    assert total is not None
    return (total + np.log(spread) - np.log(sigma) - 0.5 * np.log(np.pi)).sum(axis=0)
