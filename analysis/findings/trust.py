"""Whether the data can be trusted: what was lost, what it can bias, what to fix on the console.

Ids and their tables (columns of one length):

trust.verdict   captures: capture_id, name, bytes, packets, events, runs, power_ups, rejected, missing, dropped,
                tail_bytes, unread_bytes, damaged_runs, cut_runs, lost_starts, open_runs, lost_share, grade, words.
                damage: capture_id, byte_offset, bytes, reason, count (at most 1,000 places a capture).
                notices: name (of the capture), byte_offset, about, what, remedy.
                facts: worst grade, events lost in all, fixes.
trust.damaged   runs: run_id, player, damaged, alive_s, deaths, ending. The estimate is the share of damaged runs.
trust.endings   endings: ending, runs, share. Runs that were cut, and whether their number can matter.
trust.tags      only where runs have no player tag.
trust.open      only where it is open who played some runs, which are left out: runs: run_id, capture, number,
                candidates, begun, alive_s, deaths. facts: open_runs, lost_starts.
trust.builds    only where a tunable changed during a run.
trust.roles     only where a role contradicts what the logs hold, or was corrected: see roles.py.
trust.clock     only where arrival times were recorded: clocks: capture_id, name, power_up, drift_ppm, seconds.
trust.attempts  only where nothing tells in which order somebody played: see attempts.py.
trust.twice     only where captures hold copies of one run: pairs: one, other, runs (of one, that count from the other).
"""

from dataclasses import dataclass, fields

import numpy as np

from analysis.finding import Finding
from analysis.findings import attempts, roles
from analysis.quality import Grade, Verdict, judge, lost_events
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.proportions import share_by_player
from analysis.words import amount, counted, limits, percent
from ingest.capture_counts import About, CaptureCounts, Notice

QUESTION = "trust"
# From this drift on a minute of the console differs from the PC's by more than 6 ms. A quartz keeps within 0.005 %
# (50 ppm); the RC oscillator of a microcontroller may be off by 1 % (10,000 ppm). Common practice, no source.
DRIFT_PPM = 100.0
_BEST_FIRST = list(Grade)


@dataclass(frozen=True, kw_only=True)
class _Capture(CaptureCounts):
    """One row of queries/trust_captures.sql, as the verdict wants it."""

    capture_id: int
    name: str


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The findings on the data themselves; they never leave out a run for being damaged."""
    captures = _captures(reader, selection.game)
    run = reader.ask_chosen("trust_runs", selection)
    if not captures:
        return [
            Finding(f"{QUESTION}.none", QUESTION, "Nothing to trust yet",
                    "No play log of this game is in the study: ingest one.", 0, 0, "count")
        ]  # fmt: skip
    found = [_verdict(reader, selection, captures, run)]
    if run["run_id"].size:
        logged = set(reader.ask_chosen("roles", selection)["role"])
        found += [_damaged(run), _endings(run, "run_end" in logged), *_tags(run), *_builds(run)]
        found += roles.find(reader, selection, _players(run), int(run["run_id"].size))
        found += attempts.find(reader, selection, _players(run), int(run["run_id"].size))
    found += _open(reader, selection, run)
    return found + _clock(reader, selection, run) + _twice(reader, selection, captures, run)


def why_no_run(reader: Reader) -> str | None:
    """Why no run is in a study that holds play logs; None where there is a run, or no play log."""
    if reader.ask("study_games")["runs"].sum():
        return None
    captures = _captures(reader, None)
    if not captures:
        return None
    first = captures[0]
    verdict = judge(first)
    words = (
        "Nothing was lost, but no event with the role `run_start` came."
        if not verdict.lost
        else verdict.words
    )
    held = "it holds no run" if len(captures) == 1 else "none of them holds a run"
    return (
        f"{counted(len(captures), 'play log')} {'is' if len(captures) == 1 else 'are'} in the study, but {held} that "
        f"can be read. {first.name}: {words}"
    )


def _captures(reader: Reader, game: str | None) -> list[_Capture]:
    row = reader.ask("trust_captures", game=game)
    notices = _notices(reader)
    numbers = [f.name for f in fields(_Capture) if f.name not in ("name", "refusal", "notices")]
    found = []
    for i in range(row["capture_id"].size):
        refusal = row["refusal"][i]
        counts = {name: int(row[name][i]) for name in numbers}
        found.append(
            _Capture(
                name=str(row["name"][i]),
                refusal=None if refusal is None else str(refusal),
                notices=tuple(notices.get(counts["capture_id"], ())),
                **counts,
            )
        )
    return found


def _notices(reader: Reader) -> dict[int, list[Notice]]:
    """What was told of each capture."""
    row = reader.ask("trust_notices")
    found: dict[int, list[Notice]] = {}
    for i, capture_id in enumerate(row["capture_id"].tolist()):
        notice = Notice(
            About(row["about"][i]), int(row["byte_offset"][i]), str(row["what"][i]), str(row["remedy"][i])
        )
        found.setdefault(capture_id, []).append(notice)
    return found


def _verdict(reader: Reader, selection: Selection, captures: list[_Capture], run: Columns) -> Finding:
    verdicts = [judge(capture) for capture in captures]
    gone = float(sum(lost_events(capture) for capture in captures))
    events = sum(capture.events for capture in captures)
    share = gone / (gone + events) if gone else 0.0
    worst = max((verdict.grade for verdict in verdicts), key=_BEST_FIRST.index)
    counts = {grade: sum(verdict.grade == grade for verdict in verdicts) for grade in Grade}
    told = ", ".join(f"{counts[grade]} {grade.value}" for grade in Grade if counts[grade])
    sentence = f"{counted(len(captures), 'capture')} ({told}) with {counted(events, 'event')}"
    if gone:
        deaths = int(np.sum(run["deaths"]))
        sentence += f"; about {amount(gone)} events ({percent(share)}) were lost on the way"
        if deaths:
            # As if what was lost were a fair sample: whole packets are lost, whatever is in them.
            sentence += f", among them perhaps {counted(round(deaths * gone / max(events, 1)), 'death')}"
    else:
        sentence += ": nothing was lost on the way"
    worst_first = sorted(
        zip(captures, verdicts, strict=True), key=lambda pair: -_BEST_FIRST.index(pair[1].grade)
    )
    fixes = list(dict.fromkeys(fix for _, verdict in worst_first for fix in verdict.fixes))
    warnings = tuple(
        f"{capture.name}: {verdict.words}"
        for capture, verdict in worst_first
        if verdict.grade in (Grade.DOUBTFUL, Grade.UNUSABLE) or verdict.told
    )[:10]
    return Finding(
        id=f"{QUESTION}.verdict", question=QUESTION, title="What reached the study",
        sentence=f"{sentence}.{' ' + fixes[0] if fixes else ''}",
        players=_players(run), runs=int(run["run_id"].size), method="lost_events",
        estimate=Estimate(share, unit="share"), warnings=warnings,
        tables={
            "captures": _capture_table(captures, verdicts), "damage": _damage_table(reader, selection),
            "notices": _notice_table(captures),
        },
        facts={"worst": worst.value, "events": events, "events_lost": gone, "fixes": fixes},
    )  # fmt: skip


def _capture_table(captures: list[_Capture], verdicts: list[Verdict]) -> dict[str, list[object]]:
    names = {"rejected_packets": "rejected", "missing_packets": "missing", "dropped_events": "dropped"}
    shown = ["capture_id", "name"]
    shown += [f.name for f in fields(CaptureCounts) if f.name not in ("refusal", "newer_packets", "notices")]
    table: dict[str, list[object]] = {
        names.get(name, name): [getattr(capture, name) for capture in captures] for name in shown
    }
    table["lost_share"] = [verdict.lost_share for verdict in verdicts]
    table["grade"] = [verdict.grade.value for verdict in verdicts]
    table["words"] = [verdict.words for verdict in verdicts]
    return table


def _notice_table(captures: list[_Capture]) -> dict[str, list[object]]:
    told = [(capture, notice) for capture in captures for notice in capture.notices]
    return {
        "name": [capture.name for capture, _ in told],
        "byte_offset": [notice.byte_offset for _, notice in told],
        "about": [notice.about.value for _, notice in told],
        "what": [notice.what for _, notice in told],
        "remedy": [notice.remedy for _, notice in told],
    }


def _damage_table(reader: Reader, selection: Selection) -> dict[str, np.ndarray]:
    damage = reader.ask("trust_damage", game=selection.game)
    return {
        "capture_id": damage["capture_id"], "byte_offset": damage["byte_offset"], "bytes": damage["bytes"],
        "reason": damage["reason"], "count": damage["packets"],
    }  # fmt: skip


def _damaged(run: Columns) -> Finding:
    damaged = run["damaged"] == 1
    count, runs = int(damaged.sum()), int(damaged.size)
    share = share_by_player(damaged.astype(float), np.ones(runs), run["player"].astype(str))
    estimate = share
    if not count:
        sentence = f"None of {counted(runs, 'run')} lost anything between its start and its end."
    else:
        sentence = (
            f"{count} of {counted(runs, 'run')} ({percent(share.value)}) lost packets or events on the way"
        )
        if count < runs:
            hurt, sound = (float(np.median(run["alive_s"][which])) for which in (damaged, ~damaged))
            sentence += (
                f"; they last {amount(hurt, 's')} in the median, the others {amount(sound, 's')}. "
                + (
                    "Longer runs are more likely to be hit, so leaving them out would favour short ones: "
                    if hurt >= sound
                    else "A lost end makes a run look shorter than it was: "
                )
                + "they are kept, and marked."
            )
        else:
            sentence += ": every one. Deaths and time may be missing in each."
    return Finding(
        id=f"{QUESTION}.damaged", question=QUESTION, title="Runs that span damage", sentence=sentence,
        players=_players(run), runs=runs, method="share_by_player", estimate=estimate,
        warnings=() if not count else (f"Findings on these runs rest on {percent(share.value)} damaged ones.",),
        tables={"runs": {name: run[name] for name in ("run_id", "player", "damaged", "alive_s", "deaths", "ending")}},
        facts={"damaged_runs": count, "interval": limits(estimate)},
    )  # fmt: skip


def _endings(run: Columns, logged: bool) -> Finding:
    """logged: the game has an event that ends a run."""
    runs = int(run["run_id"].size)
    endings = ("finished", "game_over", "quit", "cut")
    count = [int(np.sum(run["ending"] == ending)) for ending in endings]
    cut, quits = count[3], count[2]
    sentence = f"{cut} of {counted(runs, 'run')} have no end in the log"
    sentence = sentence.replace("have", "has", 1) if cut == 1 else sentence
    if not cut:
        sentence = f"Each of {counted(runs, 'run')} has its end in the log."
    elif not logged:
        sentence += (
            ", for this game logs none: log an event with the role `run_end` when a run is over. Until then each "
            "counts as cut: alive until its last event, not dead."
        )
    else:
        both = int(np.sum((run["ending"] == "cut") & (run["damaged"] == 1)))
        sentence += (
            f", {both} of them through damage" if both else ": the console was reset or the recording stopped"
        )
        sentence += ". They count as cut: alive until the log ends, not dead."
    if quits:
        sentence += f" {counted(quits, 'run')} ended because the player quit; who gives up is no random loss."
    return Finding(
        id=f"{QUESTION}.endings", question=QUESTION, title="How runs end", sentence=sentence, players=_players(run),
        runs=runs, method="count", estimate=Estimate(cut / runs, unit="share"),
        tables={"endings": {"ending": list(endings), "runs": count, "share": [number / runs for number in count]}},
    )  # fmt: skip


def _tags(run: Columns) -> list[Finding]:
    untagged = int(np.sum(run["tagged"] == 0))
    if not untagged:
        return []
    return [
        Finding(
            id=f"{QUESTION}.tags", question=QUESTION, title="Runs nobody is known to have played",
            sentence=f"{untagged} of {counted(int(run['run_id'].size), 'run')} have no player tag. Each counts as a "
            "player of its own, so intervals are too narrow if one person played several. Tag them on the page of "
            "runs, or log the field `player` in `run_start`.",
            players=_players(run), runs=int(run["run_id"].size), method="count",
            estimate=Estimate(untagged / run["run_id"].size, unit="share"),
        )
    ]  # fmt: skip


def _open(reader: Reader, selection: Selection, run: Columns) -> list[Finding]:
    """Runs of the game that are left out because it is not known who played them."""
    left = reader.ask("trust_open", game=selection.game)
    count, lost = int(left["run_id"].size), int(np.sum(left["begun"] != "seen"))
    if not count:
        return []
    why = f" The start of {lost} of them was lost." if lost else ""
    return [
        Finding(
            id=f"{QUESTION}.open", question=QUESTION, title="Runs of which it is open who played them",
            sentence=f"Who played {counted(count, 'run')} is open: packets were lost between a tag and a run, or a "
            f"tag came after the run had begun.{why} They are in no figure until you say on the page of runs whose "
            "they were; until then, the attempts of these players may be counted too low.",
            players=_players(run), runs=int(run["run_id"].size), method="count",
            warnings=(f"{counted(count, 'run')} left out, because who played is open.",), tables={"runs": left},
            facts={"open_runs": count, "lost_starts": lost},
        )
    ]  # fmt: skip


def _builds(run: Columns) -> list[Finding]:
    mixed = int(np.sum(run["mixed_build"] == 1))
    if not mixed:
        return []
    return [
        Finding(
            id=f"{QUESTION}.builds", question=QUESTION, title="Tunables that changed during a run",
            sentence=f"In {mixed} of {counted(int(run['run_id'].size), 'run')} a tunable changed while the run went "
            "on. They count for the build they began with; change tunables between runs.",
            players=_players(run), runs=int(run["run_id"].size), method="count",
            estimate=Estimate(mixed / run["run_id"].size, unit="share"),
        )
    ]  # fmt: skip


def _clock(reader: Reader, selection: Selection, run: Columns) -> list[Finding]:
    clock = reader.ask("trust_clocks", game=selection.game)
    if not clock["drift_ppm"].size:
        return []
    drift = clock["drift_ppm"].astype(float)
    most = float(drift[np.argmax(np.abs(drift))])
    pace = "fast" if most > 0 else "slow"
    harmless = abs(most) < DRIFT_PPM
    sentence = (
        f"Against the PC's clock the console's runs at most {abs(most):.0f} millionths {pace}, "
        f"{abs(most) * 0.06:.2g} ms a minute: "
    )
    sentence += (
        "no matter for anything measured within a run."
        if harmless
        else "times are the console's own, so compare them between consoles with that in mind, and use a quartz."
    )
    return [
        Finding(
            id=f"{QUESTION}.clock", question=QUESTION, title="The console's clock", sentence=sentence,
            players=_players(run), runs=int(run["run_id"].size), method="clock_drift",
            estimate=Estimate(most, unit="millionths"),
            warnings=() if harmless else ("The console's clock drifts more than a quartz should.",),
            tables={"clocks": clock},
        )
    ]  # fmt: skip


def _twice(reader: Reader, selection: Selection, captures: list[_Capture], run: Columns) -> list[Finding]:
    pair = reader.ask("trust_twice", game=selection.game)
    if not pair["one"].size:
        return []
    name = {capture.capture_id: capture.name for capture in captures}
    one, other = ([name.get(int(number), str(number)) for number in pair[side]] for side in ("one", "other"))
    shared = int(pair["runs"].sum())
    return [
        Finding(
            id=f"{QUESTION}.twice", question=QUESTION, title="Runs that are there twice",
            sentence=f"{counted(shared, 'run')} of {one[0]}{' and others' if len(set(one)) > 1 else ''} "
            f"{'is' if shared == 1 else 'are'} in {other[0]}{' and others' if len(set(other)) > 1 else ''} too: copies "
            "of one power-up. Each counts once, from the copy in which more of it came through.",
            players=_players(run), runs=int(run["run_id"].size), method="count",
            tables={"pairs": {"one": one, "other": other, "runs": pair["runs"]}},
        )
    ]  # fmt: skip


def _players(run: Columns) -> int:
    return int(np.unique(run["player"].astype(str)).size)
