"""How a rate that was picked for being the highest compares with the rest."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.estimate import Estimate
from analysis.stats.picked import picked_part
from analysis.stats.players.log_rate_ratio import LogRateRatio
from analysis.stats.players.parts import part_against_rest
from analysis.words import amount, limits

Array = np.ndarray


@dataclass(frozen=True)
class Highest:
    """The part with the highest rate. found: against the others, players held apart, limits corrected for their number;
    drawn: the log of the same, drawn towards the mean of the parts; None where that cannot be.
    """

    found: LogRateRatio | None
    drawn: Estimate | None

    @property
    def ratio(self) -> Estimate:
        """How many times as often the same players die in it as elsewhere; no value where that cannot be told."""
        if self.drawn is not None:
            return self.drawn.exp("times")
        return self.found.ratio if self.found else Estimate(None, unit="times")

    @property
    def doubtful(self) -> bool:
        """Whether it may be the highest by chance."""
        if self.found is None:
            return True
        return any(one.low is None or one.low <= 1 for one in (self.found.ratio, self.ratio))

    def rate(self, seen: Estimate) -> Estimate:
        """The rate of the part as it is to be expected again: less than was seen, as far as the ratio is less.

        As it was seen where it may be the highest by chance: a part called the fastest would be slower than the others.
        """
        if self.found is None or self.drawn is None or self.doubtful:
            return seen
        return seen.times(float(np.exp((self.drawn.value or 0.0) - self.found.value)), seen.unit)


def highest_part(events: Array, exposure: Array, part: Array, of: object, player: Array) -> Highest:
    """Of the part `of`, which had the highest rate; as for `part_against_rest`."""
    found = part_against_rest(events, exposure, part, of, player)
    return Highest(found, picked_part(events, exposure, part, of, player) if found is not None else None)


def against_rest(highest: Highest, here: str, elsewhere: str, parts: str) -> str:
    """How the rate compares with the same players' elsewhere, to follow a sentence; parts: how many, in words."""
    if highest.found is None:
        return f"; {elsewhere} the same players hardly died or never were, so the two cannot be compared"
    ratio = highest.ratio
    interval = limits(ratio)
    if highest.drawn is not None:
        both = "" if highest.doubtful else "both "
        interval = f"{interval[:-1]}; {both}drawn towards the mean, for it was picked of {parts})"
    elif ratio.low is not None:
        interval = f"{interval[:-1]}, corrected for {parts})"
    chance = ", which may be chance" if highest.doubtful else ""
    return f"; {here} the same players die {amount(ratio.value)} times as often as {elsewhere} {interval}{chance}"
