"""Proposals as `setscrew propose` prints them: the answer, and one table of what is to be expected of each way."""

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.answers.answer import lines_of, table_text
from analysis.tuning.headline import SIDE_EFFECTS, audience, certainty, headline
from analysis.tuning.proposal import Proposal, Way
from analysis.tuning_answers.chance_to_see import chance_to_see
from analysis.tuning_answers.tuning_answer import TuningAnswer
from analysis.words import NONE, amount, counted
from ingest.vocabulary import Recruitment

_MARK = "*"


def told(answer: TuningAnswer, study: str, seen: Mapping[str, float | None]) -> list[str]:
    """The lines, for the first proposal of each model. study: its path; seen: side effect -> what was counted of it."""
    lines = [f"{answer.game}, build {answer.build}"]
    for number, proposal in enumerate(answer.proposals):
        if number == 0 or proposal.ways:
            lines += ["", *_of_one(answer, proposal, study, seen)]
    lines += [""]
    for name, reason in answer.unanswered.items():
        lines += lines_of(f"{name}: {reason}")
    for warning in answer.warnings:
        lines += lines_of(warning, "  ", "! ")
    return [*lines, *lines_of("Every way, all intervals, warnings and audiences: --all.")]


def _of_one(answer: TuningAnswer, proposal: Proposal, study: str, seen: Mapping[str, float | None]) -> list[str]:
    lines = lines_of(headline(proposal, answer.targets))
    lines += lines_of(f"{certainty(proposal)}, {audience(proposal, answer.targets)}.")
    if proposal.testers == Recruitment.UNKNOWN and len(proposal.audiences) > 1 and not proposal.unknown:
        lines += lines_of("How they were found is not said, so they are taken for friends. Say it:")
        lines += [f"    setscrew people --study {study} --testers audience", "    (or volunteers, or friends)"]
    if proposal.settles_it:
        lines += lines_of(f"What would settle it: {proposal.settles_it}.")
    lines += ["", *table_text(*_table(proposal, seen)), ""]
    for way in proposal.ways:
        lines += lines_of("; ".join(_change(c) for c in way.changes), "    ", f"{_name(way, proposal)}: ")
    if not proposal.changes:
        return lines
    own = next((one for one in proposal.ways if one.id == proposal.id), None)
    chance = None if own is None or proposal.unknown else chance_to_see(answer, own)
    if chance is not None:
        lines += lines_of(f"{chance}.")
    # On a line of its own, however long: it is to be copied.
    flash = f"The header to flash: setscrew header --study {study} --out tuned.h"
    return [*lines, flash, f"    --proposal {proposal.id}"]


def _change(change: Any) -> str:
    unit = "" if change.unit in ("", "-", change.tunable.rpartition("_")[2]) else f" {change.unit}"
    return f"{change.tunable} {change.now} -> {change.proposed}{unit}"


def _name(way: Way, proposal: Proposal) -> str:
    return counted(len(way.knobs), "knob") + (_MARK if way.id == proposal.id else "")


def _table(proposal: Proposal, seen: Mapping[str, float | None]) -> tuple[list[str], list[list[str]]]:
    """Today and each way across, targets and side effects down."""
    ways: Sequence[Way] = proposal.ways
    if proposal.unknown:
        head = ["", "wanted", "observed"]
        return head, [[t.target, amount(t.wanted, t.unit), amount(t.observed, t.unit, NONE)] for t in proposal.targets]
    head = ["", "wanted", "observed", "today", *(_name(way, proposal) for way in ways)]
    rows = [
        [
            target.target,
            amount(target.wanted, target.unit),
            amount(target.observed, target.unit, NONE),
            amount(target.now.value, target.unit),
            *(amount(way.targets[n].proposed.value, target.unit) for way in ways),
        ]
        for n, target in enumerate(proposal.targets)
    ]
    now = proposal.side_effects.get("now") or {}
    for key, (what, unit, _) in SIDE_EFFECTS.items():
        if isinstance(now.get(key), float):
            then = [amount(way.side_effects["proposed"].get(key), unit) for way in ways]
            rows.append([what, "", amount(seen.get(key), unit, ""), amount(now[key], unit), *then])
    if ways:
        miss = [f"{100 * way.miss:.0f}" for way in ways]
        rows.append(["expected miss, points", "0", "", f"{100 * ways[0].miss_now:.0f}", *miss])
        rows.append(["sure enough to recommend", "", "", "", *("yes" if way.sure else "no" for way in ways)])
    return head, rows
