"""Which findings answer the question that was asked: chosen by the targets' outcomes and the kind of game."""

from collections.abc import Sequence

from analysis.finding import Finding
from analysis.levers import Part
from analysis.models.targets import Outcome, Target
from dashboard.figures import has_figure

# The summary says each of them.
MOST = 3
FEWEST = 2
_HOW_FAR = ("survival.funnel", "deaths.by_stage", "deaths.places", "deaths.causes", "survival.curve")
_LEVELS = ("genres.levels", "survival.curve", "genres.pace", "deaths.causes")
# Outcome of a target -> the findings that tell why it is as it is, what is asked first. A game without notes has no
# finding on notes, and so on: what is missing is passed over.
_BY_OUTCOME: dict[Outcome, tuple[str, ...]] = {
    Outcome.REACH_STAGE: _HOW_FAR,
    Outcome.FINISH: _HOW_FAR,
    Outcome.FINISH_WITHIN: ("survival.on_attempts", *_HOW_FAR),
    Outcome.SURVIVE: ("survival.curve", "survival.hazard", "deaths.places", "deaths.causes"),
    Outcome.HIT_SHARE: (
        "timing.hit_share",
        "timing.window",
        "timing.players",
        "timing.passages",
        "genres.aim",
        "genres.streaks",
    ),
    Outcome.STREAK: ("genres.streaks", "genres.aim", "genres.intervals"),
    Outcome.LEVEL_REACHED: _LEVELS,
}
# Where nobody asked anything: what a game of this kind is about, its own part before the stages.
_BY_PART = {Part.NOTES: Outcome.HIT_SHARE, Part.TRIALS: Outcome.STREAK, Part.BLOCKS: Outcome.LEVEL_REACHED}


def chosen(found: Sequence[Finding], targets: Sequence[Target], parts: frozenset[Part]) -> tuple[Finding, ...]:
    """Up to three findings with a figure, in the order in which they answer the targets.

    Each target in turn gives its next finding, so that none of them goes without. Where they give fewer than two,
    whatever else has a figure fills up.
    """
    outcomes = list(dict.fromkeys(target.outcome for target in targets)) or [
        next((outcome for part, outcome in _BY_PART.items() if part in parts), Outcome.REACH_STAGE)
    ]
    wanted = [_BY_OUTCOME[outcome] for outcome in outcomes]
    turns = [ids[i] for i in range(max(map(len, wanted))) for ids in wanted if i < len(ids)]
    drawn = {finding.id: finding for finding in found if has_figure(finding)}
    ids = [one for one in dict.fromkeys(turns) if one in drawn][:MOST]
    others = (one for one in drawn if one not in ids and not one.startswith(("trust.", "console.", "progress.")))
    while len(ids) < FEWEST and (more := next(others, None)) is not None:
        ids.append(more)
    return tuple(drawn[one] for one in ids)
