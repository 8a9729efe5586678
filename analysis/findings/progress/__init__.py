"""Did it help: the newest build against the one before it, and kept predictions against what came."""

from analysis.finding import Finding
from analysis.findings.progress import builds_compared, verdict_words
from analysis.findings.progress.comparison import compare_game
from analysis.models.targets import TargetSet
from analysis.played_order import not_known, played_order
from analysis.reader import Reader
from analysis.selection import Selection

QUESTION = "progress"


def find(reader: Reader, selection: Selection, targets: TargetSet | None = None) -> list[Finding]:
    """The verdict, the last two builds compared, or the two that are chosen, and the predictions scored.

    targets: by which they are compared; default: those that the study keeps.
    """
    builds = () if selection.newest else tuple(selection.builds)
    before = after = None
    if len(builds) == 2:
        order = played_order(reader, selection.game)
        after = order.last_of(builds) if set(builds) <= set(order.builds) else builds[1]
        if after is None:
            return [builds_compared.unordered(selection.game, not_known(builds), builds)]
        before = builds[0] if after == builds[1] else builds[1]
    found = compare_game(reader, selection.of_every_build(), targets, before, after)
    if found.unordered:
        return [builds_compared.unordered(selection.game, found.why, found.unordered)]
    return [*verdict_words.find(found), *builds_compared.find(found)]
