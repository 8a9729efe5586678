"""The sheet for the teacher: the lesson minute by minute, what to check before, how sure so many players make it."""

from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from analysis.answers.plan_sheet import scale_and_unit
from analysis.stats.estimate import LEVEL
from analysis.tuning.lesson_hour import Hour, Part, Step
from analysis.tuning_answers.lesson import Lesson
from analysis.words import amount, cell, counted, interval_name, points
from dashboard.sheets.made import filled, study_word
from dashboard.web.html_tables import table

_LONG = 9  # rows from which the table of minutes stands in two columns


def teacher_sheet(lesson: Lesson, paper: str = "A4", served: bool = False) -> Markup:
    """The HTML of the sheet; served: by the dashboard."""
    held = lesson.hour
    study = study_word(lesson)
    return filled(
        "sheets/teacher.html",
        paper,
        served,
        title=f"A lesson of {_minutes(held.minutes)}: playtest of {lesson.game}",
        answer=answer(held),
        short=too_short(held),
        worked_out=_worked_out(lesson),
        minutes=table(
            {
                "from": [_clock(step.start) for step in held.steps],
                "to": [_clock(step.end) for step in held.steps],
                "what": [_what(step, held) for step in held.steps],
            }
        ),
        minutes_long=len(held.steps) > _LONG,
        rules=_rules(held),
        before=_before(lesson),
        margins=table(
            {
                "players": [n for n, _ in lesson.margins],
                "margin of error": [f"±{points(m, False)}" for _, m in lesson.margins],
            },
            f"Of a share of first-time players, where half of them do it (half the {interval_name(LEVEL)})",
        ),
        precision=_precision(lesson.plan),
        sure=_sure(lesson),
        damaged=_damaged(study),
        after=_after(study, held),
        fingerprint=lesson.fingerprint,
    )


def answer(held: Hour) -> str:
    """What fits, in one sentence."""
    who = "One table, to which players come" if held.pairs == 1 else f"{held.pairs} pairs, a table and a game each"
    fits = f"{counted(held.players, 'player')} at {'it' if held.pairs == 1 else 'each'}"
    runs = f"{counted(held.runs, 'run')}{' on each build' if held.builds > 1 else ''}"
    return f"{who}: {fits}, {runs}, in rounds of {_minutes(held.round_min)}."


def too_short(held: Hour) -> dict[str, Any] | None:
    """What does not fit and what would help; None where all fit."""
    most = min(held.wanted, held.seats)
    ways = []
    if held.too_short and held.shorter_runs:
        ways.append(f"with {counted(held.shorter_runs, 'run')} each all {most} would fit")
    if held.too_short:
        ways.append(
            f"{_minutes(held.needed)} would do, or {counted(held.lessons, 'lesson')} of {_minutes(held.minutes)}"
            if held.lessons
            else f"{_minutes(held.needed)} would do"
        )
        ways.append("fewer players make it less sure: see below, and stop where the plan says, not where it looks good")
    if held.seats < held.wanted:
        ways.append(
            f"{held.wanted} are wanted at each table, and {counted(held.pairs, 'pair')} can send {held.seats}: ask "
            "another class"
        )
    if not ways:
        return None
    says = f"The lesson is too short: {held.players} of {most} fit." if held.too_short else "The class is too small."
    return {"says": says, "ways": ways}


def _worked_out(lesson: Lesson) -> list[str]:
    held, time = lesson.hour, lesson.time
    if time.players:
        whose = "the makers' own" if time.makers else "the"
        run = f"A run took {amount(time.mean_s, 's')} on average, measured of {whose} {counted(time.runs, 'run')} of "
        run += f"{counted(time.players, 'player')} that came to their end. "
        run += (
            "A round is long enough for nine players of ten."
            if time.spread_s
            else "One player tells nothing of how players differ, so a round has a quarter more."
        )
        if time.makers:
            run += " Makers play longer or shorter than others do: look again after the first rounds."
    else:
        run = (
            f"Nobody has played yet: a run is assumed to take {amount(time.mean_s, 's')}, and a round has a quarter "
            "more. Measure: play one run, ingest it, and make this sheet again."
        )
    if lesson.plan is None:
        run += (
            f" No target was planned for: {counted(held.wanted, 'player')} and {counted(held.runs, 'run')} each are "
            "what was said or is usual, not what some question takes."
        )
    other = " Games of other pairs may take longer: the longest run of the class decides." if held.pairs > 1 else ""
    return [run + other]


def _rules(held: Hour) -> list[str]:
    bell = "At the bell a run that has begun is played out, and no other is begun."
    if held.pairs == 1:
        return [bell]
    return [
        "One of each pair stays and records, the other goes round and plays. “2 tables on” counts from the own table, "
        f"and after the last table comes the first. Nobody plays the own game. {bell}"
    ]


def _what(step: Step, held: Hour) -> str:
    if step.part is Part.ROUND:
        on = "the next player" if held.pairs == 1 else f"{counted(step.on, 'table')} on"
        return f"Round {step.round}: {on}"
    return {
        Part.OPENING: "Read the consent out, sound down, tags and sheets",
        Part.STARTING: "Consoles on, a trial run recorded into a folder of its own, then the recording that counts",
        Part.CHANGING: "Those who recorded go round now",
        Part.CLOSING: "20 s more, Ctrl-C, copy both files of each log",
    }[step.part]


def _before(lesson: Lesson) -> list[str]:
    found = [
        "Each pair has played a run, and `setscrew check LOG` names no question that they need as unanswerable.",
        "The recorder's ring has 1,024 bytes (512 are the least), and `playlog_dropped()` was 0 in that run.",
        "The console sends at 115,200 baud, or another usual rate; nobody else is on that line. 3.3 V levels only, and "
        "wired with the power off.",
        "Headphones are turned down, screens flash no more than three times in any second (WCAG 2.2, 2.3.1), and who "
        "is sensitive to light was asked not to play.",
        "Consent as your school wants it; for minors of those responsible. Your own rules come first.",
        f"On each table: its own sheet, its tags (of this game {lesson.slots[0].player} to {lesson.slots[-1].player}), "
        "a pen, and disk for the recording.",
        "Each pair has said before which figure counts, and does not look at results until the end.",
    ]
    if lesson.most_flashes is not None and lesson.most_flashes > 3:
        found.insert(
            0, f"THIS GAME FLASHED {lesson.most_flashes} TIMES WITHIN ONE SECOND: slow that down before anybody plays."
        )
    if len(lesson.builds) > 1:
        found.append("Two builds: both can be put on the console at the table, or two consoles lie ready.")
    return found


def _precision(plan: Mapping[str, Any] | None) -> Markup | None:
    if plan is None or not plan["precision"]:
        return None
    scale, unit = scale_and_unit(dict(plan))
    doubt = [cell(round(scale * p["half_width"], 1)) for p in plan["precision"]]
    return table(
        {"more players": [p["players"] for p in plan["precision"]], f"doubt left, ± {unit}": doubt},
        f"Of the target planned for (half of the 80 % interval): {plan['target']}",
    )


def _sure(lesson: Lesson) -> list[str]:
    said = ["Runs of one player are alike, so players count, not runs. Four times the players about halve the margin."]
    plan = lesson.plan
    if plan is None:
        return [*said, "`setscrew plan` with a target says what this game's own question takes."]
    scale, unit = scale_and_unit(dict(plan))
    now, wanted = (cell(round(scale * plan[key], 1)) for key in ("now_half_width", "wanted_half_width"))
    needed = plan["players_needed"]
    takes = (
        "no single class gets there"
        if needed is None
        else "that is reached already"
        if needed == 0
        else f"about {counted(needed, 'more player')} get there"
    )
    said.append(f"{plan['target']}: the doubt is ±{now} {unit} today, ±{wanted} are wanted; {takes}.")
    if plan["power"]:
        each = plan["players_each_needed"]
        many = counted(each, "player") if each else "more than 60 players"
        said.append(f"To tell the two builds apart with a chance of 80 % takes {many} on each.")
    return said


def _damaged(study: str) -> list[str]:
    return [
        "Keep the file as it is, and go on: every later run counts. Never play a run again to replace a lost one: "
        "whoever plays again has practised.",
        f"`setscrew ingest --study {study} LOG` says what is missing. Runs that lost something are marked; whose run "
        "it was stays open where that cannot be told, and the page “Runs and notes” asks.",
        "Nothing comes, or only noise: ground and RX first, then the baud rate, then console off and on; its "
        "dictionary comes again by itself within three minutes.",
        "Dropped events: a larger ring, or fewer positions a second. That is for after the lesson.",
    ]


def _after(study: str, held: Hour) -> list[str]:
    found = [
        f"`setscrew ingest --study {study} FOLDER`, then `setscrew show --study {study}`: begin with the page on the "
        "data.",
        "The paper with tags and names stays locked away, and is destroyed when the report is handed in. Who wants "
        "their runs deleted: the table's sheet says how.",
    ]
    if held.pairs > 1:
        found.append(
            "All games side by side, with shared places where the data do not tell them apart: "
            "`setscrew class *.duckdb --out class`."
        )
    return found


def _clock(minutes: float) -> str:
    return f"{int(minutes)}:{round(60 * (minutes % 1)):02d}"


def _minutes(value: float) -> str:
    return f"{amount(value)} minute{'' if value == 1 else 's'}"
