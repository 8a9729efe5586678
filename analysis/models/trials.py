"""The fitted model of a game of one shot at a time: success against the target's speed, by player.

`logit p = a + u_i + learning ln r + slope ln(speed / present speed)`, `u_i ~ N(0, sigma^2)`: a logistic dose-response
with a player's own level, fitted by the same posterior as the hazard. Shots of one player and speed are taken to be
independent.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import expit, ndtri

from analysis.models.data import Build, TrialData, Tunable
from analysis.models.hazard import Design, HazardPosterior, fit_hazard
from analysis.models.setting import Setting
from analysis.models.targets import Outcome, Population, Statistic, Target
from analysis.tuning.proposal import Change
from analysis.tuning.ranking import Describer

DRAWS, QUICK, NODES = 240, 3, 25
LONGEST_STREAK, MOST_TRIALS = 400, 120


@dataclass(frozen=True)
class TrialPriors:
    """Normal priors as (mean, sd) on the logit scale, and the scale of sigma's half-normal."""

    level: tuple[float, float] = (0.5, 1.5)
    learning: tuple[float, float] = (0.15, 0.2)
    slope: tuple[float, float] = (-2.0, 1.0)
    experienced: tuple[float, float] = (0.3, 0.4)
    sigma_scale: float = 0.8


@dataclass(frozen=True)
class TrialModel:
    """What a prediction needs. profile: speed of the n-th trial of a run, relative to the tunable.

    played: share of all trials that were the n-th of their run. ends_at_miss: a run goes on until the first miss.
    most: successes after which such a run was seen to end all the same; None where none was.
    """

    data: TrialData
    posterior: HazardPosterior
    profile: np.ndarray
    played: np.ndarray
    ends_at_miss: bool
    most: int | None
    priors: TrialPriors
    roles: tuple[str, ...] = ("target_speed",)

    @property
    def tunables(self) -> tuple[Tunable, ...]:
        return self.data.build_now.tunables

    @property
    def build(self) -> Build:
        return self.data.build_now

    def knows(self, target: Target) -> bool:
        """Hit shares and streaks; there are no songs here."""
        return target.outcome in (Outcome.HIT_SHARE, Outcome.STREAK) and target.song is None

    def figures(self, setting: Setting, targets: Sequence[Target], quick: bool = False) -> np.ndarray:
        """(targets, draws): each target's figure for the population, under each posterior draw."""
        pick = slice(None, None, QUICK) if quick else slice(None)
        speed = _speed(self.tunables)
        step = 0.0
        if speed is not None:
            step = float(np.log(max(setting.get(speed.name, speed.value), 1) / max(speed.value, 1)))
        return np.array([self._figure(target, step, pick) for target in targets])

    def _figure(self, target: Target, step: float, pick: slice) -> np.ndarray:
        attempt = target.attempt if target.population == Population.ATTEMPT else 1
        posterior = self.posterior
        level = posterior.beta[pick, 0] + posterior.effect("learning")[pick] * np.log(attempt)
        slope, sigma = posterior.effect("slope")[pick], posterior.sigma[pick]

        def chances(skill: np.ndarray) -> np.ndarray:
            """(draws, nodes, trials) of success, for standard normal skills."""
            own = level[:, None] + sigma[:, None] * skill
            return expit(own[:, :, None] + slope[:, None, None] * (step + np.log(self.profile)))

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


def _speed(tunables: Sequence[Tunable]) -> Tunable | None:
    return next((t for t in tunables if t.role == "target_speed"), None)


def fit_trials(
    data: TrialData, assumed: TrialPriors | None = None, draws: int = DRAWS, seed: int = 1
) -> TrialModel:
    """The model of one game's trials. Raises ValueError where there is none."""
    if len(data.success) == 0:
        raise ValueError("no trial to fit")
    assumed = assumed or TrialPriors()
    speeds = [_speed(b.tunables) for b in data.builds]
    now = speeds[data.current]
    played = np.array([np.log(max(s.value, 1) / max(now.value, 1)) if s and now else 0.0 for s in speeds])
    log_speed = played[data.build] + np.log(data.relative_speed)
    # A hundredth of a log unit tells no two speeds apart.
    cells, inverse = np.unique(
        np.column_stack([data.player, data.attempt, np.round(log_speed, 2), data.experienced]),
        axis=0,
        return_inverse=True,
    )
    inverse = inverse.ravel()
    columns = {"learning": np.log(cells[:, 1]), "slope": cells[:, 2]}
    priors = [assumed.level, assumed.learning, assumed.slope]
    if data.experienced.any():
        columns["experienced"] = cells[:, 3]
        priors.append(assumed.experienced)
    design = Design(
        x=np.column_stack([np.ones(len(cells)), *columns.values()]),
        player=cells[:, 0].astype(int),
        players=len(data.players),
        deaths=np.bincount(inverse, data.success),
        log_exposure=np.zeros(len(cells)),
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
        fit_hazard(design, draws=draws, seed=seed),
        np.exp(mean[:shown]),
        count[:shown] / count[:shown].sum(),
        ends_at_miss,
        most,
        assumed,
    )


class TrialWords(Describer):
    """Words about the one-shot game's model."""

    def carried_by(self, model: TrialModel, changes: Sequence[Change]) -> Mapping[str, str]:
        share = model.posterior.data_share("slope")
        if share < 0.1:
            said = (
                "prior: only one speed has been played, so how strongly speed acts is assumed, not measured"
            )
        else:
            said = f"data: the play has settled {100 * share:.0f} % of what was uncertain beforehand"
        return {change.tunable: said for change in changes}

    def side_effects(self, model: TrialModel, setting: Setting) -> Mapping[str, Any]:
        share = Target("", Outcome.HIT_SHARE, 0.5, 0.05, statistic=Statistic.MEDIAN, quantile=0.5)
        streak = Target("", Outcome.STREAK, 1, 1, statistic=Statistic.MEDIAN, quantile=0.5, unit="trials")
        effects = {}
        for when, values in (("now", {}), ("proposed", dict(setting))):
            figures = np.median(model.figures(values, [share, streak]), axis=1)
            effects[when] = {"hit_share": float(figures[0]), "median_streak": float(figures[1])}
        return effects

    def assumptions(self, model: TrialModel) -> tuple[str, ...]:
        mean, sd = model.priors.slope
        return (
            f"logit of success falls by s for each ln of speed, -s ~ N({mean:g}, {sd:g}) before the data",
            "shots of one player at one speed are independent of each other",
        )
