"""How long players last.

A life runs from (re)spawn, or from entering the chosen stage, to the death; what ends otherwise (stage or game
finished, quit, log cut) is censored there. Times are seconds alive: pauses and waiting to respawn do not count.
"""

from analysis.finding import Finding
from analysis.findings.basis import NO_RUNS, nothing, read_basis
from analysis.findings.survival import axes, build_pairs, lives, progress_through_stages, risks
from analysis.reader import Reader
from analysis.selection import Selection

QUESTION = "survival"


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The findings on survival; one that says why where there can be none."""
    basis = read_basis(reader, selection)
    if not basis.runs:
        return [nothing(QUESTION, NO_RUNS)]
    life = reader.ask_chosen("lives", selection, by_stage=False)
    found = []
    if "death" in basis.roles and life["run_id"].size:
        found += [lives.whole(life, basis), lives.hazard(life, basis)]
    if "stage_start" in basis.roles:  # without, all is one stage that nobody named
        found.append(progress_through_stages.funnel(reader.ask_chosen("stage_visits", selection), basis))
    found.append(progress_through_stages.ends(basis))
    if "death" in basis.roles and life["run_id"].size:
        found += lives.by_stage(reader.ask_chosen("lives", selection, by_stage=True), basis)
        found += lives.by_group(life, basis)
        found += build_pairs.find(reader, selection, life, basis) + risks.find(reader, selection, basis)
    return found + axes.find(reader, selection, basis)
