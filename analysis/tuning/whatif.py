"""What if: the prediction for any setting, a map over two levers, and how much the assumptions matter."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.models.data import Tunable
from analysis.models.fitted import Fitted
from analysis.models.moves import movable, nearest
from analysis.models.setting import Setting
from analysis.models.targets import Changeable, Target
from analysis.tuning.proposal import Prediction
from analysis.tuning.ranking import prediction

_ALL = Changeable()
_SLIDER = 41  # places of a slider, at most


@dataclass(frozen=True)
class OutcomeMap:
    """A target's figure over two tunables. figure[i][j] is at across[i], up[j]; likewise chance_close."""

    target: str
    across_name: str
    up_name: str
    across: tuple[int, ...]
    up: tuple[int, ...]
    figure: np.ndarray
    chance_close: np.ndarray


@dataclass(frozen=True)
class Sensitivity:
    """A target's prediction under one changed assumption; the first is with the assumptions as they are."""

    assumption: str
    target: str
    now: Prediction
    then: Prediction


def predict(model: Fitted, setting: Setting, targets: Sequence[Target]) -> tuple[Prediction, ...]:
    """Each target's prediction under `setting` (tunable name -> value; what is left out stays as it is).

    Uses a third of the draws, for speed; a proposal uses them all. Raises KeyError for a tunable that the game does not
    have.
    """
    known = {t.name for t in model.tunables}
    for name in setting:
        if name not in known:
            raise KeyError(name)
    figures = model.figures(setting, targets, quick=True)
    return tuple(prediction(f, t, 0) for f, t in zip(figures, targets, strict=True))


def slider_values(tunable: Tunable) -> tuple[int, ...]:
    """Values for a slider: all that the firmware can hold, or of very many, evenly spread ones."""
    values = tunable.holdable
    if len(values) <= _SLIDER:
        chosen = set(values)
    else:
        chosen = {values[round(n * (len(values) - 1) / (_SLIDER - 1))] for n in range(_SLIDER)}
    return tuple(sorted(chosen | {tunable.value}))


def outcome_map(
    model: Fitted,
    target: Target,
    across: str,
    up: str,
    points: int = 9,
    wishes: Changeable = _ALL,
    tick: Callable[[float], None] = lambda share: None,
) -> OutcomeMap:
    """The target's median figure over a grid of two tunables' values around the present ones.

    wishes: which tunables may move, and how far. tick: called with the share done as it goes on; it may raise to stop.
    Raises KeyError for a tunable that the game does not have, or that may not move.
    """
    tunables = {t.name: t for t in movable(model.tunables, wishes)}
    a, b = _around(tunables[across], points), _around(tunables[up], points)
    figure = np.empty((len(a), len(b)))
    close = np.empty_like(figure)
    for i, first in enumerate(a):
        tick(i / len(a))
        for j, second in enumerate(b):
            drawn = model.figures({across: first, up: second}, [target], quick=True)[0]
            figure[i, j] = np.median(drawn)
            close[i, j] = np.mean(target.miss(drawn) <= target.tolerance)
    return OutcomeMap(target.name, across, up, a, b, figure, close)


def _around(tunable: Tunable, points: int) -> tuple[int, ...]:
    """Holdable values from a third to three times the present one, or the whole range of a short one."""
    values = tunable.holdable
    if len(values) <= points:
        return tuple(values)
    if tunable.value <= 0:
        spread = np.linspace(tunable.low, tunable.high, points)
    else:
        spread = tunable.value * np.geomspace(1 / 3, 3, points)
    return tuple(sorted({nearest(tunable, float(v)) for v in spread} | {tunable.value}))


def sensitivity(
    model: Fitted, setting: Setting, targets: Sequence[Target], tick: Callable[[float], None] = lambda share: None
) -> list[Sensitivity]:
    """The predictions, fitted again with each assumption changed in turn; the first row of a target is unchanged.

    tick: called with the share done as it goes on; it may raise to stop.
    """
    rows: list[Sensitivity] = []
    fits = model.otherwise()
    for done, (name, fit) in enumerate(fits.items()):
        tick(done / len(fits))
        fitted = fit()
        usable = [t for t in targets if fitted.knows(t)]
        before, after = predict(fitted, {}, usable), predict(fitted, setting, usable)
        rows += [Sensitivity(name, t.name, a, b) for t, a, b in zip(usable, before, after, strict=True)]
    return rows
