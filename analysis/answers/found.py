"""The findings on a study, a game at a time."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from html import escape
from typing import TYPE_CHECKING, Any

from analysis.answers.answer import Answer, head, lines_of, methods_used
from analysis.selection import Selection, builds_in_words
from analysis.words import counted

if TYPE_CHECKING:
    import pandas as pd

    from analysis.finding import Finding
    from analysis.reader import Reader


@dataclass(frozen=True)
class GameFound:
    """The findings on the chosen runs of one game."""

    selection: Selection
    builds: tuple[str, ...]
    players: int
    runs: int
    findings: tuple["Finding", ...]

    @property
    def game(self) -> str:
        return self.selection.game

    def to_json(self) -> dict[str, Any]:
        """The game as JSON values."""
        chosen = {n: list(v) if isinstance(v, tuple) else v for n, v in asdict(self.selection).items()}
        return {
            "game": self.game,
            "selection": chosen,
            "builds": list(self.builds),
            "players": self.players,
            "runs": self.runs,
            "findings": [finding.to_json() for finding in self.findings],
        }

    def text(self) -> str:
        """The game as `setscrew findings` prints it: the answer to each question that has one."""
        from analysis.findings.leading import arranged
        from analysis.findings.questions import QUESTIONS

        lines = [self._head()]
        by_question = [[f for f in self.findings if f.question == question] for question in QUESTIONS]
        answers = [arranged(found).answer for found in by_question if found]
        # What this game cannot be asked is not worth a line.
        answers = [one for one in answers if one.id != f"{one.question}.none"]
        told = [one for one in answers if one.headline]
        side = max((len(QUESTIONS[one.question].short) for one in told), default=0)
        for one in told:
            said = f"{one.headline} ({one.certainty})"
            lines += lines_of(said, " " * (side + 2), f"{QUESTIONS[one.question].short:<{side}}  ")
        silent = [QUESTIONS[one.question].short for one in answers if not one.headline]
        if self.selection.maybe_newest:
            # No runs are chosen as long as it is open which build came last; the reason tells what to do.
            reasons = dict.fromkeys(f.sentence for f in self.findings if f.id == f"{f.question}.none")
            lines += ["", *(line for reason in reasons for line in lines_of(reason))]
        elif silent:
            lines += ["", *lines_of(f"Nothing stands out yet: {', '.join(silent)}.")]
        return "\n".join(lines)

    def full_text(self) -> str:
        """The game as `setscrew findings --all` prints it."""
        return "\n".join([self._head(), *map(str, self.findings)])

    def _head(self) -> str:
        size = f"{builds_in_words(self.selection)}, {counted(self.players, 'player')}, {counted(self.runs, 'run')}"
        return f"\n{self.game} — {size}\n"


@dataclass(frozen=True, repr=False)
class Found(Answer):
    """Findings of one or more games; to be gone through, counted, or asked for one by its id.

    games: a GameFound for each. missing: why no run was chosen, or "".
    """

    study: str
    fingerprint: str
    games: tuple[GameFound, ...]
    missing: str = ""

    def __iter__(self) -> Iterator["Finding"]:
        return (finding for game in self.games for finding in game.findings)

    def __len__(self) -> int:
        return sum(len(game.findings) for game in self.games)

    def __getitem__(self, finding_id: str) -> "Finding":
        """The finding of that key, or the first of that id. Raises KeyError, with the ids there are."""
        for finding in self:
            if finding_id in (finding.id, finding.key):
                return finding
        raise KeyError(f"no finding {finding_id!r} on these runs; there are: {', '.join(f.id for f in self)}")

    @property
    def frame(self) -> "pd.DataFrame":
        """One row a finding: game, id, title, sentence, players, runs, and value, low, high, unit of its estimate."""
        import pandas as pd

        columns = ["game", "id", "title", "sentence", "players", "runs", "value", "low", "high", "unit"]
        rows = [
            [game.game, f.id, f.title, f.sentence, f.players, f.runs, *_estimated(f)]
            for game in self.games
            for f in game.findings
        ]
        return pd.DataFrame(rows, columns=columns)

    def to_json(self) -> dict[str, Any]:
        """The keys of `setscrew findings --json`."""
        return head(self.study, self.fingerprint) | {
            "games": [game.to_json() for game in self.games],
            "methods": methods_used(finding.method for finding in self),
        }

    def text(self) -> str:
        """What `setscrew findings` prints."""
        games = [game.text() for game in self.games if game.runs or game.findings]
        more = "Every finding with its interval: --all. Data fingerprint"
        return "\n".join([*games, f"\n{more} {self.fingerprint}"])

    def full_text(self) -> str:
        """What `setscrew findings --all` prints."""
        return "\n".join([*(game.full_text() for game in self.games), f"\nData fingerprint {self.fingerprint}"])

    def _repr_html_(self) -> str:
        parts = [
            f"<h3>{escape(game.game)}</h3>" + "".join(f._repr_html_() for f in game.findings) for game in self.games
        ]
        return "".join(parts) + (f"<p>{escape(self.missing)}</p>" if self.missing else "")


def find_all(reader: "Reader", study: str, chosen: list[Selection], questions: tuple[str, ...], missing: str) -> Found:
    """The findings on each of `chosen`; `missing` says why there is none where no run is chosen."""
    games = tuple(_of_game(reader, selection, questions) for selection in chosen)
    return Found(study, reader.fingerprint(), games, "" if any(g.findings for g in games) else missing)


def _of_game(reader: "Reader", selection: Selection, questions: tuple[str, ...]) -> GameFound:
    from analysis.findings import find

    size = reader.ask_chosen("chosen_size", selection)
    runs = int(size["runs"][0])
    return GameFound(
        selection,
        tuple(reader.ask("game_builds", game=selection.game)["build"]),
        int(size["players"][0]),
        runs,
        tuple(find(reader, selection, questions)) if runs or selection.maybe_newest else (),
    )


def _estimated(finding: "Finding") -> tuple[Any, ...]:
    e = finding.estimate
    return (None, None, None, "") if e is None else (e.value, e.low, e.high, e.unit)
