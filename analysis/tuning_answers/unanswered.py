"""Why a target cannot be answered from a game's logs, and what would help: every reason names its remedy."""

from analysis.models.data import StagedData
from analysis.models.targets import Outcome, Target

# Where the game does log it, but under a role that is not the right one.
_OR_CORRECT = "or, where it is logged already, give that event its role (setscrew roles)"


def why_not_staged(target: Target, data: StagedData) -> str:
    """Why the model of a game in stages or levels cannot answer `target`, which is not of hits."""
    if target.outcome == Outcome.SURVIVE:
        return (
            "in this game a death mostly throws back to the start of the stage, so a time alive says little of how far "
            "a player came: ask for reach_stage, finish or finish_within"
        )
    if target.outcome in (Outcome.FINISH, Outcome.FINISH_WITHIN, Outcome.QUIT_SHARE, Outcome.RUN_LENGTH):
        return f"this game does not log how its runs end: log an event with the role run_end, {_OR_CORRECT}"
    if data.segments[0].is_level:
        return (
            "this game is played in levels, not in stages: ask for level_reached; if it is played in stages, log an "
            f"event with the role stage_start as each begins, {_OR_CORRECT}"
        )
    last = max(segment.number for segment in data.segments)
    if target.outcome == Outcome.LEVEL_REACHED:
        return (
            f"this game is played in stages ({last} known), not in levels: ask for reach_stage; if its blocks fall, "
            f"log events with the roles piece and landed, and a field with the role level, {_OR_CORRECT}"
        )
    if data.more_stages or last > 1:
        return (
            f"nobody came to it, and nothing in the log says that it is there; stage {last} is the last known: ask for "
            "an earlier one, or declare a tunable with the scope of that stage"
        )
    return (
        "this game logs one stage only (all songs are stage 1): log stage_start, with the number, as each begins, "
        f"{_OR_CORRECT}"
    )


def why_not_hits(target: Target) -> str:
    """Why neither single shots nor notes can answer `target`, which is of hits."""
    if target.outcome == Outcome.STREAK:
        return f"no single trials are logged: log an event with the role trial and a field success, {_OR_CORRECT}"
    if target.song is not None:
        return (
            f"no note of song {target.song} came due in these runs: check the number (the field with the role song), "
            f"log events with the roles note and press, {_OR_CORRECT}"
        )
    return (
        "neither notes nor single shots are logged: log events with the roles note and press, or with the role trial "
        f"and a field success, {_OR_CORRECT}"
    )
