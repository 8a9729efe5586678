"""Shares that differ from player to player by a beta distribution: likelihood and profile interval."""

import numpy as np
from scipy import optimize, special

Array = np.ndarray
# Correlations between two trials of one player over which the likelihood is maximised. The least stands for
# none.
_CORRELATION = np.r_[1e-6, np.geomspace(1e-4, 0.2, 40), np.linspace(0.22, 0.97, 30)]
_FAR = 25.0  # logits: a share of 1 - 1e-11, beyond what any count here could tell from 1


def profile_log_likelihood(logit_mean: float, hits: Array, trials: Array) -> float:
    """The beta-binomial log-likelihood of a mean share, maximised over the correlation within players.

    hits, trials: (players,) counts. The binomial coefficient is left out: it cancels in every comparison.
    """
    mean, miss = special.expit(logit_mean), special.expit(-logit_mean)
    size = 1 / _CORRELATION - 1
    a, b = mean * size, miss * size
    h, m = hits[:, None], (trials - hits)[:, None]
    each = special.betaln(h + a, m + b) - special.betaln(a, b)
    return float(each.sum(axis=0).max())


def profile_interval(hits: Array, trials: Array, critical: float) -> tuple[float, float]:
    """The mean shares whose profile log-likelihood lies at most critical^2 / 2 below the best one.

    hits, trials: (players,) counts; critical: a t quantile with players - 1 degrees of freedom, in place of
    the normal one, because the correlation is estimated from so few. Skellam 1948, J. R. Stat. Soc. B
    10:257-261 (the model); Venzon & Moolgavkar 1988, Appl. Stat. 37:87-94 (the profile).
    """
    hits, trials = np.asarray(hits, dtype=float), np.asarray(trials, dtype=float)
    best = optimize.minimize_scalar(
        lambda x: -profile_log_likelihood(x, hits, trials), bounds=(-_FAR, _FAR), method="bounded"
    )
    # The bounded search may stop short of a flat end: the pooled share is tried as well.
    pooled = special.logit(np.clip(hits.sum() / trials.sum(), 1e-11, 1 - 1e-11))
    top = max((-best.fun, float(best.x)), (profile_log_likelihood(pooled, hits, trials), float(pooled)))
    floor = top[0] - critical**2 / 2

    def above(x: float) -> float:
        return profile_log_likelihood(x, hits, trials) - floor

    low = optimize.brentq(above, -_FAR, top[1], xtol=1e-6) if above(-_FAR) < 0 else None
    high = optimize.brentq(above, top[1], _FAR, xtol=1e-6) if above(_FAR) < 0 else None
    return (0.0 if low is None else float(special.expit(low))), (1.0 if high is None else float(special.expit(high)))
