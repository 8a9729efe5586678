"""The fitted model of a game played in segments with lives: posterior draws in, outcome figures out."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from analysis.models.chain import STEPS, Course, Ends, apart, play, together
from analysis.models.clear_times import TimePosterior, TimePriors, fit_times
from analysis.models.data import Build, Segment, StagedData, Tunable
from analysis.models.hazard import Design, HazardPosterior, Priors, alpha_prior, fit_hazard
from analysis.models.setting import Rules, Setting, rules
from analysis.models.targets import Outcome, Population, Statistic, Target

DRAWS = 240
QUICK = 4  # every fourth draw while searching
NODES, QUICK_NODES = 7, 5
QUICK_STEPS = 4
# Played in one pass: enough to pay for numpy's calls, few enough to stay in the processor's cache.
MOST_SCENARIOS = 4000
# Beta priors as (mean, weight in observations); few quit, and few give up.
QUIT_FIRST, QUIT_AGAIN = (0.03, 10.0), (0.05, 10.0)
STOP = (0.12, 5.0)
RISE_WORTH_S = 20.0
# Quits a second alive between deaths, as (mean, seconds it is worth): one in ten hours, a guess that a class outweighs.
LEAVE = (1 / 36_000, 600.0)
LEVERS = (
    "start_lives",
    "lives_refill",
    "fire_period",
    "aimed_share",
    "pickup_rate",
    "tiers_survive",
    "drop_interval",
)


@dataclass(frozen=True)
class StagedModel:
    """Everything a prediction needs. Arrays of draws have DRAWS rows and are paired row by row."""

    data: StagedData
    hazard: HazardPosterior
    times: TimePosterior
    quit_first: np.ndarray
    quit_again: np.ndarray
    stop: np.ndarray
    stop_again: np.ndarray
    rise: np.ndarray  # (draws, segments)
    keep_tier: np.ndarray
    leave: np.ndarray
    pickup_exponent: np.ndarray
    priors: Priors
    now: Rules

    @property
    def tunables(self) -> tuple[Tunable, ...]:
        return self.data.build.tunables

    @property
    def build(self) -> Build:
        return self.data.build

    @property
    def roles(self) -> tuple[str, ...]:
        """Roles this model knows the effect of."""
        return LEVERS

    def knows(self, target: Target) -> bool:
        """Can the model say anything about this target?"""
        level = bool(self.data.segments) and self.data.segments[0].is_level
        if target.outcome == Outcome.LEVEL_REACHED:
            return level
        if target.outcome == Outcome.REACH_STAGE:
            return not level and self._has_stage(int(target.number or 1), target.boss)
        if target.outcome == Outcome.SURVIVE:
            # Where a death throws back to the stage's start, the chain keeps no clock.
            return not self.data.restarts
        return target.outcome in (Outcome.FINISH, Outcome.FINISH_WITHIN) and self.data.ends_logged

    def _has_stage(self, number: int, boss: bool) -> bool:
        """Was it seen, does a tunable name it, or may it be the one after the last? Of others nothing is known."""
        last = max(s.number for s in self.data.segments)
        if number > last:
            return self.data.more_stages and number == last + 1 and not boss
        return not boss or any(s.number == number and s.boss for s in self.data.segments)

    def figures(self, setting: Setting, targets: Sequence[Target], quick: bool = False) -> np.ndarray:
        """(targets, draws): each target's figure for the population, under each posterior draw."""
        return self.figures_many([setting], targets, quick)[0]

    def figures_many(
        self, settings: Sequence[Setting], targets: Sequence[Target], quick: bool = False
    ) -> list[np.ndarray]:
        """`figures` of several settings; those with one lives policy are played in one pass, which is faster."""
        times = tuple(sorted({float(t.number or 0) for t in targets if t.outcome == Outcome.SURVIVE}))
        # Segments past the farthest that any target speaks of need not be played.
        whole = any(t.outcome in (Outcome.SURVIVE, Outcome.LEVEL_REACHED) for t in targets)
        until = None if whole else max(self.place(t) for t in targets)
        attempts = sorted({n for t in targets for n in _attempts(t)})
        by_policy: dict[tuple[int, ...], list[tuple[int, int, Course]]] = {}
        for number, setting in enumerate(settings):
            rule = rules(self.tunables, self.data.segments, setting, self.data.lives_seen)
            key = (rule.start_lives, *rule.refill.tolist())
            for attempt in attempts:
                by_policy.setdefault(key, []).append((number, attempt, self.course(rule, attempt, quick)))
        played: dict[tuple[int, int], Ends] = {}
        for group in by_policy.values():
            size = max(1, MOST_SCENARIOS // len(group[0][2].spread))
            for first in range(0, len(group), size):
                some = group[first : first + size]
                steps = QUICK_STEPS if quick else STEPS
                ends = play(together([c for _, _, c in some]), times, steps, until, lean=True)
                for (number, attempt, _), part in zip(some, apart(ends, len(some)), strict=True):
                    played[number, attempt] = part
        return [
            np.array([self._figure(t, lambda r, n=n: played[n, r], times, quick) for t in targets])  # type: ignore[misc]
            for n in range(len(settings))
        ]

    def ends(self, setting: Setting, attempt: int = 1) -> Ends:
        """The whole course of an attempt, by scenario (some of the draws x skill nodes)."""
        rule = rules(self.tunables, self.data.segments, setting, self.data.lives_seen)
        return play(self.course(rule, attempt, quick=True), steps=QUICK_STEPS)

    def average(self, values: np.ndarray) -> np.ndarray:
        """(..., scenarios) -> (..., draws): averaged over the players' skill."""
        quick = values.shape[-1] < len(self.hazard.sigma) * NODES
        _, weight = _skill(QUICK_NODES if quick else NODES)
        return values.reshape(*values.shape[:-1], -1, len(weight)) @ weight

    def course(self, rule: Rules, attempt: int, quick: bool = False) -> Course:
        """The rates of one attempt under `rule`, for every draw and skill node."""
        draws = np.arange(len(self.hazard.sigma))[:: QUICK if quick else 1]
        return course_of(self, rule, attempt, draws, _skill(QUICK_NODES if quick else NODES)[0])

    def _figure(
        self, target: Target, ends: Callable[[int], Ends], times: tuple[float, ...], quick: bool
    ) -> np.ndarray:
        if target.statistic != Statistic.SHARE:
            return _level_statistic(
                target, self.average(ends(_attempts(target)[0]).reach), self.data.segments
            )

        def chance(attempt: int) -> np.ndarray:
            course: Ends = ends(attempt)
            if target.outcome == Outcome.SURVIVE:
                return course.survive[times.index(float(target.number or 0))]
            return course.reach[self.place(target)]

        if target.population != Population.NEW_PLAYERS:
            return self.average(chance(_attempts(target)[0]))
        pick = slice(None, None, QUICK) if quick else slice(None)
        stop, again = (
            np.repeat(s[pick], QUICK_NODES if quick else NODES) for s in (self.stop, self.stop_again)
        )
        going, reached = np.ones(len(stop)), np.zeros(len(stop))
        for attempt in _attempts(target):
            own = chance(attempt)
            reached = reached + going * own
            if attempt < target.attempts:
                course = ends(attempt)
                failed = np.maximum(1 - own, 1e-12)
                share_again = np.clip(course.over_again / failed, 0, 1)
                leaves = stop * (1 - share_again) + again * share_again
                going = going * failed * (1 - leaves)
        return self.average(reached)

    def place(self, target: Target) -> int:
        """The row of Ends.reach that is the target's; finishing is the last."""
        if target.outcome in (Outcome.FINISH, Outcome.FINISH_WITHIN):
            return len(self.data.segments)
        for n, segment in enumerate(self.data.segments):
            if segment.number >= int(target.number or 0) and segment.boss >= int(target.boss):
                return n
        return len(self.data.segments)


def course_of(model: StagedModel, rule: Rules, attempt: int, pick: np.ndarray, at: np.ndarray) -> Course:
    """The rates of one attempt under `rule`, for the draws `pick` x the standard normal skills `at`."""
    hazard, times, segments = model.hazard, model.times, model.data.segments
    step, aimed = rule.log_rate - model.now.log_rate, rule.aimed - model.now.aimed
    tier = np.arange(model.data.tiers)[:, None, None]

    def of(name: str) -> np.ndarray:
        return hazard.effect(name)[pick][:, None]

    base = hazard.alpha()[pick].T[:, :, None]
    base = base + (of("exponent") * step).T[:, :, None] + (of("aimed") * aimed).T[:, :, None]
    base = base + of("learning")[None] * np.log(attempt)
    skill = hazard.sigma[pick][:, None] * at
    log_death = base[:, None] + skill + of("tier") * tier
    boss = np.array([s.boss for s in segments], dtype=bool)[:, None, None, None]
    power = np.where(boss, times.power_boss[pick][:, None], times.power[pick][:, None])
    log_time = times.level[pick].T[:, None, :, None] - power * tier
    log_time = log_time + (times.exponent[pick][:, None] * step).T[:, None, :, None]
    log_time = log_time + times.skill[pick][:, None] * skill
    # The chain wants the mean of the log-normal time; its level is the median.
    log_time = log_time + times.spread[pick][:, None] ** 2 / 2
    faster = (model.pickup_exponent[pick][:, None] * (rule.log_pickup - model.now.log_pickup)).T
    rise = model.rise[pick].T * np.exp(np.clip(faster, -25, 5))
    shape = (len(segments), model.data.tiers, -1)

    def spread(values: np.ndarray) -> np.ndarray:
        return np.repeat(values, len(at), axis=-1)

    survives = rule.tiers_survive
    return Course(
        start_lives=rule.start_lives,
        refill=rule.refill,
        start_tier=model.data.start_tier,
        death=np.exp(np.clip(log_death, -25, 4)).reshape(shape),
        clear_s=np.exp(np.clip(log_time, -5, 9)).reshape(shape),
        rise=spread(rise),
        keep_tier=spread(model.keep_tier[pick] if survives is None else np.full(len(pick), survives)),
        quit_first=spread(model.quit_first[pick]),
        quit_again=spread(model.quit_again[pick]),
        spread=spread(times.spread[pick]),
        leave=spread(model.leave[pick]),
        again=spread(np.exp(np.clip(hazard.effect("again")[pick], -3, 3))),
        restarts=model.data.restarts,
    )


@cache
def _skill(nodes: int) -> tuple[np.ndarray, np.ndarray]:
    """Standard normal skills and their weights: Gauss-Hermite quadrature."""
    at, weight = np.polynomial.hermite_e.hermegauss(nodes)
    return at, weight / weight.sum()


def _attempts(target: Target) -> range:
    """Which attempts a target is about."""
    if target.population == Population.ATTEMPT:
        return range(target.attempt, target.attempt + 1)
    return range(1, (target.attempts if target.population == Population.NEW_PLAYERS else 1) + 1)


def _level_statistic(target: Target, reach: np.ndarray, segments: Sequence[Segment]) -> np.ndarray:
    """(draws,): mean or quantile of the level in which a run ends, from the chances of reaching each level."""
    numbers = np.array([s.number for s in segments], dtype=float)
    stays = reach[:-1] - reach[1:]
    stays[-1] += reach[-1]
    total = np.maximum(stays.sum(axis=0), 1e-12)
    if target.statistic == Statistic.MEAN:
        return numbers @ stays / total
    below = np.cumsum(stays, axis=0) / total
    quantile = target.quantile or 0.5
    place = np.argmax(below >= quantile - 1e-12, axis=0)
    # Interpolated within the level, so that the figure moves with every lever; half a level either side.
    row = np.arange(len(place))
    before = np.where(place > 0, below[np.maximum(place - 1, 0), row], 0.0)
    share = (quantile - before) / np.maximum(below[place, row] - before, 1e-12)
    return numbers[place] - 0.5 + np.clip(share, 0, 1)


def fit_staged(
    data: StagedData,
    priors: Priors | None = None,
    time_priors: TimePriors | None = None,
    draws: int = DRAWS,
    seed: int = 1,
) -> StagedModel:
    """The model of one game's playtests. Raises ValueError where there is no run to fit."""
    if data.runs.count == 0 or len(data.cells.deaths) == 0:
        raise ValueError("no run with time alive to fit")
    priors = priors or Priors()
    rng = np.random.default_rng(seed)
    by_build = [rules(b.tunables, data.segments, {}, data.lives_seen) for b in data.builds]
    now = by_build[data.current]
    design = hazard_design(data, priors, by_build)
    hazard = fit_hazard(design, draws=draws, seed=seed)
    visits = data.visits
    log_rate = np.array([r.log_rate - now.log_rate for r in by_build])
    times = fit_times(
        visits.segment,
        np.array([s.boss for s in data.segments]),
        visits.tier,
        log_rate[visits.build, visits.segment] if len(visits.build) else np.zeros(0),
        hazard.skill[visits.player] if len(visits.player) else np.zeros(0),
        visits.alive_s,
        visits.cleared,
        time_priors or TimePriors(),
        draws,
        rng,
    )
    counts = data.counts
    kept, all_kept = counts.tier_kept
    pooled = (counts.rises.sum() + 0.05) / (counts.rise_s.sum() + 5.0) if data.tiers > 1 else 0.0
    rise = rng.gamma(
        counts.rises + pooled * RISE_WORTH_S + 1e-9,
        1 / (counts.rise_s + RISE_WORTH_S),
        (draws, len(data.segments)),
    )
    return StagedModel(
        data=data,
        hazard=hazard,
        times=times,
        quit_first=_beta(rng, counts.quits[0], counts.quit_chances[0], QUIT_FIRST, draws),
        quit_again=_beta(rng, counts.quits[1], counts.quit_chances[1], QUIT_AGAIN, draws),
        stop=_beta(rng, counts.stops[0], counts.stop_chances[0], STOP, draws),
        stop_again=_beta(rng, counts.stops[1], counts.stop_chances[1], STOP, draws),
        rise=rise,
        keep_tier=_beta(rng, kept, all_kept, (0.1, 2.0), draws),
        pickup_exponent=rng.normal(1.0, 0.3, draws),
        leave=rng.gamma(counts.leaves + LEAVE[0] * LEAVE[1], 1 / (counts.alive_s + LEAVE[1]), draws),
        priors=priors,
        now=now,
    )


def _beta(
    rng: np.random.Generator, count: float, of: float, prior: tuple[float, float], draws: int
) -> np.ndarray:
    mean, weight = prior
    return rng.beta(count + mean * weight, max(of - count, 0) + (1 - mean) * weight, draws)


def hazard_design(data: StagedData, priors: Priors, by_build: Sequence[Rules]) -> Design:
    """The cells as a regression, with only those coefficients that this game or its levers need."""
    cells, segments = data.cells, len(data.segments)
    now = by_build[data.current]
    columns: dict[str, np.ndarray] = {}
    own: dict[str, tuple[float, float]] = {}

    def add(name: str, column: np.ndarray, prior: tuple[float, float]) -> None:
        columns[name], own[name] = column, prior

    add("learning", np.log(cells.attempt), priors.learning)
    if data.tiers > 1:
        add("tier", cells.tier.astype(float), priors.tier)
    if cells.again.any():
        add("again", cells.again.astype(float), priors.again)
    rate = np.array([r.log_rate - now.log_rate for r in by_build])
    add("exponent", rate[cells.build, cells.segment], priors.exponent)
    aimed = np.array([r.aimed - now.aimed for r in by_build])
    if any(t.role == "aimed_share" for b in data.builds for t in b.tunables):
        add("aimed", aimed[cells.build, cells.segment], priors.aimed)
    if cells.experienced.any():
        add("experienced", cells.experienced.astype(float), priors.experienced)
    firmwares = sorted({b.firmware for b in data.builds} - {data.build.firmware})
    for firmware in firmwares:
        column = np.array([b.firmware == firmware for b in data.builds], dtype=float)[cells.build]
        if column.any():
            add(f"firmware {firmware}", column, priors.other_firmware)
    x = np.zeros((len(cells.deaths), segments + len(columns)))
    x[np.arange(len(cells.deaths)), cells.segment] = 1
    for n, column in enumerate(columns.values()):
        x[:, segments + n] = column
    mean, covariance = np.zeros(x.shape[1]), np.zeros((x.shape[1], x.shape[1]))
    mean[:segments], covariance[:segments, :segments] = alpha_prior(data.segments, priors)
    for n, (center, sd) in enumerate(own.values()):
        mean[segments + n], covariance[segments + n, segments + n] = center, sd**2
    return Design(
        x,
        cells.player,
        len(data.players),
        cells.deaths.astype(float),
        np.log(np.maximum(cells.alive_s, 1e-6)),
        tuple(columns),
        mean,
        covariance,
        priors.sigma_scale,
    )
