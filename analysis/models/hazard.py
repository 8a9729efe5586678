"""The hazard of dying, fitted to a small playtest: a hierarchical Poisson model and its posterior draws.

Deaths of player i in a cell of segment j, attempt r, tier k and fire rate m during E seconds alive, before (a = 0) or
after (a = 1) a first death in that segment:
`y ~ Poisson(E exp(alpha_j + u_i + learning ln r + tier k + again a + exponent ln(m/m_now)))`, `u_i ~ N(0, sigma^2)`.
Posterior: Laplace approximation on a grid of sigma (Tierney & Kadane 1986), from which t-distributed draws are
made and reweighted by the exact marginal likelihood: each player enters only by the sum of deaths and the sum of
expected deaths, so u_i is integrated by adaptive Gauss-Hermite quadrature (Pinheiro & Bates 1995).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import sparse
from scipy.special import expit

from analysis.models.data import Segment

PROPOSAL_DF = 5.0


@dataclass(frozen=True)
class Priors:
    """Normal priors as (mean, sd), and the scale of sigma's half-normal. Stated with every proposal.

    The level is in ln deaths a second alive; exponents and effects act on the ln hazard.
    """

    level: tuple[float, float] = (-3.5, 2.5)
    boss: tuple[float, float] = (0.3, 0.7)
    walk_sd: float = 0.5
    own_sd: float = 0.35
    learning: tuple[float, float] = (-0.25, 0.3)
    tier: tuple[float, float] = (0.0, 0.12)
    again: tuple[float, float] = (0.0, 0.3)
    exponent: tuple[float, float] = (1.0, 0.45)
    aimed: tuple[float, float] = (0.8, 0.5)
    experienced: tuple[float, float] = (-0.3, 0.4)
    other_firmware: tuple[float, float] = (0.0, 0.15)
    sigma_scale: float = 0.7


@dataclass(frozen=True)
class Design:
    """The cells as a regression: `x` (cells, coefficients), player of each cell, deaths, ln seconds alive.

    Coefficients: one alpha a segment, then `names`. With `trials`, the same for a logistic model: `deaths` are then
    the successes among `trials`, and `log_exposure` is an offset.
    """

    x: np.ndarray
    player: np.ndarray
    players: int
    deaths: np.ndarray
    log_exposure: np.ndarray
    names: tuple[str, ...]
    prior_mean: np.ndarray
    prior_covariance: np.ndarray
    sigma_scale: float = 0.7
    trials: np.ndarray | None = None


@dataclass(frozen=True)
class HazardPosterior:
    """Equally weighted draws. beta (draws, coefficients); sigma (draws,); skill: each player's mean u."""

    beta: np.ndarray
    sigma: np.ndarray
    names: tuple[str, ...]
    segments: int
    skill: np.ndarray
    effective_draws: float
    prior_sd: np.ndarray = field(default_factory=lambda: np.zeros(0))

    def alpha(self) -> np.ndarray:
        """(draws, segments): ln hazard of an average new player's first attempt, today's setting, tier 0."""
        return self.beta[:, : self.segments]

    def effect(self, name: str) -> np.ndarray:
        """(draws,) of a named coefficient; zeros where the model has none."""
        if name not in self.names:
            return np.zeros(len(self.beta))
        return self.beta[:, self.segments + self.names.index(name)]

    def data_share(self, name: str) -> float:
        """How much of the prior's variance of a coefficient the data took away, from 0 (prior only) to 1."""
        position = self.segments + self.names.index(name)
        prior = self.prior_sd[position]
        return float(np.clip(1 - np.var(self.beta[:, position]) / prior**2, 0, 1)) if prior > 0 else 0.0


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


def fit_hazard(design: Design, draws: int = 240, tries: int = 2000, seed: int = 1) -> HazardPosterior:
    """Posterior draws of the hazard model. The same input and seed give the same draws."""
    rng = np.random.default_rng(seed)
    segments = design.x.shape[1] - len(design.names)
    grid = np.log(np.geomspace(0.06, 2.2, 11))
    width = grid[1] - grid[0]
    precision = np.linalg.inv(design.prior_covariance)
    start = design.prior_mean.copy()
    modes, roots, log_weight, skills = [], [], [], []
    for log_sigma in grid:
        beta, skill, covariance, evidence = _laplace(design, precision, float(np.exp(log_sigma)), start)
        start = beta
        modes.append(beta)
        skills.append(skill)
        roots.append(np.linalg.cholesky(covariance))
        log_weight.append(evidence + _log_half_normal(log_sigma, design.sigma_scale))
    weight = np.exp(np.array(log_weight) - max(log_weight))
    weight = np.maximum(weight / weight.sum(), 1e-4)
    weight /= weight.sum()
    cell = rng.choice(len(grid), size=tries, p=weight)
    log_sigma = grid[cell] + width * (rng.random(tries) - 0.5)
    dimension = len(design.prior_mean)
    normal = rng.standard_normal((tries, dimension))
    scale = np.sqrt(PROPOSAL_DF / rng.chisquare(PROPOSAL_DF, tries))
    root = np.array(roots)[cell]
    standard = normal * scale[:, None]
    beta = np.array(modes)[cell] + np.einsum("dij,dj->di", root, standard)
    log_det = np.log(np.array(roots)[:, np.arange(dimension), np.arange(dimension)]).sum(axis=1)[cell]
    log_q = np.log(weight[cell] / width) - log_det
    log_q -= (PROPOSAL_DF + dimension) / 2 * np.log1p((standard**2).sum(axis=1) / PROPOSAL_DF)
    shift = beta - design.prior_mean
    log_p = -0.5 * np.einsum("di,ij,dj->d", shift, precision, shift) + _log_half_normal(
        log_sigma, design.sigma_scale
    )
    log_p += log_marginal(design, beta, np.exp(log_sigma))
    importance = np.exp(log_p - log_q - np.max(log_p - log_q))
    importance /= importance.sum()
    chosen = systematic(importance, draws, rng)
    skill = np.einsum("c,cp->p", weight, np.array(skills))
    return HazardPosterior(
        beta[chosen],
        np.exp(log_sigma[chosen]),
        design.names,
        segments,
        skill,
        float(1 / (importance**2).sum()),
        np.sqrt(np.diag(design.prior_covariance)),
    )


def _log_half_normal(log_sigma: np.ndarray | float, scale: float) -> np.ndarray | float:
    """ln density of ln sigma, up to a constant."""
    return log_sigma - 0.5 * (np.exp(log_sigma) / scale) ** 2


def _laplace(
    design: Design, precision: np.ndarray, sigma: float, start: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """Joint mode of (beta, u) at one sigma by Newton; beta's covariance; ln evidence up to a constant."""
    players, own = design.players, _by_player(design)
    beta, skill = start.copy(), np.zeros(players)
    deaths_of = np.bincount(design.player, design.deaths, minlength=players)

    def objective(beta: np.ndarray, skill: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        linear = design.log_exposure + design.x @ beta + skill[design.player]
        shift = beta - design.prior_mean
        penalty = 0.5 * shift @ precision @ shift + 0.5 * (skill @ skill) / sigma**2
        if design.trials is None:
            mean = np.exp(np.minimum(linear, 30))
            return design.deaths @ linear - mean.sum() - penalty, mean, mean
        mean = design.trials * expit(linear)
        fit = design.deaths @ linear - design.trials @ np.logaddexp(0, linear)
        return fit - penalty, mean, mean * expit(-linear)

    value, mean, curve = objective(beta, skill)
    for _ in range(60):
        gradient_beta = design.x.T @ (design.deaths - mean) - precision @ (beta - design.prior_mean)
        gradient_skill = deaths_of - np.bincount(design.player, mean, minlength=players) - skill / sigma**2
        per_player = np.bincount(design.player, curve, minlength=players)
        weighted = design.x * curve[:, None]
        hessian = design.x.T @ weighted + precision
        cross = own @ weighted
        diagonal = per_player + 1 / sigma**2
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
    covariance = (covariance + covariance.T) / 2
    _sign, log_det = np.linalg.slogdet(schur)
    evidence = value - players * np.log(sigma) - 0.5 * (np.log(diagonal).sum() + log_det)
    return beta, skill, covariance, float(evidence)


def _by_player(design: Design) -> sparse.csr_array:
    """(players, cells) of ones: times a column a cell it gives each player's sum."""
    cells = len(design.player)
    return sparse.csr_array(
        (np.ones(cells), (design.player, np.arange(cells))), shape=(design.players, cells)
    )


def log_marginal(design: Design, beta: np.ndarray, sigma: np.ndarray, nodes: int = 9) -> np.ndarray:
    """(draws,): ln likelihood with the players' effects integrated out; constants of the data are left out.

    beta (draws, coefficients), sigma (draws,).
    """
    linear = design.x @ beta.T + design.log_exposure[:, None]
    if design.trials is not None:
        return _log_binomial_normal(design, linear, sigma, nodes)
    plain = design.deaths @ linear
    expected = _by_player(design) @ np.exp(np.minimum(linear, 30))
    deaths = np.bincount(design.player, design.deaths, minlength=design.players)
    return plain + log_poisson_normal(deaths[:, None], expected, sigma[None, :], nodes).sum(axis=0)


def log_poisson_normal(
    deaths: np.ndarray, expected: np.ndarray, sigma: np.ndarray, nodes: int = 9
) -> np.ndarray:
    """ln of the integral of exp(y u - M e^u) over u ~ N(0, sigma^2), by adaptive Gauss-Hermite quadrature."""
    at, weight = np.polynomial.hermite.hermgauss(nodes)
    variance = sigma**2
    expected = np.maximum(expected, 1e-300)
    u = np.zeros(np.broadcast(deaths, expected, sigma).shape)
    for _ in range(25):
        rate = expected * np.exp(u)
        step = (deaths - rate - u / variance) / (rate + 1 / variance)
        # A Newton step on a convex exponential overshoots upward: at most 1.5 a step.
        step = np.clip(step, -3.0, 1.5)
        u = u + step
        if np.max(np.abs(step), initial=0) < 1e-6:
            break
    spread = 1 / np.sqrt(expected * np.exp(u) + 1 / variance)
    total = None
    for z, w in zip(at, weight, strict=True):
        value = u + np.sqrt(2) * spread * z
        term = np.log(w) + z * z + deaths * value - expected * np.exp(value) - value**2 / (2 * variance)
        total = term if total is None else np.logaddexp(total, term)
    assert total is not None
    return total + np.log(spread) - np.log(sigma) - 0.5 * np.log(np.pi)


def _log_binomial_normal(design: Design, linear: np.ndarray, sigma: np.ndarray, nodes: int) -> np.ndarray:
    """(draws,): as log_marginal for the logistic model, whose cells cannot be added up; linear (cells, draws)."""
    assert design.trials is not None
    trials, players, variance = design.trials[:, None], design.players, sigma**2
    successes = np.bincount(design.player, design.deaths, minlength=players)[:, None]
    own = _by_player(design)

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
        fit = by_player(design.deaths[:, None] * shifted - trials * np.logaddexp(0, shifted))
        term = np.log(w) + z * z + fit - value**2 / (2 * variance)
        total = term if total is None else np.logaddexp(total, term)
    assert total is not None
    return (total + np.log(spread) - np.log(sigma) - 0.5 * np.log(np.pi)).sum(axis=0)


def systematic(weight: np.ndarray, draws: int, rng: np.random.Generator) -> np.ndarray:
    """Indices drawn in proportion to `weight` with the least noise: one uniform shift of an even comb."""
    comb = (np.arange(draws) + rng.random()) / draws
    return np.minimum(np.searchsorted(np.cumsum(weight), comb), len(weight) - 1)
