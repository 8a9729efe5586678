"""The fitted model of a game of one shot at a time: success against the target's speed, by player.

`logit p = a + u_i + learning ln r + effect (dose - present dose)`, `u_i ~ N(0, sigma^2)`: a logistic dose-response
with a player's own level, fitted by the same posterior as the hazard. Shots of one player and speed are taken to be
independent.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np
from scipy.special import expit, ndtri

from analysis.levers import DoseLever, lever_of, trial_levers
from analysis.models.audience import LIKE_TESTERS, Shift
from analysis.models.data import Build, TrialData, Tunable
from analysis.models.fitted import AS_THEY_ARE, Fitted, of_the_playtest
from analysis.models.fitting.laplace import Design
from analysis.models.fitting.posterior import Posterior, fit_posterior
from analysis.models.fitting.sampling import Sampling
from analysis.models.observed import Observed, observed_trials
from analysis.models.setting import Setting
from analysis.models.targets import Outcome, Population, Statistic, Target
from ingest.vocabulary import TunableRole

DRAWS, QUICK, NODES = 240, 3, 25
LONGEST_STREAK, MOST_TRIALS = 400, 120


@dataclass(frozen=True)
class TrialPriors:
    """Normal priors as (mean, sd) on the logit scale, and the scale of sigma's half-normal.

    levers: where a lever's effect is not to have the prior that its module states.
    """

    level: tuple[float, float] = (0.5, 1.5)
    learning: tuple[float, float] = (0.15, 0.2)
    experienced: tuple[float, float] = (0.3, 0.4)
    sigma_scale: float = 0.8
    levers: Mapping[TunableRole, tuple[float, float]] = field(default_factory=dict)

    def of(self, lever: DoseLever) -> tuple[float, float]:
        """The prior of a lever's effect."""
        assert lever.success is not None
        return self.levers.get(lever.role, (lever.success.mean, lever.success.sd))


@dataclass(frozen=True)
class TrialModel(Fitted):
    """What a prediction needs. profile: speed of the n-th trial of a run, relative to the tunable.

    played: share of all trials that were the n-th of their run. ends_at_miss: a run goes on until the first miss.
    most: successes after which such a run was seen to end all the same; None where none was.
    """

    data: TrialData
    posterior: Posterior
    profile: np.ndarray
    played: np.ndarray
    ends_at_miss: bool
    most: int | None
    priors: TrialPriors
    shift: Shift = LIKE_TESTERS

    method = "tuning.trials"
    roles = tuple(lever.role for lever in trial_levers())
    # Of the odds: players differ about as much in the logit of success as elsewhere in ln danger.
    more, less = "its odds of a miss are a third more", "its odds of a miss are a third less"

    def for_audience(self, shift: Shift) -> "TrialModel":
        return replace(self, shift=shift)

    @property
    def build(self) -> Build:
        return self.data.build_now

    @property
    def players(self) -> int:
        return len(self.data.players)

    @property
    def runs(self) -> int:
        return len(np.unique(self.data.run))

    @property
    def sampling(self) -> Sampling:
        return self.posterior.sampling

    def observed(self, target: Target) -> Observed:
        return observed_trials(self.data, target)

    def unknown(self, targets: Sequence[Target]) -> str:
        hits = self.data.success
        return "every shot was hit" if hits.all() else "no shot was hit" if not hits.any() else ""

    def carried_by(self, tunable: Tunable) -> str:
        lever = lever_of(tunable.role)
        return "" if lever is None else lever.carried_by(self.posterior.data_share(lever.role))

    def side_effects(self, setting: Setting) -> Mapping[str, Any]:
        share = Target("", Outcome.HIT_SHARE, 0.5, 0.05, statistic=Statistic.MEDIAN, quantile=0.5)
        streak = Target("", Outcome.STREAK, 1, 1, statistic=Statistic.MEDIAN, quantile=0.5, unit="trials")
        effects = {}
        for when, values in (("now", {}), ("proposed", dict(setting))):
            figures = np.median(self.figures(values, [share, streak]), axis=1)
            effects[when] = {"hit_share": float(figures[0]), "median_streak": float(figures[1])}
        return effects

    def assumptions(self) -> tuple[str, ...]:
        return (
            *(
                f"logit of success falls by s for each ln of {lever.what}, "
                f"{lever.assumed(*self.priors.of(lever))} before the data"
                for lever in trial_levers()
                if lever.role in self.posterior.names
            ),
            "shots of one player at one speed are independent of each other",
        )

    def cautions(self) -> tuple[str, ...]:
        return of_the_playtest(self.data.player[~self.data.experienced], self.players, self.runs, 0)

    def otherwise(self) -> Mapping[str, Callable[[], Fitted]]:
        plain = TrialPriors()
        cases = {AS_THEY_ARE: plain}
        for lever in trial_levers():
            if lever.role in self.posterior.names:
                cases |= {words: replace(plain, levers={lever.role: p}) for words, p in lever.under.items()}
        cases |= {
            "practice helps nobody": replace(plain, learning=(0.0, 0.02)),
            "players may differ twice as much": replace(plain, sigma_scale=2 * plain.sigma_scale),
        }
        return {words: partial(self._under, priors) for words, priors in cases.items()}

    def _under(self, priors: TrialPriors) -> Fitted:
        return fit_trials(self.data, priors).for_audience(self.shift)

    def knows(self, target: Target) -> bool:
        return target.outcome in (Outcome.HIT_SHARE, Outcome.STREAK) and target.song is None

    def figures(self, setting: Setting, targets: Sequence[Target], quick: bool = False) -> np.ndarray:
        pick = slice(None, None, QUICK) if quick else slice(None)
        # By how much the logit of success moves.
        moved = -self.shift.draws(len(self.posterior.beta))
        for lever in trial_levers():
            moved = moved + self.posterior.effect(lever.role) * _step(lever, self.build, self.build, setting)
        return np.array([self._figure(target, moved[pick], pick) for target in targets])

    def _figure(self, target: Target, moved: np.ndarray, pick: slice) -> np.ndarray:
        attempt = target.attempt if target.population == Population.ATTEMPT else 1
        posterior = self.posterior
        level = posterior.beta[pick, 0] + posterior.effect("learning")[pick] * np.log(attempt)
        sigma = posterior.sigma[pick]
        speeds = sum(posterior.effect(lever.role)[pick] for lever in trial_levers() if lever.each_logged)
        by_trial = moved[:, None] + np.outer(speeds, np.log(self.profile))

        def chances(skill: np.ndarray) -> np.ndarray:
            """(draws, nodes, trials) of success, for standard normal skills."""
            own = level[:, None] + sigma[:, None] * skill
            return expit(own[:, :, None] + by_trial[:, None, :])

        at, weight = np.polynomial.hermite_e.hermegauss(NODES)
        weight = weight / weight.sum()
        if target.outcome == Outcome.HIT_SHARE and not self.ends_at_miss:
            if target.statistic == Statistic.MEAN:
                return chances(at) @ self.played @ weight
            return (chances(np.array([ndtri(target.quantile or 0.5)])) @ self.played)[:, 0]
        chance = chances(at)
        # Beyond the trials seen, the speed stays at its last.
        more = np.repeat(chance[:, :, -1:], max(0, LONGEST_STREAK - chance.shape[2]), axis=2)
        unbroken = np.cumprod(np.concatenate([chance, more], axis=2), axis=2)
        lasting = np.einsum("dnt,n->dt", unbroken, weight)  # share of runs whose first t + 1 trials succeed
        if target.outcome == Outcome.HIT_SHARE:
            return _share_until_miss(lasting, target, self.most)
        if target.statistic == Statistic.SHARE:
            length = int(target.number or 0)
            return np.ones(len(lasting)) if length == 0 else lasting[:, min(length, LONGEST_STREAK) - 1]
        if target.statistic == Statistic.MEAN:
            return lasting.sum(axis=1)
        return _crossing(lasting, 1 - (target.quantile or 0.5))


def _share_until_miss(lasting: np.ndarray, target: Target, most: int | None) -> np.ndarray:
    """(draws,): the hit share of runs that end at the first miss: n successes make a share of n / (n + 1).

    lasting (draws, n): share of runs whose first n + 1 trials succeed. `most` successes end a run with a share of 1.
    """
    if target.statistic != Statistic.MEAN:
        streak = _crossing(lasting, 1 - (target.quantile or 0.5))
        return np.where(streak >= (most or np.inf), 1.0, streak / (streak + 1))
    reached = np.concatenate([np.ones((len(lasting), 1)), lasting[:, :most]], axis=1)
    length = np.arange(reached.shape[1])
    share = length / (length + 1)
    # What each further success adds to the share; the last one of all makes it whole.
    added = np.diff(share)
    if most is not None and most <= lasting.shape[1]:
        added[-1] = 1 - share[-2]
    return reached[:, 1:] @ added


def _crossing(lasting: np.ndarray, level: float) -> np.ndarray:
    """(draws,): the length at which the share of unbroken runs falls to `level`, interpolated so that it is smooth."""
    whole = np.concatenate([np.ones((len(lasting), 1)), lasting], axis=1)
    logs = np.log(np.maximum(whole, 1e-300))
    return np.array([np.interp(-np.log(level), -row, np.arange(len(row))) for row in logs])


def _step(lever: DoseLever, build: Build, now: Build, setting: Setting) -> float:
    """The lever's dose in `build` under `setting`, less that of `now` as it is; 0 where either has no such tunable."""
    played = [setting.get(t.name, t.value) for t in build.tunables if t.role == lever.role]
    present = [t.value for t in now.tunables if t.role == lever.role]
    return lever.of(played) - lever.of(present) if played and present else 0.0


def fit_trials(data: TrialData, assumed: TrialPriors | None = None, draws: int = DRAWS, seed: int = 1) -> TrialModel:
    """The model of one game's trials. Raises ValueError where there is none."""
    if len(data.success) == 0:
        raise ValueError("no trial to fit")
    assumed = assumed or TrialPriors()
    declared = {t.role for b in data.builds for t in b.tunables}
    levers = [lever for lever in trial_levers() if lever.each_logged or lever.role in declared]
    # A hundredth of a log unit tells no two speeds apart.
    doses = [np.round(_doses(lever, data), 2) for lever in levers]
    cells, inverse = np.unique(
        np.column_stack([data.player, data.attempt, *doses, data.experienced]), axis=0, return_inverse=True
    )
    inverse = inverse.ravel()
    columns = {"learning": np.log(cells[:, 1])}
    columns |= {str(lever.role): cells[:, 2 + n] for n, lever in enumerate(levers)}
    priors = [assumed.level, assumed.learning, *(assumed.of(lever) for lever in levers)]
    if data.experienced.any():
        columns["experienced"] = cells[:, -1]
        priors.append(assumed.experienced)
    design = Design(
        x=np.column_stack([np.ones(len(cells)), *columns.values()]),
        player=cells[:, 0].astype(int),
        players=len(data.players),
        counts=np.bincount(inverse, data.success),
        offset=np.zeros(len(cells)),
        names=tuple(columns),
        prior_mean=np.array([p[0] for p in priors]),
        prior_covariance=np.diag([p[1] ** 2 for p in priors]),
        sigma_scale=assumed.sigma_scale,
        trials=np.bincount(inverse).astype(float),
    )
    longest = int(data.index.max()) + 1
    count = np.bincount(data.index, minlength=longest)
    mean = np.bincount(data.index, np.log(data.relative_speed), minlength=longest) / np.maximum(count, 1)
    shown = min(longest, MOST_TRIALS)
    last = np.concatenate([data.run[1:] != data.run[:-1], [True]])
    ends_at_miss = bool((~data.success).any() and longest > 1 and last[~data.success].all())
    # Somebody got through to the end of a run, and nobody further: that is as long as a run is.
    whole = data.index[last & data.success] + 1
    most = longest if ends_at_miss and longest in whole else None
    return TrialModel(
        data,
        fit_posterior(design, draws=draws, seed=seed),
        np.exp(mean[:shown]),
        count[:shown] / count[:shown].sum(),
        ends_at_miss,
        most,
        assumed,
    )


def _doses(lever: DoseLever, data: TrialData) -> np.ndarray:
    """(trials,): the lever's dose in each trial, less that of the present build."""
    by_build = np.array([_step(lever, build, data.build_now, {}) for build in data.builds])
    own = np.log(data.relative_speed) if lever.each_logged else 0.0
    return by_build[data.build] + own
