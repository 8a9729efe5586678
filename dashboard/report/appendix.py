"""The appendix: every finding that the argument leaves out, the tunables, the logs, and how to build it all again."""

from collections.abc import Iterable, Sequence
from typing import Any

from analysis.finding import Finding
from analysis.findings.questions import QUESTIONS, Question
from analysis.methods import Method
from analysis.words import capital, estimated
from dashboard.figures import WIDE_ON_PAPER, has_figure
from dashboard.parts import cautions
from dashboard.parts.cards import shared_warnings
from dashboard.report.captions import caption
from dashboard.report.content import Content, GamePart
from dashboard.report.document_blocks import (
    Article,
    Block,
    Bullets,
    Cite,
    Figure,
    Heading,
    Section,
    Sources,
    Table,
    Tone,
    Verbatim,
    say,
)
from dashboard.report.report_figures import picture_name

# What a table beside another article may have at most, and what may stand in the text at all.
_COLUMNS_IN_HALF, _MOST_COLUMNS, _MOST_ROWS = 4, 9, 24


def appendix(content: Content) -> list[Section]:
    """Its sections; the first one begins it."""
    found = [
        _question(game, at, question, content)
        for at, game in enumerate(content.games)
        for question in QUESTIONS.values()
    ]
    found = [section for section in found if section.blocks]
    found += [
        Section("Targets and tunables", tuple(_tunables(content))),
        Section("The logs, and how to build this report again", tuple(_rebuilding(content))),
    ]
    if content.further_methods:
        more = tuple(one for one in content.sources if one not in content.own_sources)
        lines = method_lines(content.further_methods.values())
        found.append(Section("Methods of the appendix", (*lines, Heading("Sources"), Sources(more, further=True))))
    first, *others = found
    return [Section(first.heading, first.blocks, apart=True), *others]


def _question(game: GamePart, at: int, question: Question, content: Content) -> Section:
    said = {finding.key for finding in (*game.evidence, *game.outcome)}
    found = [finding for finding in game.findings if finding.question == question.id and finding.key not in said]
    shared = shared_warnings(found)
    blocks: list[Block] = [say(capital(one), tone=Tone.WARNING) for one in sorted(shared)] if found else []
    blocks += [article(finding, at, shared) for finding in found]
    of = f"{game.selection.game}: " if len(content.games) > 1 else ""
    return Section(f"{of}{question.title}", tuple(blocks))


def article(finding: Finding, at: int, said: frozenset[str] = frozenset()) -> Article:
    """A finding with its figure, or with those of its tables that are small enough to be read."""
    label = picture_name(at, finding)
    blocks: list[Block] = [Heading(capital(finding.title)), say(capital(finding.sentence), lead=finding.headline)]
    blocks += [say(capital(one), tone=Tone.WARNING) for one in finding.warnings if one not in said]
    tables: Sequence[tuple[str, Any]] = ()
    if has_figure(finding):
        blocks.append(Figure(label, caption(finding), f"{finding.title}. {finding.sentence}", label))
        basis = ""
    else:
        basis = f"{finding.basis}. "
        tables = [(name, t) for name, t in finding.tables.items() if 0 < len(t) <= _MOST_ROWS]
        # Lists of single runs are for the files.
        tables = [(name, t) for name, t in tables if len(t.columns) <= _MOST_COLUMNS and "run_id" not in t]
    amount = f"{estimated(finding.estimate)}. " if finding.estimate is not None else ""
    blocks.append(say(f"{amount}{basis}`{finding.id}`", tone=Tone.ASIDE))
    blocks += [
        Table(t, f"{capital(finding.title)}: {name.replace('_', ' ')}.", f"{label}-{name}") for name, t in tables
    ]
    wide = finding.id in WIDE_ON_PAPER or any(len(t.columns) > _COLUMNS_IN_HALF for _, t in tables)
    return Article(tuple(blocks), wide)


def _tunables(content: Content) -> list[Block]:
    blocks: list[Block] = []
    for at, game in enumerate(content.games):
        name = game.selection.game
        text = game.given_targets or (game.targets.text if game.targets else "")
        if text:
            how = "as handed in with this report"
            if game.targets and not game.given_targets:
                how = f"noted {game.targets.noted_at[:16]}"
            blocks += [say(f"The targets of {name}, {how}."), Verbatim(text.strip())]
        names = ("build", "tunable", "value", "low", "high", "step", "unit")
        columns = {one: game.settings[one] for one in names}
        caption_of = f"The tunables of {name}: the value on each build, and what the firmware allows."
        blocks.append(Table(columns, caption_of, f"{at + 1}-tunables"))
        if game.proposals:
            blocks += _ways(game)
    return blocks


def _ways(game: GamePart) -> list[Block]:
    """The proposals that the argument leaves out, and what all of them assume."""
    name, (first, *others) = game.selection.game, game.proposals
    blocks: list[Block] = []
    if others:
        blocks += [Heading(f"Other ways to change {name}"), Bullets(tuple(one.sentence for one in others))]
    if first.assumptions:
        blocks += [Heading(f"What the proposals for {name} assume"), Bullets(first.assumptions)]
    return blocks


def _rebuilding(content: Content) -> list[Block]:
    names = {
        "log": "name",
        "bytes": "bytes",
        "runs": "runs",
        "events": "events",
        "bad packets": "rejected_packets",
        "lost packets": "missing_packets",
        "dropped events": "dropped_events",
    }
    logs = {label: content.captures[key] for label, key in names.items()}
    sums = {"log": content.captures["name"], "SHA-256": content.captures["sha256"]}
    again = (
        "The raw play logs are the truth: ingested into a fresh study they give the fingerprint "
        f"{content.fingerprint} again, as long as no note on a run was changed."
    )
    flashes = tuple(f"{game.selection.game}: {game.flashing}" for game in content.games)
    own_cautions = (*flashes, cautions.SOUND, cautions.WIRING, cautions.PRIVACY)
    return [
        Table(logs, "The logs behind this report, and what was lost on the way.", "logs", 60),
        say(again),
        Table(sums, "SHA-256 of each log.", "sums"),
        Heading("Cautions"),
        Bullets(own_cautions),
    ]


def method_lines(methods: Iterable[Method]) -> list[Block]:
    """Each method in a paragraph that cites its sources."""
    blocks: list[Block] = []
    for method in methods:
        cites = [piece for source in method.sources for piece in (" ", Cite(source.key))]
        blocks.append(say(method.text, *cites, lead=f"{method.name}."))
    return blocks
