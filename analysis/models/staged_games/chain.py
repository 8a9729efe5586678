"""What becomes of a run, computed and not simulated: a Markov chain over (segment, lives, tier).

Within a segment, progress runs from 0 to 1; deaths, tier rises and quits interrupt it. The chain is stepped
through `steps` equal parts of the progress with the implicit theta rule. For a fixed clear time theta = 1/2 (second
order); theta = 1 is exactly a clear time made of `steps` exponential parts, whose number of deaths is negative
binomial; in between, mean and variance of a random clear time are both met: (2 theta - 1) / steps is its squared
variation. Below 1/2 deaths are more regular than chance would have them; theta = 0 is a binomial number among `steps`
trials, so there are fewer steps then. All arrays end in one axis B of scenarios (posterior draws x skill nodes x
settings): one pass serves all.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

STEPS = 8


@dataclass(frozen=True)
class Course:
    """The rates of one run. J segments, K tiers, B scenarios.

    death, clear_s: (J, K, B) deaths a second alive, seconds to clear. rise: (J, B) tier rises a second.
    keep_tier: (B,) chance that a death costs no tier. quit_first, quit_again: (B,) chance that a player quits at
    the first death in the segment and at a later one. refill: (J,) on entering. spread: (B,) of ln clear time.
    leave: (B,) quits a second alive, between deaths. again: (B,) what a death in the segment multiplies its hazard by.
    regular: (B,) 1 - (sd / mean)^2 of the time to a death: 0, deaths as random as can be.
    trials: in how many steps at most each segment is played (`in_trials`); none: in as many as asked for.
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
    regular: np.ndarray = field(default_factory=lambda: np.zeros(1))
    trials: tuple[int, ...] = ()
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
    # state[lives - 1, tier, has died in this segment, scenario]
    kind = np.float32 if lean else np.float64
    state = np.zeros((ceiling, tiers, 2, width), dtype=kind)
    state[course.start_lives - 1, min(course.start_tier, tiers - 1), 0] = 1
    reach = np.zeros((segments + 1, width))
    totals = {name: np.zeros(width) for name in ("over", "over_again", "quit", "alive_s", "deaths")}
    segment_deaths = np.zeros((segments, width))
    clock = np.zeros(width)
    survive = np.zeros((len(times_s), width))
    for j in range(end):
        state = _enter(state, int(course.refill[j]), course.start_lives)
        reach[j] = state.sum(axis=(0, 1, 2))
        before = totals["deaths"].copy()
        state, clock = _through(course, j, state, totals, clock, times_s, survive, steps)
        segment_deaths[j] = totals["deaths"] - before
    reach[end] = state.sum(axis=(0, 1, 2))
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
        "regular",
    )
    columns: dict[str, Any] = {name: joined(name) for name in by_scenario}
    return replace(first, **columns)


def apart(ends: Ends, parts: int) -> list[Ends]:
    """The opposite of `together`, for what came of it."""
    split = {name: np.split(column, parts, axis=-1) for name, column in vars(ends).items()}
    return [Ends(**{name: columns[n] for name, columns in split.items()}) for n in range(parts)]


def _enter(state: np.ndarray, refill: int, start_lives: int) -> np.ndarray:
    """The lives policy, and nobody has died in the new segment yet."""
    merged = state.sum(axis=2)
    entered = np.zeros_like(state)
    fresh = entered[:, :, 0]
    if refill == 1:
        fresh[1:] = merged[:-1]
        fresh[-1] += merged[-1]
    elif refill == 2:
        fresh[start_lives:] = merged[start_lives:]
        fresh[start_lives - 1] = merged[:start_lives].sum(axis=0)
    else:
        fresh[:] = merged
    return entered


class _Segment:
    """One segment's rates for one step of its progress, and what a step and a death do to the state."""

    def __init__(self, course: Course, j: int, steps: int, kind: np.dtype):
        clear_s = course.clear_s[j]
        # Of a visit's deaths, with mean m, the variance is m + variation m^2; a renewal process has m (1 - regular)
        # where m is large, and m (1 - m) where a second death is rare.
        mean = _mean_deaths(course, j)
        variation = np.expm1(course.spread**2) - course.regular / (mean + course.regular + 1e-12)
        # (K, 2, B): before and after a first death in the segment.
        death = (course.death[j] * clear_s / steps)[:, None] * np.stack(np.broadcast_arrays(1.0, course.again))
        rise = course.rise[j] * clear_s / steps
        rise[-1] = 0.0
        leave = course.leave * clear_s / steps
        out = death + (rise + leave)[:, None]
        lowest = np.where(course.regular > 0, 0.0, 0.5)
        # At rates at which hardly anybody gets through, the explicit part must not turn negative.
        theta = np.clip((1 + steps * variation) / 2, np.clip(1 - 1 / out.max(axis=(0, 1)), lowest, 1), 1.0)
        theta, out = theta.astype(kind), out.astype(kind)
        self.death, self.leave = death.astype(kind), leave.astype(kind)
        self.quits = np.stack([course.quit_first, course.quit_again]).astype(kind)
        self.step_s = (clear_s / steps).astype(kind)
        self.kept = course.keep_tier.astype(kind)
        # After a step: so much of who was here, of who was a tier below during it, and of who died into it.
        self.entered = 1 / (1 + theta * out)
        self.stayed = (1 - (1 - theta) * out) * self.entered
        self.risen = rise[:-1, None].astype(kind) * self.entered[1:]
        # The same of the mean state during it, theta of which is the state after it and the rest the one before.
        self.mean_entered, self.mean_risen = theta * self.entered, theta * self.risen
        self.mean_stayed = 1 - theta + theta * self.stayed
        self.going_on = self.death * (1 - self.quits)

    def advance(self, here: np.ndarray, arrivals: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """(state after a step, mean state during it) of one number of lives; arrivals: who died into it meanwhile."""
        now, mean = self.stayed * here, self.mean_stayed * here
        if arrivals is not None:
            now[:, 1] += self.entered[:, 1] * arrivals
            mean[:, 1] += self.mean_entered[:, 1] * arrivals
        for below, risen in enumerate(self.mean_risen):
            mean[below + 1] += risen * mean[below]
        now[1:] += self.risen * mean[:-1]
        return now, mean

    def after_death(self, mean: np.ndarray) -> np.ndarray:
        """Who dies in a step and goes on with a life less, by tier."""
        dying = mean * self.going_on
        going = dying[:, 0] + dying[:, 1]
        arrivals = going * self.kept
        lost = going - arrivals
        arrivals[:-1] += lost[1:]
        arrivals[0] += lost[0]
        return arrivals

    def count(self, stay: np.ndarray, last: np.ndarray, totals: dict[str, np.ndarray]) -> None:
        """Counts time alive, deaths and how runs end, given the mean states of all steps, added up: `last` of who is at
        the last life, `stay` of the others."""
        whole = stay + last
        by_tier = whole.sum(axis=1)
        totals["alive_s"] += (by_tier * self.step_s).sum(axis=0)
        totals["deaths"] += (whole * self.death).sum(axis=(0, 1))
        over, over_again = (last * self.death).sum(axis=0)
        totals["over"] += over + over_again
        totals["over_again"] += over_again
        quitting = (stay * self.death).sum(axis=0) * self.quits
        totals["quit"] += quitting.sum(axis=0) + (by_tier * self.leave).sum(axis=0)


def _through(
    course: Course,
    j: int,
    state: np.ndarray,
    totals: dict[str, np.ndarray],
    clock: np.ndarray,
    times_s: tuple[float, ...],
    survive: np.ndarray,
    steps: int,
) -> tuple[np.ndarray, np.ndarray]:
    """One segment: adds to `totals` and `survive`; returns the state at its end and the mean clock."""
    steps = min([steps, *course.trials[j : j + 1]])
    own = _Segment(course, j, steps, state.dtype)
    top = int(np.max(np.nonzero(state.any(axis=(1, 2, 3)))[0], initial=0))
    if course.restarts:
        return _again_from_the_start(own, state, top, totals, steps), clock
    here_before = state.sum(axis=(0, 1, 2)) if times_s else np.zeros(0)
    stay, last = np.zeros_like(state[0]), np.zeros_like(state[0])
    for _ in range(steps):
        arrivals: np.ndarray | None = None
        for life in range(top, -1, -1):
            state[life], mean = own.advance(state[life], arrivals)
            if life:
                arrivals = own.after_death(mean)
                stay += mean
            else:
                last += mean
        if not times_s:
            continue
        by_tier = state.sum(axis=(0, 2))
        here_now = by_tier.sum(axis=0)
        # The mean clock of those still in: tiers differ a little in their pace.
        pace = (by_tier * own.step_s).sum(axis=0) / np.maximum(here_now, 1e-30)
        for n, time in enumerate(times_s):
            # Between the ends of a step, those still in fall off at an even hazard.
            share = np.clip((time - clock) / np.maximum(pace, 1e-12), 0, 1)
            within = here_before * (np.maximum(here_now, 1e-30) / np.maximum(here_before, 1e-30)) ** share
            survive[n] = np.where((clock <= time) & (time < clock + pace), within, survive[n])
        clock, here_before = clock + pace, here_now
    own.count(stay, last, totals)
    return state, clock


def in_trials(course: Course) -> Course:
    """With so many steps in each segment as make a binomial number of deaths as regular as the course's."""
    regular = float(course.regular.mean())
    if regular <= 0:
        return course
    means = [float(_mean_deaths(course, j).mean()) for j in range(len(course.death))]
    return replace(course, trials=tuple(max(2, int((mean + regular) / regular + 1e-6)) for mean in means))


def _mean_deaths(course: Course, j: int) -> np.ndarray:
    """(B,) deaths in a whole visit; where one follows another, at the greater rate, so that steps are fine enough."""
    return (course.death[j] * course.clear_s[j]).mean(axis=0) * np.maximum(course.again, 1.0)


def _again_from_the_start(
    own: _Segment, state: np.ndarray, top: int, totals: dict[str, np.ndarray], steps: int
) -> np.ndarray:
    """A segment that begins anew with each life: every life must get through from end to end."""
    through, stay = np.zeros_like(state), np.zeros_like(state[0])
    arrivals: np.ndarray | None = None
    for life in range(top, -1, -1):
        here = state[life].copy()
        if arrivals is not None:
            here[:, 1] += arrivals
        own_stay = np.zeros_like(here)
        for _ in range(steps):
            here, mean = own.advance(here)
            own_stay += mean
        through[life] = here
        if life:
            arrivals = own.after_death(own_stay)
            stay += own_stay
    own.count(stay, own_stay, totals)
    return through
