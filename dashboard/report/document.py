"""The report as one HTML file that needs nothing else and prints well."""

from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from analysis.finding import Finding
from analysis.words import capital, cell, counted, estimated
from dashboard import cautions
from dashboard.cards import shared_warnings
from dashboard.figures import WIDE_ON_PAPER
from dashboard.filters import in_words
from dashboard.report.content import Content, GamePart
from dashboard.report.markup import listed, tag, text
from dashboard.report.proposals import proposal_part
from dashboard.report.style import STYLE
from dashboard.web.tables import table

EVIDENCE = ("deaths", "survival", "timing", "players", "genres")
# What a table beside another article may have at most.
_COLUMNS_IN_HALF = 4
_GAP = "To be filled in by the authors."


class Numbering:
    """Figures and tables count through the whole report."""

    def __init__(self) -> None:
        self.figures = self.tables = 0

    def figure(self) -> str:
        """The next figure's name."""
        self.figures += 1
        return f"Figure {self.figures}"

    def table(self) -> str:
        """The next table's name."""
        self.tables += 1
        return f"Table {self.tables}"


def document(content: Content, pictures: Mapping[str, Markup], scripts: str = "") -> str:
    """The HTML of `content`. `pictures`: figure name (see `picture_name`) -> its markup; `scripts`: what they need."""
    count = Numbering()
    cites = {source.key: i for i, source in enumerate(content.sources, 1)}
    sections = [
        ("Question and target", [_question(content), *[_targets(game) for game in content.games]]),
        ("The playtest", [_playtest(content), *[_people(game, count) for game in content.games]]),
        (
            "Can the data be trusted?",
            [_each(content, ("trust",), pictures, count), _captures(content, count)],
        ),
        ("Findings", [_each(content, EVIDENCE, pictures, count)]),
        (
            "What should be changed",
            [proposal_part(game, count, len(content.games) > 1) for game in content.games],
        ),
        ("Before and after", [_each(content, ("progress",), pictures, count)]),
    ]
    if len(content.games) > 1:
        sections.append(
            (
                "The games side by side",
                [tag("div", [_shown(f, pictures, count) for f in content.side_by_side], class_="columns")],
            )
        )
    sections += [
        ("Limits", [_limits(content)]),
        ("Methods", [_methods(content, cites)]),
        ("Appendix", [_appendix(content, count)]),
    ]
    title = content.about.title or "Playtest report: " + ", ".join(
        game.selection.game for game in content.games
    )
    head = tag(
        "header",
        tag("h1", title),
        tag("p", content.about.authors or _GAP, class_="authors"),
        tag(
            "p",
            f"{content.made_at} · data fingerprint ",
            tag("code", content.fingerprint),
            f" · Setscrew {content.setscrew}",
            class_="small",
        ),
    )
    contents = tag(
        "nav",
        tag("ol", [tag("li", tag("a", name, href=f"#s{i}")) for i, (name, _) in enumerate(sections, 1)]),
        aria_label="Contents",
    )
    body = [
        tag("section", tag("h2", f"{i}. {name}"), parts, id=f"s{i}")
        for i, (name, parts) in enumerate(sections, 1)
    ]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"{tag('title', title)}<style>{STYLE}</style></head>"
        f"<body>{text(head, contents, tag('main', body))}{scripts}</body></html>\n"
    )


def picture_name(game: int, finding: Finding) -> str:
    """The name of a finding's figure: also its file's."""
    return f"{game + 1}-{finding.id}".replace("/", "_")


def _question(content: Content) -> Markup:
    return tag("p", content.about.question or _GAP, class_="authors-own" if content.about.question else "gap")


def _targets(game: GamePart) -> Markup:
    name = game.selection.game
    if game.given_targets:
        return text(
            tag("p", f"{name}: the target, as handed in with this report."),
            tag("pre", game.given_targets.strip()),
        )
    if not len(game.targets["noted_at"]):
        words = (
            f"{name}: no target was written down in the study. A target set after looking at the data proves "
            "little."
        )
        return tag("p", words, class_="warning")
    when = str(game.targets["noted_at"][0])[:16]
    return text(
        tag("p", f"{name}: the target, noted {when} UTC."),
        tag("pre", str(game.targets["target_toml"][0]).strip()),
    )


def _playtest(content: Content) -> Markup:
    about = content.about
    return text(
        tag("h3", "How it was run"),
        tag("p", about.playtest or _GAP, class_="" if about.playtest else "gap"),
        tag("h3", "Consent and privacy"),
        tag("p", about.consent or _GAP, class_="" if about.consent else "gap"),
        tag("p", "The data hold player tags only, no names."),
    )


def _people(game: GamePart, count: Numbering) -> Markup:
    people = {name: int(column[0]) for name, column in game.people.items() if name != "minutes"}
    minutes = float(game.people["minutes"][0])
    words = [
        f"{counted(people['players'], 'player')} in {counted(people['runs'], 'run')}, "
        f"{cell(round(minutes, 1))} minutes alive in all."
    ]
    words.append(
        f"{counted(people['new_players'], 'player')} had never played it before, as far as the log says."
    )
    if people["untagged"]:
        words.append(
            f"{counted(people['untagged'], 'run')} without a player tag, each taken as a player of its own."
        )
    rows = {"ending": ["finished", "game over", "quit by the player", "cut (log ends)"]}
    ends = [people[name] for name in ("finished", "game_over", "quit", "cut")]
    return text(
        tag("h3", game.selection.game),
        tag("p", in_words(game.selection) + ". " + " ".join(words)),
        table(rows | {"runs": ends}, f"{count.table()}. How the runs of {game.selection.game} ended."),
        tag("p", game.flashing, class_="small"),
    )


def _each(
    content: Content, questions: tuple[str, ...], pictures: Mapping[str, Markup], count: Numbering
) -> Markup:
    parts: list[Markup] = []
    for g, game in enumerate(content.games):
        found = game.on(*questions)
        if len(content.games) > 1:
            parts.append(tag("h3", game.selection.game))
        shared = shared_warnings(found)
        parts += [tag("p", capital(warning), class_="warning") for warning in sorted(shared)]
        shown = [_shown(finding, pictures, count, g, shared) for finding in found]
        parts.append(tag("div", shown, class_="columns"))
        if not found:
            parts.append(
                tag(
                    "p",
                    f"{game.selection.game}: nothing can be said on this from these data.",
                    class_="small",
                )
            )
    return text(parts)


def _shown(
    finding: Finding,
    pictures: Mapping[str, Markup],
    count: Numbering,
    game: int = 0,
    said: frozenset[str] = frozenset(),
) -> Markup:
    picture = pictures.get(picture_name(game, finding))
    legend = f"{count.figure()}. {capital(finding.title)}." if picture is not None else None
    # "no single figure" would repeat what the sentence already says.
    amount = f"{estimated(finding.estimate)}; " if finding.estimate is not None else ""
    small = _small(finding) if picture is None else {}
    wide = finding.id in WIDE_ON_PAPER or any(len(t) > _COLUMNS_IN_HALF for t in small.values())
    return tag(
        "article",
        tag("h4", capital(finding.title)),
        tag("p", capital(finding.sentence)),
        [tag("p", capital(warning), class_="warning") for warning in finding.warnings if warning not in said],
        tag("figure", picture, tag("figcaption", legend)) if picture is not None else None,
        tag("p", f"{amount}{finding.basis}. ", tag("code", finding.id), class_="small"),
        [
            table(t, f"{count.table()}. {finding.title}: {name.replace('_', ' ')}.")
            for name, t in small.items()
        ],
        **({"class_": "wide"} if wide else {}),
    )


def _small(finding: Finding) -> dict[str, Mapping[str, Any]]:
    """The tables of a finding that are small enough to be read in the text."""
    return {name: t for name, t in finding.tables.items() if 0 < len(t) <= 24 and len(t.columns) <= 9}


def _captures(content: Content, count: Numbering) -> Markup:
    columns = content.captures
    names = {
        "name": "log", "bytes": "bytes", "runs": "runs", "events": "events", "rejected_packets": "bad packets",
        "missing_packets": "lost packets", "dropped_events": "dropped events",
    }  # fmt: skip
    return table(
        {label: columns[key] for key, label in names.items()},
        f"{count.table()}. The logs behind this report.",
        most=60,
    )


def _limits(content: Content) -> Markup:
    said: dict[str, None] = {}
    for game in content.games:
        name = game.selection.game
        if game.basis.players < 8:
            said[
                f"{name}: only {counted(game.basis.players, 'player')}. Every interval here is indicative only."
            ] = None
        if game.basis.damaged:
            said[f"{name}: {counted(game.basis.damaged, 'run')} with damage in the log."] = None
        if int(game.people["new_players"][0]) < game.basis.players:
            said[
                f"{name}: not all players were known to be new to it. Testers more skilled than the audience "
                "make a game "
                "look easier than it is."
            ] = None
    for finding in content.findings:
        for warning in finding.warnings:
            said[warning] = None
    general = (
        "Runs of one player are alike, so intervals are by player; the players are those who came, not a random draw.",
        "Runs that were quit or cut off count as unseen endings. Who quits after repeated deaths is no random loss.",
    )
    return listed([*said, *general])


def _methods(content: Content, cites: Mapping[str, int]) -> Markup:
    parts = [
        tag("p", tag("b", method.name + ". "), method.text, [f" [{cites[s.key]}]" for s in method.sources])
        for method in content.methods.values()
    ]
    return text(
        parts, tag("h3", "Sources"), tag("ol", [tag("li", s.text) for s in content.sources], class_="sources")
    )


def _appendix(content: Content, count: Numbering) -> Markup:
    parts: list[Markup] = [tag("h3", "The tunables of each build")]
    for game in content.games:
        names = ("build", "tunable", "value", "low", "high", "step", "unit")
        shown = {name: game.settings[name] for name in names}
        parts.append(table(shown, f"{count.table()}. Tunables of {game.selection.game}.", most=200))
    parts += [
        tag("h3", "Rebuilding this report"),
        tag(
            "p",
            "The raw play logs are the truth: ingested into a fresh study they give the fingerprint ",
            tag("code", content.fingerprint),
            " again, as long as no note on a run was changed. Their SHA-256 sums:",
        ),
        table({"log": content.captures["name"], "SHA-256": content.captures["sha256"]}, None, most=200),
        tag("h3", "Cautions"),
        listed([cautions.FLASHING, cautions.SOUND, cautions.WIRING, cautions.PRIVACY]),
    ]
    return text(parts)
