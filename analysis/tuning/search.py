"""Finds the setting with the least expected loss among those the firmware can hold."""

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from analysis.models.data import Build, Tunable
from analysis.models.setting import MOST_LIVES, Setting, values_of
from analysis.models.targets import Levers, Target

POINT = 0.01
# Settings whose expected misses differ by less are equals: the smaller change is preferred.
EQUAL = 0.15 * POINT
COARSE = 7
# A change that turns out worse than no change counts this much on top: it costs work and trust.
REGRET = 1.0
# Sure enough to be recommended: likely better than no change, hardly ever clearly worse, and worth a new firmware.
SURE_ENOUGH, HARM, MOST_HARM, WORTHWHILE = 0.8, 2.0 * POINT, 0.05, 1.0 * POINT
# A smaller step of the same change is likelier to be an improvement: parts of the way that are looked at too.
PARTS = (0.85, 0.7, 0.55, 0.4, 0.25)
MOST_CONFIRMED = 10
# Roles whose effect goes with the logarithm of the value.
BY_RATIO = frozenset({"fire_period", "drop_interval", "target_speed", "pickup_rate", "start_lives"})
PERIODS = frozenset({"fire_period", "drop_interval"})


class OutcomeModel(Protocol):
    """A fitted model: what the search asks of it."""

    @property
    def tunables(self) -> tuple[Tunable, ...]: ...
    @property
    def build(self) -> Build: ...
    @property
    def roles(self) -> tuple[str, ...]: ...
    def knows(self, target: Target) -> bool: ...
    def figures(self, setting: Setting, targets: Sequence[Target], quick: bool = False) -> np.ndarray: ...


@dataclass(frozen=True)
class Lever:
    """Tunables that are moved together. options: what they may be set to, from one end to the other.

    joint: it is all that may be moved of its role, so that the search for a joint setting need look at no other.
    """

    name: str
    options: tuple[Setting, ...]
    joint: bool = False


@dataclass(frozen=True)
class Found:
    """A setting (only what differs from now), with its expected loss in shares, and the size of the change."""

    lever: str
    setting: Setting
    miss: float
    size: float


@dataclass(frozen=True)
class Against:
    """A setting against no change: loss and expected gain in shares, chances of being better and of HARM."""

    loss: float
    gain: float
    better: float
    harm: float

    @property
    def sure(self) -> bool:
        """May it be recommended?"""
        return self.better >= SURE_ENOUGH and self.harm <= MOST_HARM and self.gain >= WORTHWHILE


def against(now: np.ndarray, then: np.ndarray) -> Against:
    """Both are misses by draw, from the same draws. Ties count half."""
    gain = now - then
    better = float((gain > 0).mean() + 0.5 * (gain == 0).mean())
    loss = float((then + REGRET * np.maximum(-gain, 0)).mean())
    return Against(loss, float(gain.mean()), better, float((gain < -HARM).mean()))


def misses(targets: Sequence[Target], figures: np.ndarray) -> np.ndarray:
    """(draws,): the weighted mean of the targets' misses; a tolerance counts as 5 points whatever its unit."""
    weights = np.array([t.weight for t in targets])
    scaled = np.array(
        [
            t.miss(f) * (5 * POINT / t.tolerance if len(targets) > 1 or t.unit != "share" else 1)
            for t, f in zip(targets, figures, strict=True)
        ]
    )
    return weights @ scaled / weights.sum()


def change_size(tunables: Sequence[Tunable], setting: Setting) -> float:
    """How big a change is: mean of the changed values' steps, and a little for each value that changes."""
    sizes = []
    for tunable in tunables:
        value = setting.get(tunable.name, tunable.value)
        if value == tunable.value:
            continue
        if tunable.role in BY_RATIO and value > 0 and tunable.value > 0:
            sizes.append(abs(math.log(value / tunable.value)))
        else:
            sizes.append(abs(value - tunable.value) / max(1, tunable.high - tunable.low))
    return sum(sizes) / len(sizes) + 0.05 * len(sizes) if sizes else 0.0


def levers_of(model: OutcomeModel, wishes: Levers, targets: Sequence[Target]) -> tuple[Lever, ...]:
    """Everything that may be moved and matters: each tunable alone, and those of one role together."""
    found: list[Lever] = []
    now = model.figures({}, targets, quick=True)

    def matters(options: Sequence[Setting]) -> bool:
        ends = (options[0], options[-1])
        return any(not np.array_equal(model.figures(option, targets, quick=True), now) for option in ends)

    allowed = [t for t in model.tunables if t.role in model.roles and wishes.allows(t.name, t.role)]
    for role in dict.fromkeys(t.role for t in allowed):
        own = []
        ranges = {t.name: wishes.range(t.name, t.role, t.low, t.high) for t in allowed if t.role == role}
        for tunable in (t for t in allowed if t.role == role):
            options = tuple({tunable.name: v} for v in _holdable(tunable, ranges[tunable.name]))
            if len(options) > 1 and matters(options):
                own.append(tunable)
                found.append(Lever(tunable.name, options))
        if len(own) > 1 and role in BY_RATIO:
            found.insert(0, Lever(f"{role} together", _together(own, ranges), joint=True))
        elif 1 < len(own) <= 4 and role == "lives_refill":
            product = itertools.product(*[[(t.name, v) for v in _holdable(t, ranges[t.name])] for t in own])
            found.insert(0, Lever("lives_refill by stage", tuple(dict(p) for p in product), joint=True))
        elif len(own) == 1:
            found[-1] = Lever(found[-1].name, found[-1].options, joint=True)
    return tuple(lever for lever in found if len(lever.options) > 1)


def _holdable(tunable: Tunable, limits: tuple[int, int]) -> list[int]:
    low, high = limits
    if tunable.role == "start_lives":
        low, high = max(1, low), min(high, max(MOST_LIVES, tunable.value))
    if tunable.role == "lives_refill":
        low, high = max(0, low), min(2, high)
    if tunable.role == "tiers_survive":
        low, high = max(0, low), min(1, high)
    if tunable.role in PERIODS or tunable.role == "target_speed":
        low = max(1, low)
    values = [v for v in _thinned(tunable.holdable, low, high)]
    return sorted({*values, tunable.value})


def _thinned(values: range, low: int, high: int, most: int = 400) -> list[int]:
    """The holdable values within limits; of very many, evenly spread ones (all of them can be held)."""
    within = _within(values, low, high)
    return list(within[:: max(1, len(within) // most)])


def _together(tunables: Sequence[Tunable], ranges: dict[str, tuple[int, int]]) -> tuple[Setting, ...]:
    """All of one role scaled by common factors, each rounded to what it can hold."""
    options: list[Setting] = []
    for factor in np.exp(np.linspace(math.log(0.25), math.log(4), 121)):
        setting = {t.name: nearest(t, t.value * factor, ranges[t.name]) for t in tunables}
        if not options or setting != options[-1]:
            options.append(setting)
    now = {t.name: t.value for t in tunables}
    if now not in options:
        options.append(now)
        options.sort(key=lambda s: sum(math.log(max(v, 1)) for v in s.values()))
    return tuple(options)


def nearest(tunable: Tunable, value: float, limits: tuple[int, int] | None = None) -> int:
    """The value nearest to `value` that the firmware can hold within `limits`; the present one if there is none."""
    values = tunable.holdable if limits is None else _within(tunable.holdable, *limits)
    if not values:
        return tunable.value
    aim = tunable.low + round((value - tunable.low) / values.step) * values.step
    return int(min(values[-1], max(values[0], aim)))


def _within(values: range, low: int, high: int) -> range:
    """Those of `values` from `low` to `high`."""
    first = max(0, -(-(low - values.start) // values.step))
    return values[first : max(first, (high - values.start) // values.step + 1)]


def movable(tunables: Sequence[Tunable], wishes: Levers) -> list[Tunable]:
    """Those that may be moved, each with the range that it may be moved in."""
    found = []
    for tunable in tunables:
        limits = wishes.range(tunable.name, tunable.role, tunable.low, tunable.high)
        values = _within(tunable.holdable, *limits)
        if wishes.allows(tunable.name, tunable.role) and len(values) > 1:
            found.append(replace(tunable, low=values[0], high=values[-1]))
    return found


def part_of(tunables: Sequence[Tunable], setting: Setting, part: float) -> Setting:
    """`part` of the way from the present values to `setting`, in what the firmware can hold."""
    made = {}
    for tunable in tunables:
        value, now = setting.get(tunable.name, tunable.value), tunable.value
        if value == now:
            continue
        if tunable.role in BY_RATIO and value > 0 and now > 0:
            on_the_way = now * (value / now) ** part
        else:
            on_the_way = now + (value - now) * part
        made[tunable.name] = nearest(tunable, on_the_way, (min(value, now), max(value, now)))
    return made


class Search:
    """Expected losses by setting, remembered: the same setting is never computed twice.

    The loss is the miss, and once more what it is worse than no change by (REGRET). So a doubtful change is made in
    a smaller step, which is likelier to help.
    """

    def __init__(
        self, model: OutcomeModel, targets: Sequence[Target], tick: Callable[[], None] | None = None
    ):
        self._model, self._targets, self._tick = model, tuple(targets), tick
        self._now = values_of(model.tunables)
        self._known: dict[tuple[tuple[str, int], ...], Against] = {}
        self._present_miss = misses(self._targets, model.figures({}, self._targets, quick=True))

    def miss(self, setting: Setting) -> float:
        """The posterior mean of the loss under `setting`. `tick` may raise to cancel."""
        key = tuple(sorted((n, v) for n, v in setting.items() if self._now[n] != v))
        if key not in self._known:
            if self._tick:
                self._tick()
            figures = self._model.figures(dict(key), self._targets, quick=True)
            self._known[key] = self._against(figures)
        return self._known[key].loss

    def _against(self, figures: np.ndarray) -> Against:
        return against(self._present_miss, misses(self._targets, figures))

    def try_all(self, settings: Sequence[Setting]) -> None:
        """Computes what is not yet known of `settings`, in one pass where the model can."""
        keys = {tuple(sorted((n, v) for n, v in s.items() if self._now[n] != v)) for s in settings}
        fresh = sorted(keys - set(self._known))
        many = getattr(self._model, "figures_many", None)
        if many is None or len(fresh) < 2:
            return
        if self._tick:
            self._tick()
        for key, figures in zip(
            fresh, many([dict(k) for k in fresh], self._targets, quick=True), strict=True
        ):
            self._known[key] = self._against(figures)

    def along(self, lever: Lever, base: Setting) -> Found:
        """The best option of one lever, the rest as in `base`: a coarse look, then closer around the best."""
        options = lever.options
        # A single segment's own lever is an alternative to look at, seldom the answer: a coarser look will do.
        points = COARSE if lever.joint or len(self._targets) > 1 else COARSE - 2
        if len(options) <= 2 * COARSE:
            tried = list(range(len(options)))
        else:
            spread = np.linspace(0, len(options) - 1, points)
            tried = sorted({round(x) for x in spread} | {self._present(options)})
        self.try_all([{**base, **options[n]} for n in tried])
        scores = {n: self.miss({**base, **options[n]}) for n in tried}
        while len(options) > 2 * COARSE:
            best = min(scores, key=lambda n: scores[n])
            order = sorted(scores)
            at = order.index(best)
            around = [order[max(0, at - 1)], best, order[min(len(order) - 1, at + 1)]]
            new = {(around[0] + best) // 2, (best + around[2] + 1) // 2} - set(scores)
            if not new or len(scores) > 2 * points:
                break
            self.try_all([{**base, **options[n]} for n in new])
            scores |= {n: self.miss({**base, **options[n]}) for n in new}
        least = min(scores.values())
        good = [n for n in scores if scores[n] <= least + EQUAL]
        chosen = min(good, key=lambda n: change_size(self._model.tunables, {**base, **options[n]}))
        setting = {n: v for n, v in {**base, **options[chosen]}.items() if self._now[n] != v}
        return Found(lever.name, setting, scores[chosen], change_size(self._model.tunables, setting))

    def _present(self, options: Sequence[Setting]) -> int:
        return next((n for n, o in enumerate(options) if all(self._now[k] == v for k, v in o.items())), 0)

    def sure(self, towards: Sequence[Found]) -> Found | None:
        """Of all settings looked at, and of parts of the way `towards` some, the least loss that may be recommended.

        The search looks at some of the draws; what it finds is confirmed with all of them.
        """
        tunables = self._model.tunables
        on_the_way = [part_of(tunables, found.setting, part) for found in towards for part in PARTS]
        self.try_all(on_the_way)
        for setting in on_the_way:
            self.miss(setting)
        hopeful = [key for key, seen in self._known.items() if key and seen.sure]
        hopeful.sort(key=lambda key: (self._known[key].loss, key))
        now = misses(self._targets, self._model.figures({}, self._targets)) if hopeful else np.zeros(0)
        passed: list[Found] = []
        # Few of very many: the first ones, and then at even distances down to the last.
        some = hopeful[:3] + hopeful[3 :: max(1, len(hopeful) // MOST_CONFIRMED)]
        for key in some:
            if passed and self._known[key].loss > passed[0].miss + EQUAL:
                break
            if self._tick:
                self._tick()
            setting = dict(key)
            seen = against(now, misses(self._targets, self._model.figures(setting, self._targets)))
            if seen.sure:
                passed.append(Found("sure", setting, self._known[key].loss, change_size(tunables, setting)))
        return min(passed, key=lambda found: found.size, default=None)

    def best(self, levers: Sequence[Lever], rounds: int = 2) -> tuple[Found, list[Found]]:
        """The best of all, and the best of each lever alone, the least miss first."""
        nothing = Found("nothing", {}, self.miss({}), 0.0)
        single = sorted((self.along(lever, {}) for lever in levers), key=_by_miss)
        single = [found for found in single if found.setting]
        best = min([nothing, *single], key=_by_miss)
        # One target asks for one figure: single segments need not be told apart.
        joint = [lever for lever in levers if lever.joint or len(self._targets) > 1]
        for _ in range(rounds if best.setting else 0):
            before = best.miss
            for lever in joint:
                trial = self.along(lever, best.setting)
                # Another lever must be worth its while.
                if trial.miss < best.miss - 2 * EQUAL:
                    best = Found(
                        f"{best.lever} + {lever.name}" if lever.name != best.lever else best.lever,
                        trial.setting,
                        trial.miss,
                        trial.size,
                    )
            if before - best.miss < 2 * EQUAL:
                break
        return best, single


def _by_miss(found: Found) -> tuple[float, float]:
    return found.miss, found.size
