"""Who the players are, how they learn, who gives up after what, what they say, and what their consoles do to them."""

from dataclasses import replace

from analysis.finding import Finding
from analysis.findings.basis import NO_RUNS, nothing, read_basis
from analysis.findings.players import console_faults, giving_up, player_ratings, skill
from analysis.reader import Reader
from analysis.selection import Selection

QUESTION = "players"


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The findings on players; one that says why where there can be none."""
    basis = read_basis(reader, selection)
    if not basis.runs:
        return [nothing(QUESTION, NO_RUNS)]
    dying = "death" in basis.roles
    # Without deaths nothing can be said of skill here, and nothing drawn: that comes last.
    found = [skill.differences(basis), skill.learning(basis)] if dying else [giving_up.find(reader, selection, basis)]
    found.append(skill.groups(read_basis(reader, replace(selection, include_team=True)), basis))
    found.append(giving_up.find(reader, selection, basis) if dying else skill.differences(basis))
    rated = reader.ask_chosen("rating_runs", selection)
    if rated["run_id"].size:
        found.append(player_ratings.find(rated, basis))
    return found + console_faults.find(reader, selection, basis)
