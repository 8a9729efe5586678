"""The one table of questions: what people ask of a playtest, and who answers it.

Findings, pages, navigation, report and the command `findings` all go through it, in its order.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from enum import StrEnum

from analysis.finding import Finding
from analysis.findings import deaths, games, players, progress, survival, timing, trust
from analysis.game_kind import EVENTS
from analysis.levers import Part
from analysis.reader import Reader
from analysis.selection import Selection
from ingest.vocabulary import EventRole, FieldRole, TunableRole

Finder = Callable[[Reader, Selection], list[Finding]]


class Chapter(StrEnum):
    """Where in an argument a question stands; navigation and report are ordered by it."""

    DATA = "data"  # what all else rests on
    EVIDENCE = "evidence"
    OUTCOME = "outcome"  # whether a change did what was wanted


@dataclass(frozen=True)
class Use:
    """What a part of an answer is made of.

    gives: that part, in words. event, fields: a kind of events with this role, and the roles of fields it is read with.
    tunables: roles that tunables must have. must: without it there is no answer at all. part: only asked of a
    game that holds this; None: of any.
    """

    gives: str
    event: EventRole | None = None
    fields: tuple[FieldRole, ...] = ()
    tunables: tuple[TunableRole, ...] = ()
    must: bool = False
    part: Part | None = None


@dataclass(frozen=True)
class Question:
    """One question.

    find: answers it. short: its name in the navigation; its page is `/id`. title: the question as people ask it. lead:
    what the answer holds. needs: roles of events, one of which a game must have to be asked at all; none: any game.
    missing: what to do where there is no answer yet. uses: what its parts are made of. builds: so many must have been
    played. ignores: choices that make no difference to it ("stage", "attempts"), with the reason.
    """

    id: str
    find: Finder
    chapter: Chapter
    short: str
    title: str
    lead: str
    needs: frozenset[str] = frozenset()
    missing: tuple[str, ...] = ()
    uses: tuple[Use, ...] = ()
    builds: int = 1
    ignores: tuple[tuple[str, str], ...] = ()

    def applies(self, roles: Collection[str]) -> bool:
        """Whether a game whose events have these roles can be asked."""
        return not self.needs or not self.needs.isdisjoint(roles)


_RUNS = Use("the runs themselves", EventRole.RUN_START, must=True)
_ENDS = Use("which runs were finished, lost or given up", EventRole.RUN_END, (FieldRole.ENDING,))
_ALL = (
    Question(
        "trust",
        trust.find,
        Chapter.DATA,
        "Trust the data",
        "Can I trust the data?",
        "What reached the study, what was lost on the way, and which runs it touches.",
        missing=("Import a play log; its damage is counted and shown here.",),
        ignores=(("stage", "All stages: a log is received or lost as a whole."),),
    ),
    Question(
        "deaths",
        deaths.find,
        Chapter.EVIDENCE,
        "Where they die",
        "Where do they die?",
        "Places, causes and stages of death, on the console's own screen.",
        needs=frozenset({EventRole.DEATH}),
        missing=("If players do die: give that kind of event the role `death`, with the fields `x`, `y` and `cause`.",),
        uses=(
            _RUNS,
            Use("deaths", EventRole.DEATH, must=True),
            Use("the map of deaths", EventRole.DEATH, (FieldRole.X, FieldRole.Y)),
            Use("what kills", EventRole.DEATH, (FieldRole.CAUSE,)),
            Use("how dangerous a place is for the time spent there", EventRole.POSITION, (FieldRole.X, FieldRole.Y)),
            Use("the time to react to the shot that killed", EventRole.DEATH, (FieldRole.SHOT_AGO,), part=Part.STAGED),
        ),
    ),
    Question(
        "survival",
        survival.find,
        Chapter.EVIDENCE,
        "How long they last",
        "How long do they last?",
        "Time alive with quits and cut logs counted as what they are: runs whose end nobody saw.",
        missing=("Survival needs runs with a start and an end: log `run_start` and `run_end`.",),
        uses=(
            _RUNS,
            _ENDS,
            Use("lives, where a run has several", EventRole.DEATH),
            Use("how far runs get", EventRole.STAGE_START, (FieldRole.STAGE,), part=Part.STAGED),
        ),
    ),
    Question(
        "timing",
        timing.find,
        Chapter.EVIDENCE,
        "Hit the note",
        "Do they hit the note?",
        "How early or late people press, how much they spread, and what today's window makes of it.",
        needs=frozenset({EventRole.NOTE}),
        missing=(
            "A rhythm game logs `note` when a note is due and `press` for every press, hit or not.",
            "Log presses outside the window too: judged from hits alone, a proposal misses its target by far.",
        ),
        uses=(
            _RUNS,
            Use("when notes are due", EventRole.NOTE, must=True),
            Use("when people press", EventRole.PRESS, must=True),
            Use("the share of notes hit", tunables=(TunableRole.WINDOW_EARLY, TunableRole.WINDOW_LATE)),
            Use("each song by itself", EventRole.STAGE_START, (FieldRole.SONG,)),
            Use("the console's own verdicts", EventRole.VERDICT, (FieldRole.GRADE,)),
        ),
    ),
    Question(
        "players",
        players.find,
        Chapter.EVIDENCE,
        "Who plays",
        "Who plays, and how do they learn?",
        "Each player's attempts, what practice changes, who gives up, and how people rate it.",
        missing=("Tag the runs with their players while you record, or in the log's `run_start`.",),
        uses=(
            _RUNS,
            Use("who played a run", EventRole.RUN_START, (FieldRole.PLAYER,), must=True),
            _ENDS,
            Use("how people rate it", EventRole.RATING, (FieldRole.VALUE,)),
        ),
        ignores=(("stage", "All stages: players are told apart over whole runs."),),
    ),
    Question(
        "genres",
        games.find,
        Chapter.EVIDENCE,
        "How they play",
        "How do they play?",
        "What belongs to this kind of game alone: pieces and rows, shots and misses, weapon tiers.",
        needs=frozenset({*EVENTS[Part.STAGED], *EVENTS[Part.BLOCKS], *EVENTS[Part.TRIALS]}),
        missing=("Log what is this game's own: pieces, rows, trials, pick-ups or shots.",),
        uses=(
            _RUNS,
            Use("bosses against regular parts", EventRole.STAGE_START, (FieldRole.STAGE_KIND,), part=Part.STAGED),
            Use("lives and tiers through the stages", EventRole.PICKUP, (FieldRole.TIER,), part=Part.STAGED),
            Use("the wait for each piece", EventRole.PIECE, (FieldRole.PIECE,), part=Part.BLOCKS),
            Use("the time per piece", EventRole.LANDED, part=Part.BLOCKS),
            Use("hits and misses", EventRole.TRIAL, (FieldRole.SUCCESS,), part=Part.TRIALS),
            Use("speed against accuracy", EventRole.TRIAL, (FieldRole.SPEED,), part=Part.TRIALS),
        ),
    ),
    Question(
        "progress",
        progress.find,
        Chapter.OUTCOME,
        "Did it help",
        "Did it help?",
        "The builds compared, player by player, and compared with what was predicted.",
        missing=(
            "A comparison needs two builds: change a tunable, flash it, and let people play again.",
            "Let new people play it, or let half of all begin with the later build, and note who is new.",
        ),
        uses=(_RUNS,),
        builds=2,
        ignores=(
            ("stage", "All stages: builds are compared over whole runs."),
            ("attempts", "The targets say which attempts count."),
        ),
    ),
)
QUESTIONS: dict[str, Question] = {question.id: question for question in _ALL}


def in_chapter(*chapters: Chapter) -> list[Question]:
    """The questions of these chapters, in the order of the table."""
    return [question for question in QUESTIONS.values() if question.chapter in chapters]
