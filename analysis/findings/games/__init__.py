"""What each genre of the class asks beyond deaths and survival. A game is asked what its logged roles allow.

Staged shooters (see shooter.py): genres.boss, genres.tiers.
Falling blocks (see blocks.py): genres.levels, genres.overflow, genres.longest_wait, genres.pace.
One shot at a time (see one_shot.py): genres.streaks, genres.aim, genres.intervals.
Rhythm games have their own question, `timing`. Each module's docstring lists tables and facts.
"""

from analysis.finding import Finding
from analysis.findings.basis import NO_RUNS, nothing, read_basis
from analysis.findings.games import blocks, bosses_and_tiers, one_shot
from analysis.game_kind import Part, read_kind
from analysis.reader import Reader
from analysis.selection import Selection

QUESTION = "genres"


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The findings of the genres that the game's roles speak of; one that says so where there are none."""
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
    sentence = (
        "The game logs no events of the roles `enemy_shot`, `pickup`, `piece`, `landed` or `trial` here."
    )
    return [nothing(QUESTION, sentence, basis)]
