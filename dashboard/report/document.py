"""The report as one HTML file that needs nothing else and prints well: what its templates are given."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from analysis.finding import Finding
from analysis.words import cell, counted, estimated
from dashboard.figures import WIDE_ON_PAPER
from dashboard.figures.palette import LIGHT
from dashboard.parts import cautions
from dashboard.parts.cards import shared_warnings
from dashboard.report import proposals
from dashboard.report.content import Content, GamePart
from dashboard.web.filters import in_words
from dashboard.web.html_tables import table
from dashboard.web.templating import render

# Heading, and the template below it.
_SECTIONS = (
    ("Question and target", "question"),
    ("The playtest", "playtest"),
    ("Can the data be trusted?", "trust"),
    ("Findings", "findings"),
    ("What should be changed", "proposals"),
    ("Before and after", "progress"),
    ("The games side by side", "side_by_side"),
    ("Limits", "limits"),
    ("Methods", "methods"),
    ("Appendix", "appendix"),
)
# What a table beside another article may have at most.
_COLUMNS_IN_HALF = 4
_GAP = "To be filled in by the authors."
_FEW = 8  # players


class Numbering:
    """Figures and tables count through the whole report."""

    def __init__(self) -> None:
        self._figures = self._tables = 0

    def figure(self) -> str:
        """The next figure's name."""
        self._figures += 1
        return f"Figure {self._figures}"

    def table(self) -> str:
        """The next table's name."""
        self._tables += 1
        return f"Table {self._tables}"


@dataclass(frozen=True)
class Article:
    """A finding as the report shows it; `tables` are those small enough to be read in the text."""

    finding: Finding
    warnings: Sequence[str]
    picture: Markup | None
    amount: str
    tables: Mapping[str, Any]
    wide: bool


@dataclass(frozen=True)
class Answers:
    """What the findings say of one game; the warnings that most of them carry are said once."""

    game: str
    shared: Sequence[str]
    articles: Sequence[Article]


def document(content: Content, pictures: Mapping[str, Markup], scripts: Markup | None = None) -> str:
    """The HTML of `content`. `pictures`: figure name (see `picture_name`) -> its HTML; `scripts`: what they need."""
    several = len(content.games) > 1
    names = ", ".join(game.selection.game for game in content.games)
    return render(
        "report/whole.html",
        content=content,
        title=content.about.title or f"Playtest report: {names}",
        gap=_GAP,
        light=LIGHT,
        scripts=scripts or Markup(""),
        several=several,
        sections=[one for one in _SECTIONS if several or one[1] != "side_by_side"],
        count=Numbering(),
        table=table,
        people=[_people(game) for game in content.games],
        each=lambda chapter: [
            _answers(game, game.in_chapter(chapter), pictures, at) for at, game in enumerate(content.games)
        ],
        side_by_side=lambda: [_article(finding, pictures) for finding in content.side_by_side],
        captures=_captures(content),
        changed=proposals.changed,
        predicted=proposals.predicted,
        chances=proposals.chances,
        limits=_limits(content),
        cites={source.key: i for i, source in enumerate(content.sources, 1)},
        settings=_settings,
        cautions=[cautions.FLASHING, cautions.SOUND, cautions.WIRING, cautions.PRIVACY],
    )


def picture_name(game: int, finding: Finding) -> str:
    """The name of a finding's figure: also its file's."""
    return f"{game + 1}-{finding.key}".replace("/", "_")


def _people(game: GamePart) -> dict[str, Any]:
    people = {name: int(column[0]) for name, column in game.people.items() if name != "minutes"}
    minutes = float(game.people["minutes"][0])
    words = [
        in_words(game.selection) + ".",
        f"{counted(people['players'], 'player')} in {counted(people['runs'], 'run')}, "
        f"{cell(round(minutes, 1))} minutes alive in all.",
        f"{counted(people['new_players'], 'player')} had never played it before, as far as the log says.",
    ]
    if people["untagged"]:
        words.append(f"{counted(people['untagged'], 'run')} without a player tag, each taken as a player of its own.")
    endings = {
        "ending": ["finished", "game over", "quit by the player", "cut (log ends)"],
        "runs": [people[name] for name in ("finished", "game_over", "quit", "cut")],
    }
    return {"game": game.selection.game, "words": " ".join(words), "endings": endings, "flashing": game.flashing}


def _answers(game: GamePart, found: Sequence[Finding], pictures: Mapping[str, Markup], at: int) -> Answers:
    shared = shared_warnings(found)
    articles = [_article(finding, pictures, at, shared) for finding in found]
    return Answers(game.selection.game, sorted(shared), articles)


def _article(
    finding: Finding, pictures: Mapping[str, Markup], game: int = 0, said: frozenset[str] = frozenset()
) -> Article:
    picture = pictures.get(picture_name(game, finding))
    small = _small(finding) if picture is None else {}
    return Article(
        finding,
        warnings=[warning for warning in finding.warnings if warning not in said],
        picture=picture,
        # "no single figure" would repeat what the sentence already says.
        amount=f"{estimated(finding.estimate)}; " if finding.estimate is not None else "",
        tables=small,
        wide=finding.id in WIDE_ON_PAPER or any(len(t) > _COLUMNS_IN_HALF for t in small.values()),
    )


def _small(finding: Finding) -> dict[str, Any]:
    return {name: t for name, t in finding.tables.items() if 0 < len(t) <= 24 and len(t.columns) <= 9}


def _captures(content: Content) -> dict[str, Any]:
    names = {
        "log": "name",
        "bytes": "bytes",
        "runs": "runs",
        "events": "events",
        "bad packets": "rejected_packets",
        "lost packets": "missing_packets",
        "dropped events": "dropped_events",
    }
    return {label: content.captures[key] for label, key in names.items()}


def _settings(game: GamePart) -> dict[str, Any]:
    return {name: game.settings[name] for name in ("build", "tunable", "value", "low", "high", "step", "unit")}


def _limits(content: Content) -> list[str]:
    said: list[str] = []
    for game in content.games:
        name, players = game.selection.game, game.basis.players
        if players < _FEW:
            said.append(f"{name}: only {counted(players, 'player')}. Every interval here is indicative only.")
        if game.basis.damaged:
            said.append(f"{name}: {counted(game.basis.damaged, 'run')} with damage in the log.")
        if int(game.people["new_players"][0]) < players:
            said.append(
                f"{name}: not all players were known to be new to it. Testers more skilled than the audience "
                "make a game look easier than it is."
            )
    said += [warning for finding in content.findings for warning in finding.warnings]
    said += [
        "Runs of one player are alike, so intervals are by player; the players are those who came, not a random draw.",
        "Runs that were quit or cut off count as unseen endings. Who quits after repeated deaths is no random loss.",
    ]
    return list(dict.fromkeys(said))
