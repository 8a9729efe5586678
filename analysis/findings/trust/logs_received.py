"""What reached the study: each log with what was lost of it, how its clock ran, and copies of logs."""

from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared
from analysis.quality import Grade, Verdict, judge, lost_events
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.words import amount, capital, counted, percent
from ingest.study.capture_counts import About, CaptureCounts, Notice

# From this drift on a minute of the console differs from the PC's by more than 6 ms. A quartz keeps within 0.005 %
# (50 ppm); the RC oscillator of a microcontroller may be off by 1 % (10,000 ppm). Common practice, no source.
DRIFT_PPM = 100.0
_MOST_WARNINGS = 10
_BEST_FIRST = list(Grade)
_CAPTURE_ID = Column("capture_id", "", "number of the log in the study")
_NAME = Column("name", "", "name of the log")

VERDICT = Declared(
    "trust.verdict",
    "trust",
    "What reached the study",
    "lost_events",
    {
        "captures": (
            _CAPTURE_ID,
            _NAME,
            Column("bytes", "bytes", "size of the log"),
            Column("packets", "", "packets that could be read"),
            Column("events", "", "events in them"),
            Column("runs", "", "runs in the log"),
            Column("power_ups", "", "times the console was switched on"),
            Column("rejected", "", "packets that arrived broken"),
            Column("missing", "", "packets that never arrived whole"),
            Column("dropped", "", "events for which the console had no room"),
            Column("tail_bytes", "bytes", "at the end, of a packet that was cut off"),
            Column("unread_bytes", "bytes", "of packets whose dictionary never came"),
            Column("damaged_runs", "", "runs that lost packets or events"),
            Column("cut_runs", "", "runs without an end in the log"),
            Column("lost_starts", "", "runs whose start is not in the log"),
            Column("open_runs", "", "runs of which it is open who played them"),
            Column("lost_share", "share", "of all events of the log, those that were lost; estimated"),
            Column("grade", "", "intact, damaged, doubtful or unusable"),
            Column("words", "", "what was lost, what that can bias, and the remedy"),
        ),
        "damage": (
            _CAPTURE_ID,
            Column("byte_offset", "bytes", "where in the log"),
            Column("bytes", "bytes", "size of the log"),
            Column("reason", "", "what is wrong there"),
            Column("count", "", "packets or events that it cost"),
        ),
        "notices": (
            _NAME,
            Column("byte_offset", "bytes", "from where on in the log"),
            Column("about", "", "dictionary, clock, missing, drops, given or copy"),
            Column("what", "", "what was seen"),
            Column("remedy", "", "what to do about it"),
        ),
    },
    (
        Column("worst", "", "the grade of the worst log"),
        Column("events", "", "events of all logs"),
        Column("events_lost", "", "events that were lost, estimated"),
        Column("fixes", "", "what to do, that for the worst log first"),
    ),
)
CLOCK = Declared(
    "trust.clock",
    "trust",
    "The console's clock",
    "clock_drift",
    {
        "clocks": (
            _CAPTURE_ID,
            _NAME,
            Column("power_up", "", "number of the power-up in the log"),
            Column("drift_ppm", "millionths", "how fast the console's clock ran against the PC's"),
            Column("seconds", "s", "from the first to the last event of the power-up"),
        )
    },
)
TWICE = Declared(
    "trust.twice",
    "trust",
    "Runs that are there twice",
    "count",
    {
        "pairs": (
            Column("one", "", "log with copies that do not count"),
            Column("other", "", "log from which these runs count"),
            Column("runs", "", "how many"),
        )
    },
)
# Columns of the table that are named shorter than what is counted.
_SHORT = {"rejected_packets": "rejected", "missing_packets": "missing", "dropped_events": "dropped"}


@dataclass(frozen=True, kw_only=True)
class Capture(CaptureCounts):
    """One row of queries/trust_captures.sql, as the verdict wants it."""

    capture_id: int
    name: str


def read_captures(reader: Reader, game: str | None) -> list[Capture]:
    """The logs of a game and those without a dictionary, in the order of their places; without a game, all."""
    rows = reader.ask("trust_captures", game=game).frame
    notices = _notices(reader)
    numbers = [f.name for f in fields(Capture) if f.name not in ("name", "refusal", "notices")]
    return [
        Capture(
            name=str(row["name"]),
            refusal=None if row["refusal"] is None else str(row["refusal"]),
            notices=notices.get(int(row["capture_id"]), ()),
            **{number: int(row[number]) for number in numbers},
        )
        for row in rows.to_dict("records")
    ]


def _notices(reader: Reader) -> dict[int, tuple[Notice, ...]]:
    """What was told of each capture."""
    told = reader.ask("trust_notices").frame
    return {
        int(str(capture_id)): tuple(
            Notice(About(one.about), int(one.byte_offset), str(one.what), str(one.remedy)) for one in own.itertuples()
        )
        for capture_id, own in told.groupby("capture_id")
    }


def why_no_run(reader: Reader) -> str | None:
    """Why no run is in a study that holds play logs; None where there is a run, or no play log."""
    if reader.ask("study_games")["runs"].sum():
        return None
    captures = read_captures(reader, None)
    if not captures:
        return None
    first = captures[0]
    judged = judge(first)
    words = judged.words if judged.lost else "Nothing was lost, but no event with the role `run_start` came."
    held = "it holds no run" if len(captures) == 1 else "none of them holds a run"
    return (
        f"{counted(len(captures), 'play log')} {'is' if len(captures) == 1 else 'are'} in the study, but {held} that "
        f"can be read. {first.name}: {words}"
    )


def verdict(reader: Reader, selection: Selection, captures: list[Capture], basis: Basis) -> Finding:
    """How far the logs can be trusted. basis: with the columns of queries/trust_runs.sql."""
    judged = [(capture, judge(capture)) for capture in captures]
    worst_first = sorted(judged, key=lambda pair: -_BEST_FIRST.index(pair[1].grade))
    gone = float(sum(lost_events(capture) for capture in captures))
    events = sum(capture.events for capture in captures)
    share = gone / (gone + events) if gone else 0.0
    fixes = list(dict.fromkeys(fix for _, one in worst_first for fix in one.fixes))
    warnings = tuple(
        f"{capture.name}: {one.words}"
        for capture, one in worst_first
        if one.grade in (Grade.DOUBTFUL, Grade.UNUSABLE) or one.told
    )
    damage = reader.ask("trust_damage", game=selection.game).frame.rename(columns={"packets": "count"})
    facts = {"worst": worst_first[0][1].grade.value, "events": events, "events_lost": gone, "fixes": fixes}
    # As the events: of all logs, whatever build or player is chosen.
    every = reader.ask_chosen("trust_runs", Selection(selection.game, include_team=True))
    lost = _lost(int(np.sum(every["deaths"])), gone, events, share)
    return VERDICT.finding(
        basis,
        f"{_reached(judged, events)}{lost}.{' ' + fixes[0] if fixes else ''}",
        Estimate(share, unit="share"),
        {"captures": [_row(*pair) for pair in judged], "damage": damage, "notices": _told(captures)},
        facts,
        warnings=warnings[:_MOST_WARNINGS],
        headline=_headline(basis, gone, share, worst_first[0][1].grade),
    )


def _headline(basis: Basis, gone: float, share: float, worst: Grade) -> str:
    if not gone:
        return (
            "Nothing was lost on the way."
            if worst is Grade.INTACT
            else "Read what the logs tell before you trust them."
        )
    hurt = int(np.sum(basis.run["damaged"] == 1))
    touched = f"{amount(hurt)} of {counted(basis.runs, 'run')} {'is' if hurt == 1 else 'are'} touched"
    if not hurt:
        touched = f"none of these {counted(basis.runs, 'run')} is touched" if basis.runs else "no run is chosen"
    return f"{capital(percent(share))} of the events of all logs were lost; {touched}."


def _reached(judged: list[tuple[Capture, Verdict]], events: int) -> str:
    """How many logs of which grade came, with how many events."""
    count = pd.Series([one.grade.value for _, one in judged]).value_counts()
    told = ", ".join(f"{count[grade.value]} {grade.value}" for grade in Grade if grade.value in count)
    return f"{counted(len(judged), 'capture')} ({told}) with {counted(events, 'event')}"


def _lost(deaths: int, gone: float, events: int, share: float) -> str:
    if not gone:
        return ": nothing was lost on the way"
    said = f"; about {counted(max(round(gone), 1), 'event')} ({percent(share)}) were lost on the way"
    # As if what was lost were a fair sample: whole packets are lost, whatever is in them.
    if perhaps := round(deaths * gone / max(events, 1)):
        said += f", among them perhaps {counted(perhaps, 'death')}"
    return said


def _row(capture: Capture, one: Verdict) -> dict[str, object]:
    """The capture in the table `captures`."""
    left_out = ("refusal", "newer_packets", "notices")
    return {
        **{_SHORT.get(f.name, f.name): getattr(capture, f.name) for f in fields(capture) if f.name not in left_out},
        "lost_share": one.lost_share,
        "grade": one.grade.value,
        "words": one.words,
    }


def _told(captures: list[Capture]) -> list[dict[str, object]]:
    return [
        {
            "name": capture.name,
            "byte_offset": notice.byte_offset,
            "about": notice.about.value,
            "what": notice.what,
            "remedy": notice.remedy,
        }
        for capture in captures
        for notice in capture.notices
    ]


def clocks(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """How the console's clock ran, where arrival times were recorded."""
    clock = reader.ask("trust_clocks", game=selection.game)
    if not clock["drift_ppm"].size:
        return []
    drift = clock["drift_ppm"]
    most = float(drift[np.argmax(np.abs(drift))])
    harmless = abs(most) < DRIFT_PPM
    sentence = (
        f"Against the PC's clock the console's runs at most {amount(round(abs(most)), 'millionths')} "
        f"{'fast' if most > 0 else 'slow'}, {amount(abs(most) * 0.06, 'ms')} a minute: "
    )
    sentence += (
        "no matter for anything measured within a run."
        if harmless
        else "times are the console's own, so compare them between consoles with that in mind, and use a quartz."
    )
    warnings = () if harmless else ("The console's clock drifts more than a quartz should.",)
    return [CLOCK.finding(basis, sentence, Estimate(most, unit="millionths"), {"clocks": clock}, warnings=warnings)]


def copies(reader: Reader, selection: Selection, captures: list[Capture], basis: Basis) -> list[Finding]:
    """Runs of which several logs hold a copy."""
    pairs = reader.ask("trust_twice", game=selection.game).frame
    if not len(pairs):
        return []
    name = {capture.capture_id: capture.name for capture in captures}
    for side in ("one", "other"):
        pairs[side] = [name.get(int(number), str(number)) for number in pairs[side]]
    shared = int(pairs["runs"].sum())
    one, other = (
        f"{pairs[side].iloc[0]}{' and others' if pairs[side].nunique() > 1 else ''}" for side in ("one", "other")
    )
    sentence = (
        f"{counted(shared, 'run')} of {one} {'is' if shared == 1 else 'are'} in {other} too: copies of one power-up. "
        "Each counts once, from the copy in which more of it came through."
    )
    return [TWICE.finding(basis, sentence, tables={"pairs": pairs})]
