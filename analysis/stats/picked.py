"""What is to be expected of what may have been picked for how it came out: a group's mean, the highest of many."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.stats.estimate import LEVEL, Estimate, normal_critical, t_critical
from analysis.stats.players.parts import inside_against_outside

# Spreads of the true values that are thought possible, as parts of the widest one; and how wide that is.
_SPREADS = np.linspace(1e-3, 1.0, 400)
_WIDEST = 4.0
# Of places: logs of their ratios, and the middles and half widths of Cauchy's distribution that are thought possible.
_STEP = 0.05
_LOG_RATIO = np.arange(-5.0, 9.0, _STEP)
_MIDDLES, _WIDTHS = np.arange(-1.4, 0.5, 0.2), np.geomspace(0.15, 2.0, 8)


@dataclass(frozen=True)
class Ratios:
    """Of each cell how many times as often it happens as expected, drawn to what most cells have; (cells,) each.

    NaN where nothing is expected, and the limits too where all are of one player.
    """

    value: np.ndarray
    low: np.ndarray
    high: np.ndarray


def drawn_to_mean(
    value: np.ndarray, error: np.ndarray, which: int, level: float = LEVEL, prior: float = np.inf
) -> Estimate:
    """The true value of number `which` of several, with its interval, all alike beforehand: value ~ N(true, error^2),
    true ~ N(mean, spread^2).

    value, error: (n,), n of at least 2, errors above 0. The highest of several is high by chance too, however it was
    picked: the posterior does not care. `mean` is taken as unknown; `spread` is averaged over with the density of a
    half-normal of scale `prior`, inf: even. Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., section 5.4; so that
    no interval comes from one spread alone.
    """
    value, error = np.asarray(value, float), np.asarray(error, float)
    widest = _WIDEST * (prior if np.isfinite(prior) else max(float(np.ptp(value)), float(error.max())))
    spread = widest * _SPREADS[:, None]
    weight = 1 / (error**2 + spread**2)
    known = weight.sum(axis=1)
    mean = (weight * value).sum(axis=1) / known
    height = (np.log(weight) / 2 - weight * (value - mean[:, None]) ** 2 / 2).sum(axis=1) - np.log(known) / 2
    height -= (spread[:, 0] / prior) ** 2 / 2
    chance = np.exp(height - height.max())
    chance /= chance.sum()
    pull = error[which] ** 2 * weight[:, which]
    middle = value[which] + pull * (mean - value[which])
    sd = np.sqrt((1 - pull) * error[which] ** 2 + pull**2 / known)
    tails = []
    for share in ((1 - level) / 2, (1 + level) / 2):
        low, high = float((middle - 12 * sd).min()), float((middle + 12 * sd).max())
        for _ in range(80):
            half = (low + high) / 2
            low, high = (half, high) if chance @ special.ndtr((half - middle) / sd) < share else (low, half)
        tails.append((low + high) / 2)
    return Estimate(float(chance @ middle), tails[0], tails[1], level)


def picked_part(
    events: np.ndarray, exposure: np.ndarray, part: np.ndarray, of: object, player: np.ndarray, level: float = LEVEL
) -> Estimate | None:
    """The log of how many times as often a player has events in the part `of` as in all others, drawn to the mean.

    As for `parts.part_against_rest`, and each part likewise against the others. None where fewer than two parts,
    or not that one, can be compared. Parts differ by a factor e^1 at most in two of three games, it is thought.
    """
    names = np.unique(np.asarray(part)[np.asarray(exposure) > 0])
    every = {name: inside_against_outside(events, exposure, part == name, player, level) for name in names}
    known = {name: one for name, one in every.items() if one is not None and one.low is not None}
    if of not in known or len(known) < 2:
        return None
    value = np.array([one.value for one in known.values()])
    # The margins are Student's: a few players make the errors larger.
    error = np.array([(one.high or 0.0) - one.value for one in known.values()]) / normal_critical(level)
    return drawn_to_mean(value, error, list(known).index(of), level, prior=1.0)


def expected_of_picked(values: Sequence[np.ndarray], which: int) -> float:
    """The mean to be expected of the group `which` when it is measured again.

    values: of each group, one number a player; two groups at least. The lowest of several groups lies low by chance
    too, and comes out higher the next time by itself (Galton 1886, J. Anthropol. Inst. 15:246-263). Its mean is drawn
    towards that of all groups as far as groups differ by chance: empirical Bayes (Efron & Morris 1975, J. Am. Stat.
    Assoc. 70:311-319), the variance between groups by moments (DerSimonian & Laird 1986, Control. Clin. Trials
    7:177-188), that within groups pooled over them.
    """
    size = np.array([len(own) for own in values], dtype=float)
    mean = np.array([np.mean(own) for own in values])
    freedom = float((size - 1).sum())
    within = sum(float(((own - np.mean(own)) ** 2).sum()) for own in values) / freedom if freedom else 0.0
    if within == 0.0:
        return float(mean[which])
    weight = size / within
    spread = float((weight * (mean - np.average(mean, weights=weight)) ** 2).sum()) - (len(mean) - 1)
    between = max(0.0, spread / float(weight.sum() - (weight**2).sum() / weight.sum()))
    middle = float(np.average(mean, weights=1 / (between + 1 / weight)))
    return middle + between / (between + 1 / float(weight[which])) * (float(mean[which]) - middle)


def drawn_ratios(count: Sequence[np.ndarray], expected: Sequence[np.ndarray], level: float = LEVEL) -> list[Ratios]:
    """Of each cell of each part the ratio of events to expected ones, with intervals that hold for the highest too.

    count[i], expected[i]: (players, cells) of part i, all of its players and cells in one order. Events of a cell ~
    Poisson(expected ratio), ln ratio ~ Cauchy(middle, width), both averaged over: most cells are alike within a width,
    and one that is far from them is hardly drawn, as the tails are heavy (Dawid 1973, Biometrika 60:664-667). With a
    gamma distribution of the ratios, one hot cell among many that are alike is drawn much too far (METHODS.md). All
    counts weigh less by one dispersion, that of players within cells over Poisson's, and by the square of Student's
    quantile over the normal one: players differ in where they die. The value is the median.
    """
    number, mean = (np.concatenate([np.asarray(one, float).sum(axis=0) for one in of]) for of in (count, expected))
    use = mean > 0
    value, low, high = (np.full(number.size, np.nan) for _ in range(3))
    players = max((len(one) for one in count), default=0)
    if use.any():
        worth = _worth(count, expected, level)
        value[use], low[use], high[use] = _posterior((worth * number)[use], (worth * mean)[use], level)
    if players < 2:
        low, high = np.full_like(low, np.nan), np.full_like(high, np.nan)
    ends = np.cumsum([np.shape(one)[1] for one in count])[:-1]
    return [Ratios(*own) for own in zip(*(np.split(of, ends) for of in (value, low, high)), strict=True)]


def _worth(count: Sequence[np.ndarray], expected: Sequence[np.ndarray], level: float) -> np.ndarray:
    """(cells of all parts,) how many independent events one event there is worth, at most 1.

    A player's own ratio in a cell varies around the cell's with one variance everywhere, found by moments.
    """
    number, even, beyond = [], [], 0.0
    for events, mean in zip(count, expected, strict=True):
        whole, total = mean.sum(axis=0), np.sum(events, axis=0)
        part = mean / np.where(whole > 0, whole, 1.0)
        even.append(np.sum(part**2, axis=0))
        number.append(total)
        beyond += float(np.sum((events - total * part) ** 2) - total @ (1 - even[-1]))
    total, alike = np.concatenate(number), np.concatenate(even)
    pairs = float((total * (total - 1) * alike) @ (1 - alike))
    players = max((len(one) for one in count), default=0)
    if players < 2:
        return np.ones(total.size)
    variance = max(beyond, 0.0) / pairs if pairs > 0 else 0.0
    return (normal_critical(level) / t_critical(level, players - 1)) ** 2 / (1 + variance * total * alike)


def _posterior(count: np.ndarray, expected: np.ndarray, level: float) -> np.ndarray:
    """(3, cells): median and limits of each cell's ratio."""
    edge = np.append(_LOG_RATIO - _STEP / 2, _LOG_RATIO[-1] + _STEP / 2)
    middle, width = (axis.ravel()[:, None] for axis in np.meshgrid(_MIDDLES, _WIDTHS))
    prior = np.diff(np.arctan((edge - middle) / width), axis=1) / np.pi
    height = count[:, None] * _LOG_RATIO - expected[:, None] * np.exp(_LOG_RATIO)
    likely = np.exp(height - height.max(axis=1, keepdims=True))
    seen = np.maximum(likely @ prior.T, 1e-300)
    # Widths alike beforehand up to about 1: a half-normal, as for the parts of a game.
    chance = np.log(seen).sum(axis=0) + (np.log(np.gradient(_WIDTHS)) - _WIDTHS**2 / 2).repeat(_MIDDLES.size)
    chance = np.exp(chance - chance.max())
    after = np.cumsum((chance / seen) @ prior * likely, axis=1)
    after = np.c_[np.zeros(len(after)), after / after[:, -1:]]
    tail = (1 - level) / 2
    return np.exp([[np.interp(at, own, edge) for own in after] for at in (0.5, tail, 1 - tail)])
