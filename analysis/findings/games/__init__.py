"""What each kind of game asks beyond deaths and survival. A game is asked what its logged roles allow.

Rhythm games have their own question, `timing`. `side_by_side` is asked of several games at once.
"""

from analysis.finding import Finding
from analysis.findings.basis import NO_RUNS, nothing, read_basis
from analysis.findings.games import blocks, bosses_and_tiers, one_shot
from analysis.game_kind import Part, read_kind
from analysis.reader import Reader
from analysis.selection import Selection

QUESTION = "genres"


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The findings on the kinds of games that the game's roles speak of; one that says so where there are none."""
    basis = read_basis(reader, selection)
    if not basis.runs:
        return [nothing(QUESTION, NO_RUNS)]
    found: list[Finding] = []
    parts = read_kind(reader, selection).parts
    if Part.STAGED in parts:
        found += bosses_and_tiers.find(reader, selection, basis)
    if Part.BLOCKS in parts:
        found += blocks.find(reader, selection, basis)
    if Part.TRIALS in parts:
        found += one_shot.find(reader, selection, basis)
    if found:
        return found
    return [nothing(QUESTION, _why_nothing(basis.roles), basis)]


# Events of these roles -> what must be in the runs beside them.
_COMPARED = {
    ("enemy_shot", "pickup"): "a boss and a regular part, or two tiers of a weapon",
    ("piece", "landed", "rows"): "pieces that came and came to rest",
    ("trial",): "trials that say whether they succeeded",
}


def _why_nothing(roles: frozenset[str]) -> str:
    """A game without such events is told which; one that has them, what else its runs would have to hold."""
    needed = [wanted for names, wanted in _COMPARED.items() if roles.intersection(names)]
    if needed:
        return f"These runs hold nothing to compare: it takes {'; or '.join(needed)}."
    *most, last = (f"`{name}`" for names in _COMPARED for name in names)
    return f"The game has no events of the roles {', '.join(most)} or {last}."
