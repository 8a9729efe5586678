"""What if: the prediction for any setting, a map over two levers, and how much the assumptions matter."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from analysis.models.data import Tunable
from analysis.models.hazard import Priors
from analysis.models.setting import Setting
from analysis.models.staged import StagedModel, fit_staged
from analysis.models.targets import Levers, Target
from analysis.models.trials import TrialModel, TrialPriors, fit_trials
from analysis.tuning.proposal import Prediction
from analysis.tuning.ranking import prediction
from analysis.tuning.search import OutcomeModel, movable, nearest

AS_THEY_ARE = "as they are"
_ALL = Levers()


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


def predict(
    model: OutcomeModel, setting: Setting, targets: Sequence[Target], players: int = 0
) -> tuple[Prediction, ...]:
    """Each target's prediction under `setting` (tunable name -> value; what is left out stays as it is).

    players: size of the next playtest, for the interval of its count; 0: none. Uses a third of the draws, for speed;
    a proposal uses them all. Raises KeyError for a tunable that the game does not have.
    """
    known = {t.name for t in model.tunables}
    for name in setting:
        if name not in known:
            raise KeyError(name)
    figures = model.figures(setting, targets, quick=True)
    return tuple(prediction(f, t, players) for f, t in zip(figures, targets, strict=True))


def slider_values(tunable: Tunable, most: int = 41) -> tuple[int, ...]:
    """Values for a slider: all that the firmware can hold, or of very many, evenly spread ones."""
    values = tunable.holdable
    if len(values) <= most:
        chosen = set(values)
    else:
        chosen = {values[round(n * (len(values) - 1) / (most - 1))] for n in range(most)}
    return tuple(sorted(chosen | {tunable.value}))


def outcome_map(
    model: OutcomeModel,
    target: Target,
    across: str,
    up: str,
    points: int = 9,
    base: Setting | None = None,
    wishes: Levers = _ALL,
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
            drawn = model.figures({**(base or {}), across: first, up: second}, [target], quick=True)[0]
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
    model: OutcomeModel,
    setting: Setting,
    targets: Sequence[Target],
    tick: Callable[[float], None] = lambda share: None,
) -> list[Sensitivity]:
    """The predictions, fitted again with each assumption changed in turn; the first row of a target is unchanged.

    For staged games, falling blocks and one-shot games; an empty list for other models, where the data outweigh what
    is assumed. tick: called with the share done as it goes on; it may raise to stop.
    """
    fits: Mapping[str, Callable[[], OutcomeModel]]
    if isinstance(model, StagedModel):
        fits = {name: partial(fit_staged, model.data, priors) for name, priors in _staged_cases().items()}
    elif isinstance(model, TrialModel):
        fits = {name: partial(fit_trials, model.data, priors) for name, priors in _trial_cases().items()}
    else:
        return []
    rows = []
    for done, (name, fit) in enumerate(fits.items()):
        tick(done / len(fits))
        fitted = fit()
        usable = [t for t in targets if fitted.knows(t)]
        before, after = predict(fitted, {}, usable), predict(fitted, setting, usable)
        rows += [Sensitivity(name, t.name, a, b) for t, a, b in zip(usable, before, after, strict=True)]
    return rows


def _staged_cases() -> Mapping[str, Priors]:
    plain = Priors()
    return {
        AS_THEY_ARE: plain,
        "the rate acts in exact proportion": replace(plain, exponent=(1.0, 0.02)),
        "the rate may act far more or less": replace(plain, exponent=(1.0, 0.9)),
        "practice helps nobody": replace(plain, learning=(0.0, 0.02)),
        "players may differ twice as much": replace(plain, sigma_scale=2 * plain.sigma_scale),
        "segments are nearly alike": replace(plain, walk_sd=0.15, own_sd=0.1),
    }


def _trial_cases() -> Mapping[str, TrialPriors]:
    plain = TrialPriors()
    return {
        AS_THEY_ARE: plain,
        "speed matters half as much": replace(plain, slope=(plain.slope[0] / 2, 0.05)),
        "speed may matter far more or less": replace(plain, slope=(plain.slope[0], 2 * plain.slope[1])),
        "practice helps nobody": replace(plain, learning=(0.0, 0.02)),
        "players may differ twice as much": replace(plain, sigma_scale=2 * plain.sigma_scale),
    }
