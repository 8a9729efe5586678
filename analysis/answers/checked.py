"""What the analysis will be able to answer from a game's logs, and what they would have to hold for the rest."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from analysis.answers.answer import Answer
from analysis.words import counted, listed

if TYPE_CHECKING:
    import pandas as pd

_NEXT = {
    "no": "Log what your game has of this, or give it its role where it is logged already, before people come to play.",
    "not yet": "Play on, and check again: what is declared has still to be seen.",
}


class Can(StrEnum):
    """Whether something can be answered, from best to worst."""

    YES = "yes"
    IN_PART = "in part"
    NOT_YET = "not yet"  # all of it is declared, but not all of it was seen in these logs
    NO = "no"


@dataclass(frozen=True)
class Lack:
    """Something that is missing. gives: what it would give; log: what to log or declare for it, in words.

    declared: it is declared already, and only has not been seen yet.
    """

    gives: str
    log: str
    declared: bool = False

    def __str__(self) -> str:
        return f"{self.gives}: {'not seen yet: ' if self.declared else ''}{self.log}"


@dataclass(frozen=True)
class Line:
    """A question, or a tunable that proposals could change: whether it can be, and what is missing."""

    id: str
    name: str
    can: Can
    lacks: tuple[Lack, ...] = ()


@dataclass(frozen=True)
class GameChecked:
    """One game. questions: in the order of the table of questions; tunables: of its newest build."""

    game: str
    firmware: str
    events: int
    runs: int
    questions: tuple[Line, ...]
    tunables: tuple[Line, ...]

    @property
    def sentence(self) -> str:
        """The answer in a sentence."""
        told = [f"{self._count(can)} {words}" for can, words in _COUNTED.items() if self._count(can)]
        turned = sum(line.can in (Can.YES, Can.NOT_YET) for line in self.tunables)
        levers = f"{turned} of {counted(len(self.tunables), 'tunable')}" if self.tunables else "no tunable"
        return f"Of {len(self.questions)} questions, {listed(told)}; proposals can turn {levers}."

    def _count(self, can: Can) -> int:
        return sum(line.can == can for line in self.questions)

    def text(self) -> str:
        """The game as `setscrew check` prints it."""
        size = f"{counted(self.runs, 'run')}, {counted(self.events, 'event')} with a role"
        lines = [f"{self.game} {self.firmware} - {size}", self.sentence, ""]
        lines += [row for line in self.questions for row in _rows(line)]
        if self.tunables:
            lines += ["", "Tunables that proposals can turn:"]
            lines += [row for line in self.tunables for row in _rows(line)]
        worst = next((can for can in (Can.NO, Can.NOT_YET) if any(one.can == can for one in self.questions)), None)
        return "\n".join(lines + (["", _NEXT[worst]] if worst else []))


_COUNTED = {Can.YES: "can be answered in full", Can.IN_PART: "in part", Can.NOT_YET: "not yet", Can.NO: "not at all"}


def _rows(line: Line) -> Iterator[str]:
    """A line of the table: what is missing stands below each other."""
    width = max(map(len, Can)) + 2
    yield f"  {line.can:<{width}}{line.name}"
    for lack in line.lacks:
        yield f"  {'':<{width}}  - {lack}"


@dataclass(frozen=True, repr=False)
class Checked(Answer):
    """What can be answered of each game. missing: why nothing can be said, or ""."""

    study: str
    games: tuple[GameChecked, ...]
    missing: str = ""

    def __getitem__(self, name: str) -> Line:
        """The question or tunable of that id or name, of the first game that has it. Raises KeyError."""
        return {line.id: line for game in reversed(self.games) for line in (*game.tunables, *game.questions)}[name]

    @property
    def frame(self) -> "pd.DataFrame":
        """A row for each question and tunable, and for each thing it lacks: game, what, id, name, can, gives, log."""
        import pandas as pd

        rows = [
            [
                game.game,
                what,
                line.id,
                line.name,
                str(line.can),
                *(("", "") if lack is None else (lack.gives, lack.log)),
            ]
            for game in self.games
            for what, lines in (("question", game.questions), ("tunable", game.tunables))
            for line in lines
            for lack in (line.lacks or (None,))
        ]
        return pd.DataFrame(rows, columns=["game", "what", "id", "name", "can", "gives", "log"])

    def to_json(self) -> dict[str, Any]:
        """The keys of `setscrew check --json`."""
        from importlib.metadata import version

        games = [asdict(game) | {"sentence": game.sentence} for game in self.games]
        return {"setscrew": version("setscrew"), "study": self.study, "games": games, "why": self.missing}

    def text(self) -> str:
        """What `setscrew check` prints."""
        return "\n\n".join(game.text() for game in self.games) or self.missing
