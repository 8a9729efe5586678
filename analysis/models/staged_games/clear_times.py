"""How long a segment takes: a log-normal regression in which broken-off visits are censored, not dropped.

`ln T = a_j - power tier + effect (m - m_now) + rho u_i + e` with the doses m of the levers, `e ~ N(0, tau^2)`. Dropping
the visits that ended in a game over would keep the quick ones only; they enter as "longer than this" (the EM algorithm
of Aitkin 1981).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from analysis.levers.lever import Prior
from ingest.vocabulary import TunableRole

LEAST_SPREAD = 0.02


@dataclass(frozen=True)
class TimePriors:
    """Normal priors (mean, sd) in ln seconds; `spread`: (guess of tau, visits it is worth)."""

    level: tuple[float, float] = (3.4, 1.0)
    apart_sd: float = 0.6
    power: tuple[float, float] = (0.05, 0.1)
    power_boss: tuple[float, float] = (0.1, 0.12)
    skill: tuple[float, float] = (0.0, 0.2)
    spread: tuple[float, float] = (0.25, 4.0)


@dataclass(frozen=True)
class TimePosterior:
    """Draws: level (draws, segments); levers, of each role's dose, (draws,); so is the rest. spread: tau."""

    level: np.ndarray
    power: np.ndarray
    power_boss: np.ndarray
    levers: Mapping[TunableRole, np.ndarray]
    skill: np.ndarray
    spread: np.ndarray


def fit_times(
    segment: np.ndarray,
    boss_of: np.ndarray,
    tier: np.ndarray,
    steps: Mapping[TunableRole, tuple[np.ndarray, Prior]],
    skill: np.ndarray,
    alive_s: np.ndarray,
    cleared: np.ndarray,
    priors: TimePriors,
    draws: int,
    rng: np.random.Generator,
) -> TimePosterior:
    """Posterior draws; arrays are by visit, `boss_of` (segments,) says which segments are bosses.

    steps: by role the lever's dose in each visit, less that of the present build, and the prior of its effect.
    """
    segments = len(boss_of)
    keep = alive_s > 0
    segment, tier, skill = segment[keep], tier[keep], skill[keep]
    seen, cleared = np.log(alive_s[keep]), cleared[keep].astype(bool)
    x = np.zeros((len(seen), segments + 3 + len(steps)))
    x[np.arange(len(seen)), segment] = 1
    boss = boss_of[segment].astype(float)
    x[:, segments] = -tier * (1 - boss)
    x[:, segments + 1] = -tier * boss
    for n, (step, _) in enumerate(steps.values()):
        x[:, segments + 2 + n] = step[keep]
    x[:, -1] = skill
    effects = [(prior.mean, prior.sd) for _, prior in steps.values()]
    others = (priors.power, priors.power_boss, *effects, priors.skill)
    mean = np.array([priors.level[0]] * segments + [p[0] for p in others])
    covariance = np.diag([priors.apart_sd**2] * segments + [p[1] ** 2 for p in others])
    covariance[:segments, :segments] += priors.level[1] ** 2
    precision = np.linalg.inv(covariance)
    guess, worth = priors.spread
    beta, tau = mean.copy(), guess
    information = np.ones(len(seen))
    for _ in range(60):
        fitted = x @ beta
        z = np.where(cleared, 0.0, (seen - fitted) / tau)
        mills = np.exp(-0.5 * z * z - 0.5 * np.log(2 * np.pi) - log_ndtr(-z))
        filled = np.where(cleared, seen, fitted + tau * mills)
        # What a censored visit still tells: the share of the information an observed time would give.
        information = np.where(cleared, 1.0, np.clip(mills * (mills - z), 0, 1))
        extra = np.where(cleared, 0.0, tau**2 * (1 - information))
        new = np.linalg.solve(precision + x.T @ x / tau**2, precision @ mean + x.T @ filled / tau**2)
        residual = ((filled - x @ new) ** 2 + extra).sum()
        new_tau = max(LEAST_SPREAD, float(np.sqrt((worth * guess**2 + residual) / (worth + len(seen)))))
        done = np.max(np.abs(new - beta), initial=0) < 1e-6 and abs(new_tau - tau) < 1e-6
        beta, tau = new, new_tau
        if done:
            break
    posterior = np.linalg.inv(precision + (x * information[:, None]).T @ x / tau**2)
    freedom = worth + cleared.sum()
    taus = tau * np.sqrt(freedom / rng.chisquare(freedom, draws))
    root = np.linalg.cholesky((posterior + posterior.T) / 2)
    sample = beta + (rng.standard_normal((draws, len(beta))) @ root.T) * (taus / tau)[:, None]
    return TimePosterior(
        sample[:, :segments],
        sample[:, segments],
        sample[:, segments + 1],
        {role: sample[:, segments + 2 + n] for n, role in enumerate(steps)},
        sample[:, -1],
        taus,
    )
