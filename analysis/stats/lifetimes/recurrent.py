"""What raises the rate of events that come again and again: Cox's model with entry times, by player."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.clusters import numbered
from analysis.stats.estimate import LEVEL, margin_by_player

Array = np.ndarray


@dataclass(frozen=True)
class CoxFit:
    """Log hazard ratios; `error` the model's standard errors, `robust` those by cluster (no small-sample
    factor).
    """

    coefficient: Array
    error: Array
    robust: Array
    clusters: int
    converged: bool

    def interval(self, level: float = LEVEL, at_least_model: bool = False) -> tuple[Array, Array]:
        """Limits by cluster with t(clusters - 1) and the factor clusters / (clusters - 1); NaN for a single
        cluster. at_least_model: with no less than the model's errors, for where few clusters tell of a covariate.
        """
        if self.clusters < 2:
            return np.full(self.coefficient.size, np.nan), np.full(self.coefficient.size, np.nan)
        factor = np.sqrt(self.clusters / (self.clusters - 1))
        error = np.maximum(self.robust, self.error) if at_least_model else self.robust
        margin = margin_by_player(factor, self.clusters, level) * error
        return self.coefficient - margin, self.coefficient + margin


# So small a part of the information without effect is left only where the likelihood has no highest point. A hazard
# ratio of a thousand leaves about a thousandth. Common sense, no source.
_SEPARATED = 1e-6


def cox(
    entry: Array,
    end: Array,
    died: Array,
    covariates: Array,
    cluster: Array,
    stratum: Array | None = None,
    efron: bool = True,
) -> CoxFit:
    """Cox's proportional hazards with counting-process rows (entry, end], fitted by Newton's method.

    entry, end, died: (n,); covariates: (n, k); cluster: (n,) labels whose score residuals are summed before
    they are squared; stratum: (n,) labels of separate baselines. Ties by Efron 1977 (J. Am. Stat. Assoc.
    72:557-565) or Breslow. Andersen & Gill 1982, Ann. Stat. 10:1100-1120; Lin & Wei 1989, J. Am. Stat. Assoc.
    84:1074-1078 (robust). Raises ValueError where a row ends before it begins.
    """
    entry, end = np.asarray(entry, dtype=float), np.asarray(end, dtype=float)
    died, x = np.asarray(died, dtype=bool), np.atleast_2d(np.asarray(covariates, dtype=float))
    if np.any(end < entry):
        raise ValueError("a row ends before it begins")
    strata = np.zeros(end.size, int) if stratum is None else numbered(stratum)[1]
    x = x - x.mean(axis=0)
    sets = _risk_sets(entry, end, died, strata)
    beta = np.zeros(x.shape[1])
    converged = False
    score, information, _ = _derivatives(beta, x, sets, efron, residuals=False)
    at_first = np.diag(information)
    for _ in range(40):
        step = np.linalg.lstsq(information, score, rcond=None)[0]
        # A step of more than 5 would overflow the hazard ratio on the way to a sensible answer.
        step *= min(1.0, 5.0 / max(float(np.max(np.abs(step))), 1e-300))
        beta = beta + step
        if np.max(np.abs(step)) < 1e-9:
            converged = True
            break
        score, information, _ = _derivatives(beta, x, sets, efron, residuals=False)
    _, information, residual = _derivatives(beta, x, sets, efron, residuals=True)
    inverse = np.linalg.pinv(information, hermitian=True)
    # Covariates that the data cannot tell apart have no coefficients of their own.
    converged = converged and bool(np.linalg.cond(information) < 1e10)
    # Where a covariate tells every death, its coefficient grows until nothing is left to learn of it.
    converged = converged and bool(np.all(np.diag(information) > _SEPARATED * at_first))
    labels, number = numbered(cluster)
    sums = np.column_stack([np.bincount(number, weights=c, minlength=labels.size) for c in residual.T])
    covariance = inverse @ (sums.T @ sums) @ inverse
    return CoxFit(beta, _root(np.diag(inverse)), _root(np.diag(covariance)), int(labels.size), converged)


def _root(variance: Array) -> Array:
    # Rounding may leave a variance of nothing a little below it.
    return np.sqrt(np.maximum(variance, 0.0))


def _risk_sets(entry: Array, end: Array, died: Array, strata: Array) -> list[tuple[Array, Array]]:
    """(rows at risk, rows dying) at each distinct time of a death in each stratum."""
    sets = []
    for s in np.unique(strata):
        mine = np.flatnonzero(strata == s)
        for time in np.unique(end[mine][died[mine]]):
            at_risk = mine[(entry[mine] < time) & (end[mine] >= time)]
            sets.append((at_risk, at_risk[died[at_risk] & (end[at_risk] == time)]))
    return sets


def _derivatives(
    beta: Array, x: Array, sets: list[tuple[Array, Array]], efron: bool, residuals: bool
) -> tuple[Array, Array, Array]:
    """Score vector, information matrix, and (if asked for) each row's score residual (n, k)."""
    hazard = np.exp(x @ beta)
    score, information = np.zeros(beta.size), np.zeros((beta.size, beta.size))
    residual = np.zeros_like(x)
    for at_risk, dying in sets:
        d = dying.size
        risk_x, risk_h = x[at_risk], hazard[at_risk]
        gone_x, gone_h = x[dying], hazard[dying]
        is_dying = np.isin(at_risk, dying) if residuals else np.zeros(0, bool)
        means = np.zeros((d, beta.size))
        for i in range(d):
            part = i / d if efron else 0.0
            total = risk_h.sum() - part * gone_h.sum()
            first = risk_h @ risk_x - part * (gone_h @ gone_x)
            second = (risk_x * risk_h[:, None]).T @ risk_x - part * ((gone_x * gone_h[:, None]).T @ gone_x)
            mean = means[i] = first / total
            information += second / total - np.outer(mean, mean)
            if residuals:
                share = np.where(is_dying, 1 - part, 1.0) * risk_h / total
                residual[at_risk] -= share[:, None] * (risk_x - mean)
        score += (gone_x - means.mean(axis=0)).sum(axis=0) if d else 0.0
        if residuals:
            residual[dying] += gone_x - means.mean(axis=0)
    return score, information, residual
