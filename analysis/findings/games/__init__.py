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
    sentence = "The game logs no events of the roles `enemy_shot`, `pickup`, `piece`, `landed` or `trial` here."
    return [nothing(QUESTION, sentence, basis)]
