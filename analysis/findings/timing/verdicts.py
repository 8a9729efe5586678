"""The console's own verdicts, under the game's own names for its grades."""

import numpy as np

from analysis.finding import Finding
from analysis.findings.declared import Column, Declared, Size, estimate_cells, estimate_columns
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.proportions import share_by_player
from analysis.words import counted, percent

GRADES = Declared(
    "timing.grades",
    "timing",
    "The console's own verdicts",
    "timing.grades",
    {
        "grades": (
            Column("grade", "", "number of the grade"),
            Column("name", "", "what the game calls it; `grade N` where the log names none"),
            Column("verdicts", "", "verdicts of that grade"),
            *estimate_columns("share", "share", "of all verdicts"),
        )
    },
)


def find(reader: Reader, selection: Selection, runs: int) -> list[Finding]:
    """One finding, or none where the console logs no verdicts with a grade."""
    c = reader.ask_chosen("timing_grades", selection)
    if not len(c["grade"]):
        return []
    players, player = np.unique(c["player"], return_inverse=True)
    total = np.bincount(player, c["verdicts"], len(players))
    rows, said = [], []
    for grade in np.unique(c["grade"]):
        own = c["grade"] == grade
        count = np.bincount(player[own], c["verdicts"][own], len(players))
        share = share_by_player(count, total, np.arange(len(players)))
        label = next((str(x) for x in c["label"][own] if x is not None), f"grade {grade:.0f}")
        said.append(f"{label} {percent(share.value)}")
        rows.append(
            {"grade": int(grade), "name": label, "verdicts": int(count.sum()), **estimate_cells("share", share)}
        )
    sentence = f"Of {counted(total.sum(), 'verdict')} the console gave: {', '.join(said)}."
    return [GRADES.finding(Size(len(players), runs), sentence, tables={"grades": rows})]
