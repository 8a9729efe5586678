"""The smallest model there can be: one tunable, and a share that is a line in the logit; for tests of proposals."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, ndtri

from analysis.models.audience import LIKE_TESTERS, Shift
from analysis.models.data import Build, Tunable
from analysis.models.fitted import Fitted
from analysis.models.fitting.sampling import Sampling
from analysis.models.moves import Move
from analysis.models.observed import Observed
from analysis.models.targets import Outcome, Target

DRAWS = 240
EASE = Tunable("ease", None, 50, 0, 100, 1)


def wish(wanted: float, tolerance: float = 0.05, name: str = "finish") -> Target:
    """A share of runs that finish."""
    return Target(name, Outcome.FINISH, wanted, tolerance)


@dataclass(frozen=True)
class Line(Fitted):
    """logit of the share = level + offset + slope (ease - 50) - d; the level is known to within `doubt`.

    offsets: of targets, by their names.
    """

    level: float = 0.0
    slope: float = 0.04
    doubt: float = 0.1
    people: int = 12
    deaths: int = 40
    tunable: Tunable = EASE
    offsets: tuple[tuple[str, float], ...] = ()
    shift: Shift = LIKE_TESTERS

    method = "tuning.staged"
    roles = ()
    more, less = "it dies a third more often", "it dies a third less often"

    def for_audience(self, shift: Shift) -> "Line":
        return replace(self, shift=shift)

    @property
    def build(self) -> Build:
        return Build("1.0", "", (self.tunable,))

    @property
    def acting(self) -> tuple[Tunable, ...]:
        return (self.tunable,)

    @property
    def players(self) -> int:
        return self.people

    @property
    def runs(self) -> int:
        return 3 * self.people

    @property
    def sampling(self) -> Sampling:
        return Sampling(DRAWS, DRAWS)

    def knows(self, target: Target) -> bool:
        return True

    def observed(self, target: Target) -> Observed:
        return Observed(0.5, self.people, self.runs)

    def figures(self, setting, targets, quick=False):
        at = (np.arange(DRAWS) * 97 % DRAWS + 0.5) / DRAWS
        level = self.level + self.doubt * ndtri(at) - self.shift.draws(DRAWS)
        level = level + self.slope * (setting.get(self.tunable.name, self.tunable.value) - self.tunable.value)
        own = dict(self.offsets)
        return np.array([expit(level + own.get(t.name, 0.0))[:: 4 if quick else 1] for t in targets])

    def moves(self, wishes, targets):
        t = self.tunable
        return (Move(t.name, tuple({t.name: value} for value in t.holdable), joint=True),)
