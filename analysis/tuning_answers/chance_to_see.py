"""Whether the people one has could show that a proposed change does anything."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.models.audience import LIKE_TESTERS
from analysis.tuning.playtest_plan import power_of
from analysis.tuning.proposal import Way
from analysis.words import counted, percent

if TYPE_CHECKING:
    from analysis.tuning_answers.tuning_answer import TuningAnswer

# Fewer on each build can show nothing.
_FEWEST_EACH = 2


@dataclass(frozen=True)
class Seen:
    """With `players`, half of them on each build, `way` shows in `target` with this chance: the interval of the
    difference then leaves out zero."""

    way: str
    target: str
    players: int
    chance: float

    def __str__(self) -> str:
        return (
            f"With the {counted(self.players, 'person', 'people')} you have, half on each build, a change of this size "
            f"shows with a chance of {percent(self.chance)}"
        )


def chance_to_see(answer: "TuningAnswer", way: Way) -> Seen | None:
    """For the first target of `way` that is a share; None where there is none, or too few have played."""
    setting = {change.tunable: change.proposed for change in way.changes}
    names = [t.target for t in way.targets]
    for model in answer.fitted:
        for target in (t for t in model.asked(answer.targets) if t.name in names):
            each = model.players // 2
            if each < _FEWEST_EACH or not {t.name for t in model.tunables} >= set(setting):
                continue
            found = power_of(model.for_audience(LIKE_TESTERS), target, {}, setting, (each,))
            if found:
                return Seen(way.id, target.name, model.players, found[0].chance)
    return None
