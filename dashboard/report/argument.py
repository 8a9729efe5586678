"""The report as an argument: summary, playtest, evidence, change, whether it helped, limits, authors, methods."""

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

import pandas as pd

from analysis.finding import Finding
from analysis.findings.questions import Chapter
from analysis.stats.estimate import FEW_PLAYERS, INNER, LEVEL, Estimate
from analysis.words import NONE, amount, capital, cell, counted, interval_name, listed, points, signed, span
from dashboard.figures import has_figure
from dashboard.parts.cards import shared_warnings
from dashboard.report.appendix import appendix, method_lines
from dashboard.report.captions import caption
from dashboard.report.content import BuildPlayed, Content, GamePart
from dashboard.report.document_blocks import (
    Article,
    Block,
    Bullets,
    Figure,
    Heading,
    Ref,
    Section,
    Sources,
    Table,
    Tone,
    own,
    say,
)
from dashboard.report.places_to_write import GAPS
from dashboard.report.proposed_change import change
from dashboard.report.report_figures import picture_name
from dashboard.report.summary import summary
from dashboard.web.filters import in_words

_BY_TARGET = (
    f"Each target on both builds, and the difference with its {interval_name(LEVEL)}. Where that spans 0, it may be "
    "chance."
)


def sections(content: Content) -> list[Section]:
    """The whole report, the appendix last."""
    several = len(content.games) > 1
    found: list[Section] = []
    for at, game in enumerate(content.games):
        if several:
            found.append(Section(game.selection.game, ()))
        level = 3 if several else 2
        labels = {finding.key: picture_name(at, finding) for finding in game.evidence}
        found.append(Section("Summary", tuple(summary(game, content.about, labels)), level, leads=True))
        found += [Section(heading, tuple(blocks), level) for heading, blocks in _of_game(content, game, at)]
    if several:
        found.append(Section("The games side by side", tuple(_side_by_side(content))))
    cited = tuple(content.own_sources)
    sources = (Heading("Sources"), Sources(cited)) if cited else ()
    found += [
        Section("Limits", (Bullets(tuple(limits(content))),)),
        Section("What we did, and what we make of it", tuple(_authors(content))),
        Section("Methods and sources", (*method_lines(content.methods.values()), *sources)),
    ]
    return [*found, *appendix(content)]


def _of_game(content: Content, game: GamePart, at: int) -> list[tuple[str, list[Block]]]:
    return [
        ("The playtest", _playtest(content, game, at)),
        ("The evidence", _evidence(game, at)),
        ("The change, and what is expected of it", change(game, at)),
        ("Did it help?", _helped(game, at)),
    ]


def _playtest(content: Content, game: GamePart, at: int) -> list[Block]:
    about, people = content.about, {name: int(column[0]) for name, column in game.people.items() if name != "minutes"}
    words = [
        f"{counted(people['players'], 'player')} made {counted(people['runs'], 'run')}; "
        f"{cell(round(float(game.people['minutes'][0]), 1))} minutes alive in all.",
        newcomers(people),
        f"The report covers {in_words(game.selection)}. The data hold player tags only, no names.",
    ]
    if people["untagged"]:
        words.append(f"{counted(people['untagged'], 'run')} without a player tag, each taken as a player of its own.")
    trust = [finding for finding in game.in_chapter(Chapter.DATA) if finding.id in ("trust.verdict", "trust.damaged")]
    label = f"{at + 1}-builds"
    return [
        *own(about.playtest, GAPS["playtest"], "How it was played."),
        *own(about.consent, GAPS["consent"], "Consent."),
        say(" ".join(words), " ", Ref(label), " has each build.", lead="Who played."),
        Table(
            _builds(game.builds),
            "The builds that were played, the first one on top: number of players and runs, minutes alive, and how "
            "many runs ended in which way.",
            label,
        ),
        say(" ".join(capital(finding.sentence) for finding in trust), lead="Can the data be trusted?"),
    ]


def newcomers(people: Mapping[str, int]) -> str:
    """How many had never played the game before; of whom nothing is known is no old hand."""
    unknown = people["players"] - people["told_players"]
    if not people["told_players"]:
        return "Whether anybody had played it before is not known."
    said = f"{counted(people['new_players'], 'player')} had never played it before, as far as the log says"
    return f"{said}; of {unknown} it is not known." if unknown else f"{said}."


def _builds(builds: tuple[BuildPlayed, ...]) -> dict[str, list[Any]]:
    columns: dict[str, list[Any]] = {"build": [one.label for one in builds]}
    if any(one.days for one in builds):
        columns["played"] = [" to ".join(one.days) or "–" for one in builds]
    counts = {"players": "players", "runs": "runs", "finished": "finished", "game over": "game_over"}
    columns |= {name: [one.count(key) for one in builds] for name, key in counts.items()}
    columns |= {name: [one.count(name) for one in builds] for name in ("quit", "cut")}
    columns["minutes"] = [round(one.people["minutes"], 1) for one in builds]
    return columns


def _evidence(game: GamePart, at: int) -> list[Block]:
    if not game.evidence:
        return [say("Nothing can be drawn from these data yet: play more runs, or choose more of them.")]
    names = [one.target.name for one in game.standings]
    why = (
        f"These figures bear on what was wanted: {listed(names)}."
        if names
        else "No target chose these figures: they are those that matter most in a game of this kind."
    )
    shared = shared_warnings(game.findings)
    blocks: list[Block] = [say(f"{why} All others are in the appendix.")]
    return blocks + [_large(finding, at, shared) for finding in game.evidence]


def _large(finding: Finding, at: int, shared: frozenset[str]) -> Article:
    label = picture_name(at, finding)
    return Article(
        (
            Heading(capital(finding.title)),
            say(f"{capital(finding.sentence)} (", Ref(label), ")", lead=finding.headline),
            *[say(capital(one), tone=Tone.WARNING) for one in finding.warnings if one not in shared],
            Figure(label, caption(finding), f"{finding.title}. {finding.sentence}", label),
        ),
        wide=True,
    )


def _helped(game: GamePart, at: int) -> list[Block]:
    found = game.outcome
    if not found:
        only = f"only one build, {game.builds[0].label}, was played" if len(game.builds) == 1 else "no two builds were"
        return [
            say(
                f"There is no before and after yet: {only}. Change something, flash it, and let people play again; "
                "half of them should begin with the old build."
            )
        ]
    blocks: list[Block] = []
    for finding in found:
        if finding.id != "progress.target":
            blocks += _outcome(finding, picture_name(at, finding))
    by_target = differences([finding for finding in found if finding.id == "progress.target"])
    if by_target["target"]:
        blocks.append(Table(by_target, _BY_TARGET, f"{at + 1}-by-target"))
    warnings = dict.fromkeys(capital(one) for finding in found for one in finding.warnings)
    return blocks + [say(one, tone=Tone.WARNING) for one in warnings]


def _outcome(finding: Finding, label: str) -> list[Block]:
    """The verdict with its figure, or the predictions with their table."""
    blocks: list[Block] = [say(capital(finding.sentence))]
    if has_figure(finding):
        blocks.append(Figure(label, caption(finding), finding.sentence, label))
    elif "predictions" in finding.tables:
        blocks.append(Table(predictions(finding.tables["predictions"]), f"{finding.title}, {finding.basis}.", label))
    return blocks


def predictions(kept: pd.DataFrame) -> dict[str, list[Any]]:
    """What had been predicted and what came, each in the words of its unit; `expected` is for as many as played."""
    rows = kept.to_dict("records")
    expected = [
        f"{amount(r['predicted'], r['unit'])} ({span(r['expected_low'], r['expected_high'], r['unit'])})" for r in rows
    ]
    return {
        "target": [r["target"] for r in rows],
        "proposal": [r["proposal"] for r in rows],
        f"expected, {interval_name(INNER)}": expected,
        "came": [amount(r["came"], r["unit"]) for r in rows],
        "inside": [r["inside"] for r in rows],
        "kept": [str(r["kept"])[:16].replace("T", " ") for r in rows],
    }


def differences(found: Sequence[Finding]) -> dict[str, list[Any]]:
    """Each target on two builds, by columns: both figures, their difference with its interval, of whom, the verdict."""
    columns: dict[str, list[Any]] = {"target": [finding.facts["target"] for finding in found]}
    tables = [finding.tables["builds"] for finding in found]
    units = [finding.facts["unit"] for finding in found]
    for side, name in enumerate(tables[0]["build"] if tables else ()):
        columns[str(name)] = [amount(t["figure"][side], unit) for t, unit in zip(tables, units, strict=True)]
    columns["difference"] = [_apart(finding.estimate) for finding in found]
    columns["players"] = [" and ".join(str(int(n)) for n in table["players"]) for table in tables]
    return columns | {"verdict": [finding.facts["verdict"] for finding in found]}


def _apart(estimate: Estimate | None) -> str:
    """`+17 points (-14 points to +56 points)`, as far as it is known."""
    if estimate is None or estimate.value is None:
        return NONE
    write = points if estimate.unit == "share" else partial(signed, unit=estimate.unit)
    if estimate.low is None or estimate.high is None:
        return write(estimate.value)
    return f"{write(estimate.value)} ({write(estimate.low)} to {write(estimate.high)})"


def _side_by_side(content: Content) -> list[Block]:
    return [
        Article(
            (
                Heading(capital(finding.title)),
                say(capital(finding.sentence)),
                Figure(picture_name(0, finding), caption(finding), finding.sentence, picture_name(0, finding)),
            )
        )
        for finding in content.side_by_side
    ]


def _authors(content: Content) -> list[Block]:
    about = content.about
    return [
        *own(about.contributions, GAPS["contributions"], "Who did what."),
        *own(about.interpretation, GAPS["interpretation"], "Our interpretation."),
    ]


def limits(content: Content) -> list[str]:
    """What weakens the argument, each said once: few players, damage, who came, and the findings' own warnings."""
    said: list[str] = []
    several = len(content.games) > 1
    for game in content.games:
        of = f"{game.selection.game}: " if several else ""
        players = game.basis.players
        if players < FEW_PLAYERS:
            said.append(f"{of}only {counted(players, 'player')}. Every interval here is indicative only.")
        if int(game.people["new_players"][0]) < players:
            said.append(
                f"{of}not all players were known to be new to it. Testers more skilled than the audience make a game "
                "look easier than it is."
            )
        said += [one for finding in (*game.evidence, *game.outcome) for one in finding.warnings]
        said += [one for proposal in game.proposals[:1] for one in proposal.warnings]
    said += [
        "Runs of one player are alike, so intervals are by player; the players are those who came, not a random draw.",
        "Runs that were quit or cut off count as unseen endings. Who quits after repeated deaths is no random loss.",
    ]
    return [f"{capital(one).rstrip('.')}." for one in dict.fromkeys(said)]
