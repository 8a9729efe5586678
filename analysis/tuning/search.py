"""Finds the setting with the least expected loss among those the firmware can hold."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.levers import lever_of
from analysis.models.data import Tunable
from analysis.models.fitted import Fitted
from analysis.models.moves import Move, nearest
from analysis.models.setting import Setting, values_of
from analysis.models.targets import Target
from analysis.tuning.edges import Reached, too_small

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


@dataclass(frozen=True)
class Found:
    """A setting (only what differs from now), with its expected loss in shares, and the size of the change.

    moves: what was moved for it, one after the other.
    """

    moves: tuple[str, ...]
    setting: Setting
    miss: float
    size: float


@dataclass(frozen=True)
class Against:
    """A setting against no change: loss and expected gain in shares, chances of being better and of HARM.

    small: it moves no target by as much as its tolerance.
    """

    loss: float
    gain: float
    better: float
    harm: float
    small: bool = False

    @property
    def sure(self) -> bool:
        """May it be recommended?"""
        worth = self.gain >= WORTHWHILE and not self.small
        return self.better >= SURE_ENOUGH and self.harm <= MOST_HARM and worth

    @property
    def nearly(self) -> bool:
        """May it be sure, by more draws than these? Of a few dozen, twice the most harm is within chance."""
        return replace(self, better=self.better + MOST_HARM, harm=self.harm / 2).sure


def against(targets: Sequence[Target], now: np.ndarray, then: np.ndarray) -> Against:
    """The figures (targets, draws) under a setting against those as things are, draw by draw. Ties count half."""
    small = too_small(targets, now, then)
    now, then = misses(targets, now), misses(targets, then)
    gain = now - then
    better = float((gain > 0).mean() + 0.5 * (gain == 0).mean())
    loss = float((then + REGRET * np.maximum(-gain, 0)).mean())
    return Against(loss, float(gain.mean()), better, float((gain < -HARM).mean()), small)


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
        if _by_ratio(tunable) and value > 0 and tunable.value > 0:
            sizes.append(abs(math.log(value / tunable.value)))
        else:
            sizes.append(abs(value - tunable.value) / max(1, tunable.high - tunable.low))
    return sum(sizes) / len(sizes) + 0.05 * len(sizes) if sizes else 0.0


def _by_ratio(tunable: Tunable) -> bool:
    lever = lever_of(tunable.role)
    return lever is not None and lever.by_ratio


def part_of(tunables: Sequence[Tunable], setting: Setting, part: float) -> Setting:
    """`part` of the way from the present values to `setting`, in what the firmware can hold."""
    made = {}
    for tunable in tunables:
        value, now = setting.get(tunable.name, tunable.value), tunable.value
        if value == now:
            continue
        if _by_ratio(tunable) and value > 0 and now > 0:
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
        self,
        model: Fitted,
        targets: Sequence[Target],
        tick: Callable[[], None] | None = None,
        stands: Callable[[Setting], bool] = lambda setting: True,
        moves: Sequence[Move] = (),
    ):
        """stands: whether a setting may be recommended for reasons of its own. moves: what counts as one knob."""
        self._turns = {move.name: {name for option in move.options for name in option} for move in moves}
        self._stands = stands
        self._finer: tuple[Fitted, np.ndarray] | None = None
        self._sure_of: dict[tuple[tuple[str, int], ...], Against] = {}
        self._model, self._targets, self._tick = model, tuple(targets), tick
        self._now = values_of(model.tunables)
        self._known: dict[tuple[tuple[str, int], ...], Against] = {}
        self.reached = Reached(self._targets)
        self._as_it_is = model.figures({}, self._targets, quick=True)

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
        self.reached.note(figures)
        return against(self._targets, self._as_it_is, figures)

    def try_all(self, settings: Sequence[Setting]) -> None:
        """Computes what is not yet known of `settings`, in one pass where the model can."""
        keys = {tuple(sorted((n, v) for n, v in s.items() if self._now[n] != v)) for s in settings}
        fresh = sorted(keys - set(self._known))
        if len(fresh) < 2:
            return
        if self._tick:
            self._tick()
        drawn = self._model.figures_many([dict(k) for k in fresh], self._targets, quick=True)
        for key, figures in zip(fresh, drawn, strict=True):
            self._known[key] = self._against(figures)

    def along(self, move: Move, base: Setting) -> Found:
        """The best option of one move, the rest as in `base`: a coarse look, then closer around the best."""
        options, points, tried = move.options, self._points(move), self._coarse(move)
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
        return Found((move.name,), setting, scores[chosen], change_size(self._model.tunables, setting))

    def _points(self, move: Move) -> int:
        """How many options are looked at first. A single segment's own tunable is an alternative to look at, seldom the
        answer: a coarser look will do."""
        return COARSE if move.joint or len(self._targets) > 1 else COARSE - 2

    def _coarse(self, move: Move) -> list[int]:
        """The options of a move that are looked at first."""
        if len(move.options) <= 2 * COARSE:
            return list(range(len(move.options)))
        spread = np.linspace(0, len(move.options) - 1, self._points(move))
        return sorted({round(x) for x in spread} | {self._present(move.options)})

    def _present(self, options: Sequence[Setting]) -> int:
        return next((n for n, o in enumerate(options) if all(self._now[k] == v for k, v in o.items())), 0)

    def knobs(self, setting: Setting) -> tuple[str, ...]:
        """What a setting turns: the fewest moves that turn all of it; a tunable of no move is a knob of its own."""
        left, found = {name for name, value in setting.items() if self._now[name] != value}, []
        # Of moves that turn as much of it, the one that turns least besides.
        turns = sorted(self._turns, key=lambda move: len(self._turns[move]))
        while left:
            move = max(turns, key=lambda move: len(left & self._turns[move]), default="")
            if not left & self._turns.get(move, set()):
                move = min(left)
            found.append(move)
            left -= self._turns.get(move, {move})
        return tuple(sorted(found, key=[*self._turns, *found].index))

    def by_knobs(self, towards: Sequence[Found]) -> dict[int, Found]:
        """As `sure`, of any number of knobs and of each fewer: number of knobs -> setting, the fewest first."""
        first = self.sure(towards)
        if first is None:
            return {}
        found = {len(self.knobs(first.setting)): first}
        for most in range(1, len(self.knobs(first.setting))):
            fewer = self.sure([one for one in towards if len(self.knobs(one.setting)) <= most], most)
            if fewer:
                found.setdefault(len(self.knobs(fewer.setting)), fewer)
        return dict(sorted(found.items()))

    def fewest(self, found: Mapping[int, Found]) -> Found | None:
        """Of `by_knobs`, the fewest knobs of which more gain nothing that is clear.

        Clear is what a change must be against none: likely nearer, hardly ever farther, and large enough to be seen.
        """
        if not found:
            return None
        *fewer, first = found.values()
        then = self._model.figures(first.setting, self._targets)
        for one in fewer:
            if not against(self._targets, self._model.figures(one.setting, self._targets), then).sure:
                return one
        return first

    def sure(self, towards: Sequence[Found], most: int | None = None) -> Found | None:
        """Of all settings looked at, and of parts of the way `towards` some, the least loss that may be recommended.

        The search looks at some of the draws; what it finds is confirmed with many more. most: knobs; None: any number.
        """
        tunables = self._model.tunables
        on_the_way = [part_of(tunables, found.setting, part) for found in towards for part in PARTS]
        self.try_all(on_the_way)
        for setting in on_the_way:
            self.miss(setting)
        # The best of a move is shown beside what is recommended: the luck of few draws must not keep it out.
        best = {tuple(sorted(found.setting.items())) for found in towards}
        hopeful = [key for key, seen in self._known.items() if key and (seen.sure or (seen.nearly and key in best))]
        if most is not None:
            hopeful = [key for key in hopeful if len(self.knobs(dict(key))) <= most]
        hopeful.sort(key=lambda key: (self._known[key].loss, key))
        passed: list[Found] = []
        # Few of very many: the first ones, and then at even distances down to the last.
        some = hopeful[:3] + hopeful[3 :: max(1, len(hopeful) // MOST_CONFIRMED)]
        self.try_all([less for key in some for less in _each_left_alone(dict(key))])
        for key in some:
            if passed and self._known[key].loss > passed[0].miss + EQUAL:
                break
            if self._tick:
                self._tick()
            setting = dict(key)
            # What takes longest comes last.
            if self._needed(setting) and self._stands(setting) and self.confirmed(setting).sure:
                passed.append(Found((), setting, self._known[key].loss, change_size(tunables, setting)))
        # What comes on top of another that does as well is left out.
        lean = [one for one in passed if not any(other.setting.items() < one.setting.items() for other in passed)]
        return min(lean, key=lambda found: found.size, default=None)

    def _needed(self, setting: Setting) -> bool:
        """Whether no value is changed that were better left alone.

        What may be recommended must do no harm with other audiences either. That is no reason to make a stage harder
        so that the rest of the change may be larger.
        """
        return all(self.miss(less) >= self.miss(setting) - EQUAL for less in _each_left_alone(setting))

    def confirmed(self, setting: Setting) -> Against:
        """A setting against no change, by so many draws that their luck hardly matters."""
        key = tuple(sorted(setting.items()))
        if key not in self._sure_of:
            if self._finer is None:
                model = self._model.finer()
                self._finer = model, model.figures({}, self._targets)
            model, now = self._finer
            then = model.figures(setting, self._targets) if setting else now
            self._sure_of[key] = against(self._targets, now, then)
        return self._sure_of[key]

    def best(self, moves: Sequence[Move], rounds: int = 2) -> tuple[Found, list[Found]]:
        """The best of all, and the best of each move alone, the least miss first."""
        nothing = Found((), {}, self.miss({}), 0.0)
        self.try_all([move.options[n] for move in moves for n in self._coarse(move)])
        single = sorted((self.along(move, {}) for move in moves), key=_by_miss)
        single = [found for found in single if found.setting]
        best = min([nothing, *single], key=_by_miss)
        # One target asks for one figure: single segments need not be told apart.
        joint = [move for move in moves if move.joint or len(self._targets) > 1]
        for _ in range(rounds if best.setting else 0):
            before = best.miss
            for move in joint:
                trial = self.along(move, best.setting)
                # Another move must be worth its while.
                if trial.miss < best.miss - 2 * EQUAL:
                    best = replace(trial, moves=_and(best.moves, move.name))
            if before - best.miss < 2 * EQUAL:
                break
        return best, single

    def with_two(self, moves: Sequence[Move], single: Sequence[Found]) -> Found | None:
        """The best setting with one more move on top of the best single one; None where none gains."""
        if not single:
            return None
        joint = [move for move in moves if move.joint and move.name not in single[0].moves]
        pairs = [replace(self.along(m, single[0].setting), moves=(*single[0].moves, m.name)) for m in joint]
        best = min(pairs, key=_by_miss, default=single[0])
        return best if best.miss < single[0].miss - 2 * EQUAL else None


def _each_left_alone(setting: Setting) -> list[Setting]:
    """A setting with each of its values left alone in turn; none of a single value."""
    return [{n: v for n, v in setting.items() if n != name} for name in setting] if len(setting) > 1 else []


def _and(moves: tuple[str, ...], name: str) -> tuple[str, ...]:
    return moves if name in moves else (*moves, name)


def _by_miss(found: Found) -> tuple[float, float]:
    return found.miss, found.size
