"""What becomes of a run, computed and not simulated: a Markov chain over (segment, lives, tier).

Within a segment, progress runs from 0 to 1; deaths, tier rises and quits interrupt it. The chain is stepped
through `steps` equal parts of the progress. Danger goes with the age of a life, so the state also holds in which step
of the segment the present life began. A step's clear time is gamma: of fixed length exp(-rate) get through it, of an
exponential one 1 / (1 + rate). All arrays end in one axis B of scenarios (posterior draws x skill nodes x settings):
one pass serves all.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from analysis.models.staged_games.in_a_step import Ages, Rates

STEPS = 7


@dataclass(frozen=True)
class Course:
    """The rates of one run. J segments, K tiers, B scenarios.

    death, clear_s: (J, K, B) deaths a second alive, seconds to clear. rise: (J, B) tier rises a second.
    keep_tier: (B,) chance that a death costs no tier. quit_first, quit_again: (B,) chance that a player quits at
    the first death in the segment and at a later one. refill: (J,) on entering. spread: (B,) of ln clear time.
    leave: (B,) quits a second alive, between deaths. again: (B,) what a death in the segment multiplies its hazard by.
    age: (B,) the hazard goes with a life's age in the segment to this power, `death` being the mean over a life from
    end to end; 0: it is even.
    restarts: a death throws back to the segment's start (`survive` is then left at 0).
    """

    start_lives: int
    refill: np.ndarray
    start_tier: int
    death: np.ndarray
    clear_s: np.ndarray
    rise: np.ndarray
    keep_tier: np.ndarray
    quit_first: np.ndarray
    quit_again: np.ndarray
    spread: np.ndarray
    leave: np.ndarray = field(default_factory=lambda: np.zeros(1))
    again: np.ndarray = field(default_factory=lambda: np.ones(1))
    age: np.ndarray = field(default_factory=lambda: np.zeros(1))
    restarts: bool = False


@dataclass(frozen=True)
class Ends:
    """Probabilities by scenario. reach: (J + 1, B), the last is finishing; over, quit: (B,).

    over_again: game over at a repeated death in one segment. alive_s, deaths: means. survive: (times, B).
    segment_deaths: (J, B) mean deaths in each segment.
    """

    reach: np.ndarray
    over: np.ndarray
    over_again: np.ndarray
    quit: np.ndarray
    alive_s: np.ndarray
    deaths: np.ndarray
    segment_deaths: np.ndarray
    survive: np.ndarray


def play(
    course: Course, times_s: tuple[float, ...] = (), steps: int = STEPS, until: int | None = None, lean: bool = False
) -> Ends:
    """Plays the chain from the first segment to the last, or to the entry of segment number `until`.

    What is not played is left at 0. lean: in single precision, for a search among settings.
    """
    segments, tiers, width = course.death.shape
    end = segments if until is None else min(until, segments)
    ceiling = course.start_lives + int((course.refill == 1).sum())
    # state[lives - 1, tier, scenario]
    kind = np.float32 if lean else np.float64
    state = np.zeros((ceiling, tiers, width), dtype=kind)
    state[course.start_lives - 1, min(course.start_tier, tiers - 1)] = 1
    ages = Ages(1 + course.age, course.spread, steps, kind)
    reach = np.zeros((segments + 1, width))
    totals = {name: np.zeros(width) for name in ("over", "over_again", "quit", "alive_s", "deaths")}
    segment_deaths = np.zeros((segments, width))
    clock = np.zeros(width)
    survive = np.zeros((len(times_s), width))
    for j in range(end):
        state = _enter(state, int(course.refill[j]), course.start_lives)
        reach[j] = state.sum(axis=(0, 1))
        before = totals["deaths"].copy()
        state, clock = _through(course, j, ages, state, totals, clock, times_s, survive)
        segment_deaths[j] = totals["deaths"] - before
    reach[end] = state.sum(axis=(0, 1))
    for n, time in enumerate(times_s):
        # Whoever finished before has survived.
        survive[n] = np.where(clock <= time, reach[segments], survive[n])
    return Ends(reach, survive=survive, segment_deaths=segment_deaths, **totals)


def together(courses: Sequence[Course]) -> Course:
    """Courses of one lives policy side by side, as one."""
    first = courses[0]
    if len(courses) == 1:
        return first

    def joined(name: str) -> np.ndarray:
        return np.concatenate([getattr(course, name) for course in courses], axis=-1)

    by_scenario = (
        "death",
        "clear_s",
        "rise",
        "keep_tier",
        "quit_first",
        "quit_again",
        "spread",
        "leave",
        "again",
        "age",
    )
    columns: dict[str, Any] = {name: joined(name) for name in by_scenario}
    return replace(first, **columns)


def apart(ends: Ends, parts: int) -> list[Ends]:
    """The opposite of `together`, for what came of it."""
    split = {name: np.split(column, parts, axis=-1) for name, column in vars(ends).items()}
    return [Ends(**{name: columns[n] for name, columns in split.items()}) for n in range(parts)]


def _enter(state: np.ndarray, refill: int, start_lives: int) -> np.ndarray:
    """The lives policy; state: (lives, tiers, B)."""
    if refill == 0:
        return state
    entered = np.zeros_like(state)
    if refill == 1:
        entered[1:] = state[:-1]
        entered[-1] += state[-1]
    else:
        entered[start_lives:] = state[start_lives:]
        entered[start_lives - 1] = state[:start_lives].sum(axis=0)
    return entered


class _Segment:
    """One segment's rates, by age as in `Ages`, and what steps and deaths do to arrays (lives, tiers, classes, B)."""

    def __init__(self, course: Course, j: int, ages: Ages, lives: int, kind: type):
        self.steps = steps = ages.steps
        clear_s = course.clear_s[j]
        deaths = (course.death[j] * clear_s).astype(kind)[:, None]
        after = deaths * course.again.astype(kind)
        rise, leave = course.rise[j] * clear_s / steps, course.leave * clear_s / steps
        rise[-1] = 0.0
        self.rise, self.leave = rise[:, None].astype(kind), leave.astype(kind)
        other = (rise + leave)[:, None].astype(kind)
        self.fresh = Rates.of(deaths * ages.fresh, other, ages.variation)
        # Thrown back to the start, a life is as old as it is far.
        self.later = Rates.of(after * (ages.fresh if course.restarts else ages.later), other, ages.variation)
        self.young = Rates.of(after * ages.young, other, ages.variation)
        self.going: tuple[np.ndarray, np.ndarray] = (
            (1 - course.quit_first).astype(kind),
            (1 - course.quit_again).astype(kind),
        )
        self.step_s: np.ndarray = (clear_s / steps).astype(kind)
        self.kept: np.ndarray = course.keep_tier.astype(kind)
        # By lives and tier: time alive in steps, first and later deaths in the segment.
        self.stay, self.first, self.again = np.zeros((3, lives, *clear_s.shape), dtype=kind)

    def advance(self, rates: Rates, here: np.ndarray) -> np.ndarray:
        """`here` after a step; returns the mean during it."""
        mean = rates.part * here
        here *= rates.stayed
        self._rise(rates, here, mean)
        return mean

    def _rise(self, rates: Rates, here: np.ndarray, mean: np.ndarray) -> None:
        for tier in range(1, here.shape[-3]):
            risen = self.rise[tier - 1] * mean[..., tier - 1, :, :]
            here[..., tier, :, :] += rates.part[tier] * risen
            mean[..., tier, :, :] += rates.part_new[tier] * risen

    def begin(self, arrivals: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Of those (tiers, B) who died in a step and live on: (state after it, mean during it), (tiers, 1, B)."""
        here, mean = self.young.part * arrivals[:, None], self.young.part_new * arrivals[:, None]
        self._rise(self.young, here, mean)
        return here, mean

    def after_death(self, going: np.ndarray) -> np.ndarray:
        """Those (tiers, B) who die and go on, by the tier at which they do."""
        if len(going) == 1:
            return going
        arrivals = going * self.kept
        lost = going - arrivals
        arrivals[:-1] += lost[1:]
        arrivals[0] += lost[0]
        return arrivals

    def count(self, totals: dict[str, np.ndarray]) -> None:
        """Adds the time alive, the deaths and how runs ended."""
        stay = self.stay.sum(axis=0)
        first, again = self.first.sum(axis=1), self.again.sum(axis=1)
        totals["alive_s"] += (stay * self.step_s).sum(axis=0)
        totals["deaths"] += (first + again).sum(axis=0)
        totals["over"] += first[0] + again[0]
        totals["over_again"] += again[0]
        quitting = first[1:].sum(axis=0) * (1 - self.going[0]) + again[1:].sum(axis=0) * (1 - self.going[1])
        totals["quit"] += quitting + (stay * self.leave).sum(axis=0)


def _through(
    course: Course,
    j: int,
    ages: Ages,
    state: np.ndarray,
    totals: dict[str, np.ndarray],
    clock: np.ndarray,
    times_s: tuple[float, ...],
    survive: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """One segment: adds to `totals` and `survive`; returns the state (lives, tiers, B) at its end and the clock."""
    lives = 1 + int(np.max(np.nonzero(state.any(axis=(1, 2)))[0], initial=0))
    own = _Segment(course, j, ages, lives, state.dtype.type)
    if course.restarts:
        return _again_from_the_start(own, state, totals), clock
    here_before = state.sum(axis=(0, 1)) if times_s else np.zeros(0)
    # Who has not died in the segment, and who has, by the step in which the last time was.
    unhurt = state[:lives, :, None].copy()
    hurt = np.zeros((lives, state.shape[1], ages.steps, state.shape[2]), dtype=state.dtype)
    for step in range(ages.steps):
        _one_step(own, step, unhurt, hurt)
        if not times_s:
            continue
        by_tier = unhurt.sum(axis=(0, 2)) + hurt.sum(axis=(0, 2))
        here_now = by_tier.sum(axis=0)
        # The mean clock of those still in: tiers differ a little in their pace.
        pace = (by_tier * own.step_s).sum(axis=0) / np.maximum(here_now, 1e-30)
        for n, time in enumerate(times_s):
            # Between the ends of a step, those still in fall off at an even hazard.
            share = np.clip((time - clock) / np.maximum(pace, 1e-12), 0, 1)
            within = here_before * (np.maximum(here_now, 1e-30) / np.maximum(here_before, 1e-30)) ** share
            survive[n] = np.where((clock <= time) & (time < clock + pace), within, survive[n])
        clock, here_before = clock + pace, here_now
    own.count(totals)
    through = np.zeros_like(state)
    through[:lives] = unhurt[:, :, 0] + np.einsum("lkcb->lkb", hurt)
    return through, clock


def _one_step(own: _Segment, step: int, unhurt: np.ndarray, hurt: np.ndarray) -> None:
    """All lives, a step on."""
    fresh, later = own.fresh.some(step, step + 1), own.later.some(own.steps - 1 - step, own.steps - 1)
    stay = own.advance(fresh, unhurt)[:, :, 0]
    first = fresh.death[:, 0] * stay
    again = np.zeros_like(first)
    if step:
        mean = own.advance(later, hurt[:, :, :step])
        stay += np.einsum("lkcb->lkb", mean)
        np.einsum("kcb,lkcb->lkb", later.death, mean, out=again)
    going = own.going[0] * first + own.going[1] * again
    for life in range(len(unhurt) - 2, -1, -1):
        # Who died in this step lives on in it, and may die again.
        here, mean = own.begin(own.after_death(going[life + 1]))
        hurt[life, :, step] = here[:, 0]
        dying = own.young.death[:, 0] * mean[:, 0]
        stay[life] += mean[:, 0]
        again[life] += dying
        going[life] += own.going[1] * dying
    own.stay += stay
    own.first += first
    own.again += again


def _again_from_the_start(own: _Segment, state: np.ndarray, totals: dict[str, np.ndarray]) -> np.ndarray:
    """A segment that begins anew with each life: every life must get through from end to end."""
    through = np.zeros_like(state)
    arrivals = np.zeros_like(state[0])
    for life in range(len(own.stay) - 1, -1, -1):
        unhurt, hurt = state[life][:, None].copy(), arrivals[:, None].copy()
        for step in range(own.steps):
            fresh, later = own.fresh.some(step, step + 1), own.later.some(step, step + 1)
            newly, mean = own.advance(fresh, unhurt), own.advance(later, hurt)
            own.stay[life] += (newly + mean)[:, 0]
            own.first[life] += (newly * fresh.death)[:, 0]
            own.again[life] += (mean * later.death)[:, 0]
        through[life] = unhurt[:, 0] + hurt[:, 0]
        arrivals = own.after_death(own.going[0] * own.first[life] + own.going[1] * own.again[life])
    own.count(totals)
    return through
