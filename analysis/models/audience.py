"""Who the audience is, against the people who played: by how much its danger may differ from theirs.

d is the mean ln danger (deaths a second alive) of the audience less that of people like the testers, d ~ N(mean, sd).
No playtest shows it: it is told by how the testers were found. The figures are common sense, without a source
(tests/closed_loop/tuning/MEASURED.md says what they did in simulated worlds).
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ingest.vocabulary import Recruitment

# Successive multiples of it, modulo 1, fill 0 to 1 evenly; of the roots up to 400 tried, every third and fourth of
# 240 do so too with this one to within a hundredth of the spread.
_STRIDE = 125**0.5


@dataclass(frozen=True)
class Shift:
    """What is taken of d."""

    mean: float = 0.0
    sd: float = 0.0

    def draws(self, count: int) -> np.ndarray:
        """(count,) of d: evenly spread quantiles in an order of its own, so that a few hundred draws have its mean and
        spread whichever regular part of them is used."""
        return self.mean + self.sd * ndtri((0.5 + np.arange(count) * _STRIDE) % 1)


LIKE_TESTERS = Shift()
# Whose audience dies a third more or a third less often than people like the testers.
THIRD_MORE, THIRD_LESS = Shift(float(np.log(4 / 3))), Shift(float(np.log(2 / 3)))
_SHIFTS = {
    Recruitment.AUDIENCE: Shift(0.0, 0.1),
    Recruitment.VOLUNTEERS: Shift(0.15, 0.25),
    Recruitment.FRIENDS: Shift(0.3, 0.3),
    # Who comes to a playtest without having been drawn is oftener better than the audience than worse; to take such
    # testers for the audience does harm, to take the audience for such testers costs caution (MEASURED.md).
    Recruitment.UNKNOWN: Shift(0.3, 0.3),
}


def shift_of(testers: Recruitment) -> Shift:
    """What is taken of d where the testers were found so."""
    return _SHIFTS[testers]
