"""The console's own verdicts, under the game's own names for its grades.

timing.grades  grades: grade, name, verdicts, share, low, high (by player). "grade N" where the log names none.
"""

import numpy as np

from analysis.finding import Finding
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.proportions import share_by_player
from analysis.words import counted, percent

QUESTION = "timing"


def find(reader: Reader, selection: Selection, runs: int) -> list[Finding]:
    """One finding, or none where the console logs no verdicts with a grade."""
    c = reader.ask_chosen("timing_grades", selection)
    if not len(c["grade"]):
        return []
    players, player = np.unique(c["player"].astype(str), return_inverse=True)
    total = np.bincount(player, c["verdicts"], len(players))
    table: dict[str, list[object]] = {
        name: [] for name in ("grade", "name", "verdicts", "share", "low", "high")
    }
    said = []
    for grade in np.unique(c["grade"]):
        own = c["grade"] == grade
        count = np.bincount(player[own], c["verdicts"][own], len(players))
        share = share_by_player(count, total, np.arange(len(players)))
        label = next((str(x) for x in c["label"][own] if x is not None), f"grade {grade:.0f}")
        said.append(f"{label} {percent(share.value)}")
        row = (int(grade), label, int(count.sum()), share.value, share.low, share.high)
        for column, value in zip(table.values(), row, strict=True):
            column.append(np.nan if value is None else value)
    return [
        Finding(
            "timing.grades", QUESTION, "The console's own verdicts",
            f"Of {counted(total.sum(), 'verdict')} the console gave: {', '.join(said)}.", len(players), runs,
            "timing.grades", None, (), {"grades": table},
        )
    ]  # fmt: skip
