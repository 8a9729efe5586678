"""Shares that differ from player to player by a beta distribution: likelihood, and the interval of the pooled share."""

import numpy as np
from scipy import optimize, special

Array = np.ndarray
# Correlations between two trials of one player over which the likelihood is maximised. The least stands for
# none.
_CORRELATION = np.r_[1e-6, np.geomspace(3e-4, 0.2, 15), np.linspace(0.26, 0.97, 10)]
_SIZE = 1 / _CORRELATION - 1
_FAR = 25.0  # logits: a share of 1 - 1e-11, beyond what any count here could tell from 1


class Profile:
    """The beta-binomial log-likelihood of a mean share, maximised over the correlation within players.

    hits, trials: (players,) counts. The binomial coefficient is left out: it cancels in every comparison. Skellam 1948,
    J. R. Stat. Soc. B 10:257-261.
    """

    def __init__(self, hits: Array, trials: Array) -> None:
        pairs, self._often = np.unique(np.c_[hits, trials].astype(float), axis=0, return_counts=True)
        self._hits, self._misses = pairs[:, :1], pairs[:, 1:] - pairs[:, :1]
        totals = special.gammaln(_SIZE) - special.gammaln(pairs[:, 1:] + _SIZE)
        self._constant, self._players = self._often @ totals, int(self._often.sum())

    def at(self, logit: float) -> tuple[float, float]:
        """(log-likelihood, correlation) of the mean share with this logit.

        Between the correlations tried lies a parabola, so that both move smoothly with the data.
        """
        a, b = special.expit(logit) * _SIZE, special.expit(-logit) * _SIZE
        own = self._often @ (special.gammaln(self._hits + a) + special.gammaln(self._misses + b))
        each = own - self._players * (special.gammaln(a) + special.gammaln(b)) + self._constant
        best = int(np.argmax(each))
        at, top = float(best), float(each[best])
        if 0 < best < each.size - 1:
            before, after = float(each[best - 1]) - top, float(each[best + 1]) - top
            if before + after < 0:
                step = (before - after) / (before + after) / 2
                at, top = best + step, top - (before - after) * step / 4
        return top, float(np.interp(at, np.arange(each.size), _CORRELATION))

    def interval(self, critical: float, start: float) -> tuple[float, float, float, float]:
        """(low, likeliest, high mean share, the likeliest one's correlation), by the profile's limits.

        critical: the limits lie critical^2 / 2 below the best; start: a share that is near the best. Venzon &
        Moolgavkar 1988, Appl. Stat. 37:87-94.
        """
        from_here = float(special.logit(np.clip(start, special.expit(-_FAR), special.expit(_FAR))))
        tops = {from_here: self.at(from_here)[0]}
        if 0 < start < 1:
            near = (max(from_here - 3, -_FAR), min(from_here + 3, _FAR))
            best = optimize.minimize_scalar(
                lambda x: -self.at(x)[0], bounds=near, method="bounded", options={"xatol": 1e-3}
            )
            tops[float(best.x)] = -float(best.fun)
        middle = max(tops, key=lambda x: tops[x])
        floor = tops[middle] - critical**2 / 2

        def limit(end: float) -> float:
            """Where the profile comes down to the floor between the middle and an end; the end where it does not."""
            step, inner = 0.5 if end > 0 else -0.5, middle
            while inner != end:
                outer = float(np.clip(inner + step, -_FAR, _FAR))
                if self.at(outer)[0] < floor:
                    return float(optimize.brentq(lambda x: self.at(x)[0] - floor, inner, outer, xtol=1e-4))
                inner, step = outer, 2 * step
            return end

        shares = [float(special.expit(x)) for x in (limit(-_FAR), middle, limit(_FAR))]
        # What lies at the end of the scale is none, or all.
        low, mean, high = (0.0 if s < 1e-10 else 1.0 if s > 1 - 1e-10 else s for s in shares)
        return low, mean, high, self.at(middle)[1]


def pooled_interval(hits: Array, trials: Array, critical: float) -> tuple[float, float]:
    """The limits of the pooled share, hits over trials, which is always inside.

    hits, trials: (players,) counts. The profile's limits are those of the mean over players. The pooled share follows
    those who tried most, so its error is larger; each limit is as far from it as the profile's from the likeliest mean,
    on the arcsine scale, times the ratio of the two standard errors at the likeliest correlation r: the variance of
    the pooled share goes with sum n (1 + (n - 1) r) / N^2, that of the mean with 1 / sum (n / (1 + (n - 1) r)).
    Where all tried alike often they are one and the same.
    """
    hits, trials = np.asarray(hits, dtype=float), np.asarray(trials, dtype=float)
    total = float(trials.sum())
    if 2 * hits.sum() > total:
        # A share next to 1 is known to fewer digits than its misses are; where all hit, the limit hung on them.
        low, high = pooled_interval(trials - hits, trials, critical)
        return 1 - high, 1 - low
    pooled = float(hits.sum()) / total
    low, mean, high, correlation = Profile(hits, trials).interval(critical, pooled)
    inflation = 1 + (trials - 1) * correlation
    ratio = np.sqrt(np.sum(trials * inflation) / total**2 * np.sum(trials / inflation))
    angle, apart = np.arcsin(np.sqrt(pooled)), np.arcsin(np.sqrt([low, high])) - np.arcsin(np.sqrt(mean))
    found = np.sin(np.clip(angle + ratio * apart, 0, np.pi / 2)) ** 2
    return min(float(found[0]), pooled), max(float(found[1]), pooled)
