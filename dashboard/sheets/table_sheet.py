"""The sheet for the table: how a run goes, what is recorded and what a player may ask for, who plays what, tags."""

from string import ascii_uppercase

from markupsafe import Markup

from analysis.tuning_answers.lesson import PRESENT, Lesson
from analysis.tuning_answers.plan_game import AS_PROPOSED
from analysis.words import counted, listed
from dashboard.parts import cautions
from dashboard.sheets.made import filled, study_word

_LARGE_UP_TO = 10  # tags of a class so small are cut out in large
_LISTED_UP_TO = 48  # with more, the sheet would take a second page


def table_sheet(lesson: Lesson, paper: str = "A4", served: bool = False) -> Markup:
    """The HTML of the sheet; served: by the dashboard."""
    return filled(
        "sheets/table.html",
        paper,
        served,
        title=f"Playtest of {lesson.game}",
        basis=_basis(lesson),
        steps=_steps(lesson),
        consent=_consent(study_word(lesson)),
        careful=_careful(lesson.most_flashes),
        order=order(lesson),
        tags=[(slot.player, _letters(lesson, slot.builds), slot.runs) for slot in lesson.slots],
        tags_say="One for each player, in the order in which they come. A tag is the letter P and digits: what is "
        "round in it is always a zero, what is upright always a one. Tick a box for each run.",
        ticks=lesson.hour.runs * lesson.hour.builds,
        few=len(lesson.slots) <= _LARGE_UP_TO,
    )


def order(lesson: Lesson) -> dict[str, object]:
    """Who plays which build, first and then: `says`, `letters` (letter, label) and `of_tags` (tag, letters)."""
    runs, first = counted(lesson.slots[0].runs, "run"), lesson.slots[0].player
    who = f"{first} to {lesson.slots[-1].player}" if len(lesson.slots) > 1 else first
    names = [_named(label) for label in lesson.builds]
    if len(lesson.builds) < 2:
        return {"says": f"Everybody, {who}, plays {names[0]}, {runs} each.", "letters": (), "of_tags": ()}
    begin = [sum(slot.builds[0] == build for slot in lesson.slots) for build in lesson.builds]
    letters = list(zip(ascii_uppercase, names, strict=False))
    verb, with_ = ("begin", " with") if len(lesson.slots[0].builds) > 1 else ("play", "")
    halves = listed(
        [
            f"{count} {verb}{'s' if count == 1 else ''}{with_} {letter}"
            for count, (letter, _) in zip(begin, letters, strict=True)
        ]
    )
    says = (
        f"{halves}, drawn by lot, {runs} on each build. Give the tags out in the order in which people come, and see "
        "that the right build is on the console; do not choose who gets which."
    )
    if len(lesson.slots) > _LISTED_UP_TO:
        return {"says": f"{says} Each tag says its order.", "letters": letters, "of_tags": ()}
    listed_tags = [(slot.player, _letters(lesson, slot.builds, " → ")) for slot in lesson.slots]
    return {"says": says, "letters": letters, "of_tags": listed_tags}


def _named(label: str) -> str:
    """A build in a sentence."""
    if label == AS_PROPOSED:
        return "the build with the proposed values"
    return label if label == PRESENT else f"build {label}"


def _letters(lesson: Lesson, builds: tuple[str, ...], between: str = ", then ") -> str:
    if len(lesson.builds) < 2:
        return ""
    return between.join(ascii_uppercase[lesson.builds.index(build)] for build in builds)


def _basis(lesson: Lesson) -> str:
    if lesson.plan is None:
        return "" if lesson.fingerprint else "Made without data: the usual numbers, not planned for this game."
    return f"Planned for: {lesson.plan['target']}."


def _steps(lesson: Lesson) -> list[str]:
    slot = lesson.slots[0]
    row = f"; `{slot.player} {slot.runs}` stands for {slot.runs} runs in a row" if slot.runs > 1 else ""
    every = f"{counted(slot.runs, 'run')} on each build" if len(slot.builds) > 1 else counted(slot.runs, "run")
    return [
        "Turn the sound down before you put headphones on.",
        "Say your tag. Whoever records types it before the run begins, never after: "
        f"`{slot.player}` and Enter where `setscrew record` runs{row}. On the page that records: the field “Player "
        "tag”.",
        "Start the run, and play as you would at home.",
        f"Play {every}. Let each run come to its own end, or give up if you want to: both tell something.",
        "Nobody gives tips while you play. Ask and tell afterwards.",
        "After the last run the console stays on for 20 s: what was logged last is sent then.",
    ]


def _consent(study: str) -> list[str]:
    return [
        "We test the game, not you. Playing is voluntary. You may stop at any time, and need not say why.",
        "Recorded: what you press and when, where you are on the game's screen, what happens in the game, the day and "
        "the time, a tag such as P01; if you tell us, whether you had played before and how you rate it.",
        "Not recorded: your name, your voice or any sound, any picture.",
        "Who sees it: the makers and their teacher; in class and in the report by tag or as numbers of all. Who has "
        "which tag stands on paper only, kept apart, and is destroyed when the report is handed in.",
        "You may have it deleted as long as that paper is there: say your tag. The makers take your runs out of what "
        f"they work with, `setscrew forget --study {study} --player TAG`, and delete the files that the command then "
        "names, with all copies: the recordings with your runs. Sheets and reports that were printed before stay as "
        "they are. Marking a run as not valid deletes nothing.",
        "If you are a minor, those responsible for you are asked first. The rules of your school come before this "
        "sheet.",
    ]


def _careful(most_flashes: int | None) -> list[str]:
    flashing = (
        "Flashing pictures can trigger seizures: who is sensitive to light does not play, and everybody stops when "
        "unwell."
    )
    if most_flashes is None:
        flashing += " This game has not counted its flashes; more than three in one second are too many (WCAG 2.2)."
    elif most_flashes > 3:
        flashing += (
            f" THIS GAME FLASHED {most_flashes} TIMES WITHIN ONE SECOND; more than three are too many (WCAG 2.2): "
            "slow that down before anybody plays."
        )
    return [flashing, cautions.SOUND, cautions.WIRING + " Wire with the power off."]
