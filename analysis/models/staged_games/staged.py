"""The fitted model of a game played in segments with lives: posterior draws in, outcome figures out."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any

import numpy as np

from analysis.levers import policy_levers, rate_levers
from analysis.models.audience import LIKE_TESTERS, Shift
from analysis.models.data import Build, StagedData, Tunable
from analysis.models.fitted import AS_THEY_ARE, Fitted
from analysis.models.fitting.posterior import Posterior, fit_posterior
from analysis.models.fitting.sampling import Sampling
from analysis.models.observed import Observed, observed_staged
from analysis.models.setting import Rules, Setting, rules
from analysis.models.staged_games import staged_words
from analysis.models.staged_games.chain import STEPS, Course, Ends, apart, play, together
from analysis.models.staged_games.clear_times import TimePosterior, TimePriors, fit_times
from analysis.models.staged_games.course import course_of, level_statistic, skills
from analysis.models.staged_games.giving_up import Stops, fit_stops
from analysis.models.staged_games.hazard import Priors, hazard_design, played_levers, steps
from analysis.models.targets import Outcome, Population, Statistic, Target, attempts_of
from ingest.vocabulary import TunableRole

DRAWS = 240
QUICK = 4  # every fourth draw while searching
# For the chance that decides on a recommendation: reseeded, it moves by a standard deviation of 0.012 (MODEL.md).
FINE, TRIES, FINE_TRIES = 2000, 2000, 8000
NODES, QUICK_NODES = 7, 5
QUICK_STEPS = 3
# Played in one pass: enough to pay for numpy's calls, few enough to stay in the processor's cache.
MOST_SCENARIOS = 2500
# Outcomes of quits and time, and those for which the chain is played to its end.
_OF_TIME = (Outcome.QUIT_SHARE, Outcome.RUN_LENGTH)
_WHOLE = (Outcome.SURVIVE, Outcome.LEVEL_REACHED, *_OF_TIME)
# Beta priors as (mean, weight in observations); few quit.
QUIT_FIRST, QUIT_AGAIN = (0.03, 10.0), (0.05, 10.0)
RISE_WORTH_S = 20.0
# Quits a second alive between deaths, as (mean, seconds it is worth): one in ten hours, a guess that a class outweighs.
LEAVE = (1 / 36_000, 600.0)


@dataclass(frozen=True)
class StagedModel(Fitted):
    """Everything a prediction needs. Arrays of draws have DRAWS rows and are paired row by row."""

    data: StagedData
    hazard: Posterior
    times: TimePosterior
    quit_first: np.ndarray
    quit_again: np.ndarray
    stops: Stops
    rise: np.ndarray  # (draws, segments)
    keep_tier: np.ndarray
    leave: np.ndarray
    rise_effects: Mapping[TunableRole, np.ndarray]  # of the levers that act on the rises
    priors: Priors
    now: Rules
    shift: Shift = LIKE_TESTERS

    method = "tuning.staged"
    more, less = "it dies a third more often", "it dies a third less often"

    def for_audience(self, shift: Shift) -> "StagedModel":
        return replace(self, shift=shift)

    def finer(self) -> "StagedModel":
        return fit_staged(self.data, self.priors, draws=FINE, tries=FINE_TRIES).for_audience(self.shift)

    @cached_property
    def audience(self) -> np.ndarray:
        """(draws,): by how much the audience's ln hazard is more than that of people like the testers."""
        return self.shift.draws(len(self.hazard.sigma))

    @property
    def roles(self) -> tuple[TunableRole, ...]:
        levels = self.data.segments[0].is_level
        rates = (lever for lever in rate_levers() if lever.in_levels in (None, levels))
        return tuple(lever.role for lever in (*policy_levers(), *rates))

    @property
    def build(self) -> Build:
        return self.data.build

    @property
    def players(self) -> int:
        return len(self.data.players)

    @property
    def runs(self) -> int:
        return self.data.runs.count

    @property
    def sampling(self) -> Sampling:
        return self.hazard.sampling

    def observed(self, target: Target) -> Observed:
        return observed_staged(self.data, target)

    @cached_property
    def course_now(self) -> Mapping[str, Any]:
        """What a first run is like as things are: the same for every proposal."""
        return staged_words.effects(self, {})

    def unknown(self, targets: Sequence[Target]) -> str:
        return staged_words.unknown(self, targets)

    def carried_by(self, tunable: Tunable) -> str:
        return staged_words.carried_by(self, tunable)

    def side_effects(self, setting: Setting) -> Mapping[str, Any]:
        return staged_words.side_effects(self, setting)

    def assumptions(self) -> tuple[str, ...]:
        return staged_words.assumptions(self)

    def cautions(self) -> tuple[str, ...]:
        return staged_words.cautions(self)

    def otherwise(self) -> Mapping[str, Callable[[], Fitted]]:
        plain = Priors()
        played = [lever for lever in rate_levers() if lever.role in self.hazard.names]
        cases = {AS_THEY_ARE: plain}
        cases |= {words: replace(plain, levers={lever.role: p}) for lever in played for words, p in lever.under.items()}
        cases |= {
            "practice helps nobody": replace(plain, learning=(0.0, 0.02)),
            "players may differ twice as much": replace(plain, sigma_scale=2 * plain.sigma_scale),
            "segments are nearly alike": replace(plain, walk_sd=0.15, own_sd=0.1),
        }
        return {words: partial(self._under, priors) for words, priors in cases.items()}

    def _under(self, priors: Priors) -> Fitted:
        return fit_staged(self.data, priors).for_audience(self.shift)

    def knows(self, target: Target) -> bool:
        level = bool(self.data.segments) and self.data.segments[0].is_level
        if target.outcome == Outcome.LEVEL_REACHED:
            return level
        if target.outcome == Outcome.REACH_STAGE:
            return not level and self._has_stage(int(target.number or 1), target.boss)
        if target.outcome == Outcome.SURVIVE:
            # Where a death throws back to the stage's start, the chain keeps no clock.
            return not self.data.restarts
        return target.outcome in (Outcome.FINISH, Outcome.FINISH_WITHIN, *_OF_TIME) and self.data.ends_logged

    def _has_stage(self, number: int, boss: bool) -> bool:
        """Was it seen, does a tunable name it, or may it be the one after the last? Of others nothing is known."""
        last = max(s.number for s in self.data.segments)
        if number > last:
            return self.data.more_stages and number == last + 1 and not boss
        return not boss or any(s.number == number and s.boss for s in self.data.segments)

    def figures(self, setting: Setting, targets: Sequence[Target], quick: bool = False) -> np.ndarray:
        return self.figures_many([setting], targets, quick)[0]

    def figures_many(
        self, settings: Sequence[Setting], targets: Sequence[Target], quick: bool = False
    ) -> list[np.ndarray]:
        """`figures` of several settings; those with one lives policy are played in one pass, which is faster."""
        times = tuple(sorted({float(t.number or 0) for t in targets if t.outcome == Outcome.SURVIVE}))
        # Segments past the farthest that any target speaks of need not be played.
        whole = any(t.outcome in _WHOLE for t in targets)
        until = None if whole else max(self.place(t) for t in targets)
        attempts = sorted({n for t in targets for n in attempts_of(t)})
        steps = QUICK_STEPS if quick else STEPS
        by_policy: dict[tuple[int, ...], list[tuple[int, int, Course]]] = {}
        for number, setting in enumerate(settings):
            rule = rules(self.tunables, self.data.segments, setting, self.data.lives_seen)
            for attempt in attempts:
                course = self.course(rule, attempt, quick)
                key = (rule.start_lives, *rule.refill.tolist())
                by_policy.setdefault(key, []).append((number, attempt, course))
        played: dict[tuple[int, int], Ends] = {}
        for group in by_policy.values():
            size = max(1, MOST_SCENARIOS // len(group[0][2].spread))
            for first in range(0, len(group), size):
                some = group[first : first + size]
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
        _, weight = skills(QUICK_NODES if quick else NODES)
        return values.reshape(*values.shape[:-1], -1, len(weight)) @ weight

    def course(self, rule: Rules, attempt: int, quick: bool = False) -> Course:
        """The rates of one attempt under `rule`, for every draw and skill node."""
        draws = np.arange(len(self.hazard.sigma))[:: QUICK if quick else 1]
        return course_of(self, rule, attempt, draws, skills(QUICK_NODES if quick else NODES)[0])

    def _figure(self, target: Target, ends: Callable[[int], Ends], times: tuple[float, ...], quick: bool) -> np.ndarray:
        if target.outcome in _OF_TIME:
            course = ends(attempts_of(target)[0])
            return self.average(course.quit if target.outcome == Outcome.QUIT_SHARE else course.alive_s)
        if target.statistic != Statistic.SHARE:
            reach = self.average(ends(attempts_of(target)[0]).reach)
            return level_statistic(target, reach, self.data.segments)

        def chance(attempt: int) -> np.ndarray:
            course: Ends = ends(attempt)
            if target.outcome == Outcome.SURVIVE:
                return course.survive[times.index(float(target.number or 0))]
            return course.reach[self.place(target)]

        if target.population != Population.NEW_PLAYERS:
            return self.average(chance(attempts_of(target)[0]))
        pick = slice(None, None, QUICK) if quick else slice(None)
        nodes = QUICK_NODES if quick else NODES

        def stop(failures: int, twice: bool) -> np.ndarray:
            return np.repeat(self.stops.chance(failures, twice)[pick], nodes)

        going, reached = np.ones(1), np.zeros(1)
        for attempt in attempts_of(target):
            own = chance(attempt)
            reached = reached + going * own
            if attempt < target.attempts:
                course = ends(attempt)
                failed = np.maximum(1 - own, 1e-12)
                share_again = np.clip(course.over_again / failed, 0, 1)
                # Who is still at it and has not got there has failed each time.
                leaves = stop(attempt, False) * (1 - share_again) + stop(attempt, True) * share_again
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


def fit_staged(
    data: StagedData,
    priors: Priors | None = None,
    time_priors: TimePriors | None = None,
    draws: int = DRAWS,
    seed: int = 1,
    tries: int = TRIES,
) -> StagedModel:
    """The model of one game's playtests. Raises ValueError where there is no run to fit."""
    if data.runs.count == 0 or len(data.cells.deaths) == 0:
        raise ValueError("no run with time alive to fit")
    priors = priors or Priors()
    rng = np.random.default_rng(seed)
    by_build = [rules(b.tunables, data.segments, {}, data.lives_seen) for b in data.builds]
    now = by_build[data.current]
    design = hazard_design(data, priors, by_build)
    hazard = fit_posterior(design, draws=draws, tries=tries, seed=seed)
    visits = data.visits
    times = fit_times(
        visits.segment,
        np.array([s.boss for s in data.segments]),
        visits.tier,
        {
            lever.role: (steps(lever, data, by_build)[visits.build, visits.segment], lever.times)
            for lever in played_levers(data, by_build)
            if lever.times is not None
        },
        hazard.skill[visits.player],
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
        counts.rises + pooled * RISE_WORTH_S + 1e-9, 1 / (counts.rise_s + RISE_WORTH_S), (draws, len(data.segments))
    )
    return StagedModel(
        data=data,
        hazard=hazard,
        times=times,
        quit_first=_beta(rng, counts.quits[0], counts.quit_chances[0], QUIT_FIRST, draws),
        quit_again=_beta(rng, counts.quits[1], counts.quit_chances[1], QUIT_AGAIN, draws),
        stops=fit_stops(counts.stops, counts.stop_chances, draws, rng),
        rise=rise,
        keep_tier=_beta(rng, kept, all_kept, (0.1, 2.0), draws),
        rise_effects={
            lever.role: rng.normal(lever.rises.mean, lever.rises.sd, draws)
            for lever in rate_levers()
            if lever.rises is not None and lever.role in now.doses
        },
        leave=rng.gamma(counts.leaves + LEAVE[0] * LEAVE[1], 1 / (counts.alive_s + LEAVE[1]), draws),
        priors=priors,
        now=now,
    )


def _beta(rng: np.random.Generator, count: float, of: float, prior: tuple[float, float], draws: int) -> np.ndarray:
    mean, weight = prior
    return rng.beta(count + mean * weight, max(of - count, 0) + (1 - mean) * weight, draws)
