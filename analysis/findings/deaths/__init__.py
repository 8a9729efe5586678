"""Where, of what and how players die."""

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import NO_RUNS, nothing, read_basis
from analysis.findings.deaths import causes_and_stages, circumstances, death_map
from analysis.reader import Reader
from analysis.selection import Selection

QUESTION = "deaths"


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The findings on deaths; one that says why where there can be none."""
    basis = read_basis(reader, selection)
    if not basis.runs:
        return [nothing(QUESTION, NO_RUNS)]
    death = reader.ask_chosen("deaths", selection)
    if "death" not in basis.roles and not death["life_id"].size:
        return [nothing(QUESTION, "No event of this game has the role `death`.", basis)]
    if not death["life_id"].size:
        return [nothing(QUESTION, f"Nobody died in {basis.size}.", basis)]
    found = [causes_and_stages.causes(death, basis)]
    if "stage_start" in basis.roles:  # without, all is one stage that nobody named
        found.append(causes_and_stages.by_stage(reader, selection, basis))
    if (np.isfinite(death["x"]) & np.isfinite(death["y"])).any():
        whole, *parts = death_map.find(reader, selection, death, basis)
        found = [whole, *found, *parts]
    else:
        found = [death_map.without_place(death, basis), *found]
    return found + circumstances.find(reader, selection, death, basis)
