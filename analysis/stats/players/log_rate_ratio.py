"""How a rate changes with one more of something, on the log scale."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.estimate import Estimate


@dataclass(frozen=True)
class LogRateRatio(Estimate):
    """How the log rate of events changes with one more of a covariate. No limits where fewer than two players have
    events at more than one value of it."""

    value: float  # there always is one

    @property
    def ratio(self) -> Estimate:
        """How many times the rate it becomes."""
        return self.exp("times")

    @property
    def per_doubling(self) -> Estimate:
        """The same for a covariate that is a logarithm: with twice as much, 0.9 is a tenth fewer."""
        return self.times(float(np.log(2)), "").exp("times")
