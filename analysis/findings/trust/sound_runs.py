"""Which of the chosen runs are sound: damaged, without an end, without a player, with a tunable that changed."""

import numpy as np

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.words import amount, counted, percent

_ALIVE = Column("alive_s", "s", "time alive in the run")
_DEATHS = Column("deaths", "", "deaths in the run")
_LOST_STARTS = "runs whose start is not in the log"
ENDINGS = ("finished", "game_over", "quit", "cut")

DAMAGED = Declared(
    "trust.damaged",
    "trust",
    "Runs that span damage",
    "count",
    {
        "runs": (
            Column("run_id", "", "number of the run in the study"),
            Column("player", "", "tag of the player"),
            Column("damaged", "", "whether packets or events of the run were lost"),
            _ALIVE,
            _DEATHS,
            Column("ending", "", "finished, game_over, quit or cut"),
        )
    },
    (Column("damaged_runs", "", "how many are damaged"),),
)
HOW_ENDED = Declared(
    "trust.endings",
    "trust",
    "How runs end",
    "count",
    {
        "endings": (
            Column("ending", "", "finished, game_over, quit, or cut where the log has no end"),
            Column("runs", "", "runs that ended so"),
            Column("share", "share", "of all runs"),
        )
    },
)
TAGS = Declared("trust.tags", "trust", "Runs nobody is known to have played", "count")
BUILDS = Declared("trust.builds", "trust", "Tunables that changed during a run", "count")
OPEN = Declared(
    "trust.open",
    "trust",
    "Runs of which it is open who played them",
    "count",
    {
        "runs": (
            Column("run_id", "", "number of the run in the study"),
            Column("capture", "", "name of the log"),
            Column("number", "", "number of the run in the log"),
            Column("candidates", "", "tags of the players of which one may be its player"),
            Column("begun", "", "seen; lost: its start was lost on the way; before: the log begins in its midst"),
            _ALIVE,
            _DEATHS,
        )
    },
    (Column("open_runs", "", "how many there are"), Column("lost_starts", "", f"of these, {_LOST_STARTS}")),
)


def find(basis: Basis) -> list[Finding]:
    """What can be said of the chosen runs' own soundness. basis: with the columns of queries/trust_runs.sql."""
    return [_damaged(basis), _endings(basis), *_tags(basis), *_builds(basis)]


def _damaged(basis: Basis) -> Finding:
    run, runs = basis.run.frame, basis.runs
    damaged = basis.run["damaged"] == 1
    count = int(damaged.sum())
    # Of the very runs at hand: nothing is estimated, so there is no interval.
    share = Estimate(count / runs, unit="share")
    warnings = (f"Findings on these runs rest on {percent(share.value)} damaged ones.",) if count else ()
    sentence = f"{count} of {counted(runs, 'run')} ({percent(share.value)}) lost packets or events on the way"
    if not count:
        whole = "between its start and its end"
        sentence = (
            f"None of {counted(runs, 'run')} lost anything {whole}."
            if runs > 1
            else f"The one run lost nothing {whole}."
        )
    elif count == runs:
        sentence += ": every one. Deaths and time may be missing in each."
    else:
        hurt, sound = (float(np.median(run["alive_s"][which])) for which in (damaged, ~damaged))
        bias = (
            "Longer runs are more likely to be hit, so leaving them out would favour short ones"
            if hurt >= sound
            else "A lost end makes a run look shorter than it was"
        )
        sentence += (
            f"; the damaged last {amount(hurt, 's')} in the median, the others {amount(sound, 's')}. {bias}: all are "
            "kept, and marked."
        )
    table = run[[column.name for column in DAMAGED.tables["runs"]]]
    return DAMAGED.finding(basis, sentence, share, {"runs": table}, {"damaged_runs": count}, warnings=warnings)


def _endings(basis: Basis) -> Finding:
    run, runs = basis.run.frame, basis.runs
    ended = run["ending"].value_counts().reindex(ENDINGS, fill_value=0)
    cut, quits = int(ended["cut"]), int(ended["quit"])
    sentence = f"{cut} of {counted(runs, 'run')} {'has' if cut == 1 else 'have'} no end in the log"
    if not cut:
        each = f"Each of {counted(runs, 'run')}" if runs > 1 else "The one run"
        sentence = f"{each} has its end in the log."
    elif "run_end" not in basis.roles:
        sentence += (
            ", for this game logs none: log an event with the role `run_end` when a run is over. Until then each "
            "counts as cut: alive until its last event, not dead."
        )
    else:
        both = int(((run["ending"] == "cut") & (run["damaged"] == 1)).sum())
        why = ": the console was reset, the recording stopped, or the game does not log every end"
        sentence += f", {both} of them {'a damaged run' if both == 1 else 'damaged runs'}" if both else why
        sentence += ". They count as cut: alive until the log ends, not dead."
    if quits:
        sentence += f" {counted(quits, 'run')} ended because the player quit; who gives up is no random loss."
    table = {"ending": ENDINGS, "runs": ended.to_numpy(), "share": ended.to_numpy() / runs}
    return HOW_ENDED.finding(basis, sentence, Estimate(cut / runs, unit="share"), {"endings": table})


def _tags(basis: Basis) -> list[Finding]:
    untagged = int(np.sum(basis.run["tagged"] == 0))
    if not untagged:
        return []
    sentence = (
        f"{untagged} of {counted(basis.runs, 'run')} have no player tag. Each counts as a player of its own, so "
        "intervals are too narrow if one person played several. Tag them on the page of runs, or log the field "
        "`player` in `run_start`."
    )
    return [TAGS.finding(basis, sentence, Estimate(untagged / basis.runs, unit="share"))]


def _builds(basis: Basis) -> list[Finding]:
    mixed = int(np.sum(basis.run["mixed_build"] == 1))
    if not mixed:
        return []
    sentence = (
        f"In {mixed} of {counted(basis.runs, 'run')} a tunable changed while the run went on. They count for the build "
        "they began with; change tunables between runs."
    )
    return [BUILDS.finding(basis, sentence, Estimate(mixed / basis.runs, unit="share"))]


def left_out(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """Runs of the game that are left out because it is not known who played them."""
    left = reader.ask("trust_open", game=selection.game)
    count, lost = int(left["run_id"].size), int(np.sum(left["begun"] != "seen"))
    if not count:
        return []
    why = f" The start of {lost} of them was lost." if lost else ""
    sentence = (
        f"Who played {counted(count, 'run')} is open: packets were lost between a tag and a run, or a tag came after "
        f"the run had begun.{why} They are in no figure until you say on the page of runs whose they were; until then, "
        "the attempts of these players may be counted too low."
    )
    return [
        OPEN.finding(
            basis,
            sentence,
            tables={"runs": left},
            facts={"open_runs": count, "lost_starts": lost},
            warnings=(f"{counted(count, 'run')} left out, because who played is open.",),
        )
    ]
