"""What may be wanted of a game that nobody has said anything of: a beginning, to be changed before one looks."""

from analysis.game_kind import Part, read_kind
from analysis.models.targets import Outcome
from analysis.reader import Reader
from analysis.selection import Selection

# (outcome, its number, what is wanted). Common sense, no source: most people see the next part, few are bored.
_STAGES = (Outcome.REACH_STAGE, "2", "75 %")
_LEVELS = (Outcome.LEVEL_REACHED, "5", "60 %")
_NOTES = (Outcome.HIT_SHARE, "", "85 %")
_TRIALS = (Outcome.STREAK, "5", "75 %")
_OTHER = (Outcome.SURVIVE, "30", "75 %")


def first_wish(reader: Reader, selection: Selection) -> tuple[Outcome, str, str]:
    """The outcome, its number in words ("" where it has none) and the wanted figure, by the kind of the game."""
    every = Selection(selection.game)
    kind = read_kind(reader, every)
    if kind.by_level:
        return _LEVELS
    if Part.NOTES in kind.parts:
        return _NOTES
    if Part.TRIALS in kind.parts:
        return _TRIALS
    stages = int(reader.ask_chosen("game_held", every)["stages"][0])
    return _STAGES if stages > 1 else _OTHER
