"""The posterior of a regression with players' effects: draws that are as good as independent ones of equal weight.

Laplace approximations on a grid of sigma, the players' spread, from which t-distributed draws are made and reweighted
by the exact marginal likelihood (laplace.py), then resampled.
"""

from dataclasses import dataclass

import numpy as np

from analysis.models.fitting.laplace import Design, Mode, laplace, log_marginal
from analysis.models.fitting.sampling import Sampling, effective_of_weights, importance, systematic, t_draws

PROPOSAL_DF = 5.0  # of the t distribution that draws are made from: tails heavier than the posterior's


@dataclass(frozen=True)
class Posterior:
    """Equally weighted draws. beta (draws, coefficients); sigma (draws,); skill: each player's mean u.

    levels: how many coefficients come before the named ones. prior_sd: (coefficients,).
    """

    beta: np.ndarray
    sigma: np.ndarray
    names: tuple[str, ...]
    levels: int
    skill: np.ndarray
    sampling: Sampling
    prior_sd: np.ndarray

    def alpha(self) -> np.ndarray:
        """(draws, levels): of an average new player's first attempt under today's setting."""
        return self.beta[:, : self.levels]

    def effect(self, name: str) -> np.ndarray:
        """(draws,) of a named coefficient; zeros where the model has none."""
        if name not in self.names:
            return np.zeros(len(self.beta))
        return self.beta[:, self.levels + self.names.index(name)]

    def data_share(self, name: str) -> float:
        """How much of the prior's variance of a coefficient the data took away, from 0 (prior only) to 1."""
        if name not in self.names:
            return 0.0
        position = self.levels + self.names.index(name)
        prior = self.prior_sd[position]
        return float(np.clip(1 - np.var(self.beta[:, position]) / prior**2, 0, 1)) if prior > 0 else 0.0


def fit_posterior(design: Design, draws: int = 240, tries: int = 2000, seed: int = 1) -> Posterior:
    """Posterior draws of a regression with players' effects. The same input and seed give the same draws."""
    rng = np.random.default_rng(seed)
    grid = np.log(np.geomspace(0.015, 2.2, 13))
    width = grid[1] - grid[0]
    modes: list[Mode] = []
    for log_sigma in grid:
        modes.append(laplace(design, float(np.exp(log_sigma)), modes[-1].beta if modes else None))
    log_weight = [m.evidence + _log_half_normal(s, design.sigma_scale) for m, s in zip(modes, grid, strict=True)]
    weight = np.exp(np.array(log_weight) - max(log_weight))
    weight = np.maximum(weight / weight.sum(), 1e-4)
    weight /= weight.sum()
    roots = np.array([np.linalg.cholesky(mode.covariance) for mode in modes])
    cell = rng.choice(len(grid), size=tries, p=weight)
    log_sigma = grid[cell] + width * (rng.random(tries) - 0.5)
    standard, log_t = t_draws(tries, len(design.prior_mean), PROPOSAL_DF, rng)
    beta = np.array([mode.beta for mode in modes])[cell] + np.einsum("dij,dj->di", roots[cell], standard)
    log_det = np.log(np.diagonal(roots, axis1=1, axis2=2)).sum(axis=1)[cell]
    log_proposal = np.log(weight[cell] / width) - log_det + log_t
    shift, precision = beta - design.prior_mean, np.linalg.inv(design.prior_covariance)
    log_target = -0.5 * np.einsum("di,ij,dj->d", shift, precision, shift)
    log_target = log_target + _log_half_normal(log_sigma, design.sigma_scale)
    weighted = importance(log_target + log_marginal(design, beta, np.exp(log_sigma)), log_proposal)
    chosen = systematic(weighted, draws, rng)
    return Posterior(
        beta[chosen],
        np.exp(log_sigma[chosen]),
        design.names,
        design.levels,
        np.einsum("c,cp->p", weight, np.array([mode.skill for mode in modes])),
        Sampling(draws, effective_of_weights(weighted)),
        np.sqrt(np.diag(design.prior_covariance)),
    )


def _log_half_normal(log_sigma: np.ndarray | float, scale: float) -> np.ndarray | float:
    """ln density of ln sigma, up to a constant."""
    return log_sigma - 0.5 * (np.exp(log_sigma) / scale) ** 2
