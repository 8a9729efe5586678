"""The change and its prediction: what differs between the builds, what is proposed, and what is expected of it."""

from collections.abc import Mapping
from typing import Any

from analysis.tuning.headline import QUITS_DIFFER, SIDE_EFFECTS
from analysis.tuning.proposal import Proposal, quit_shares
from analysis.words import amount, cell, counted, listed, with_span
from dashboard.report.content import BuildPlayed, GamePart
from dashboard.report.document_blocks import Block, Bullets, Figure, Ref, Table, say
from dashboard.report.report_figures import change_name

CAPTION = (
    "What is expected of the proposal, each figure on a scale of its own. The ring is today's build and the dot the "
    "proposal, both as the model sees them; their bands are 80 % intervals, and side effects have none. The cross is "
    "what was counted on today's build, with its players and runs. The green field is what is wanted, within the "
    "tolerance. Read each line from the ring to the dot: it should end in the field, and no side effect (red: worse "
    "for players) should move far."
)
TABLE = "The same in numbers. In brackets: 80 % intervals of what is predicted, and n of what was counted."


def change(game: GamePart, at: int) -> list[Block]:
    """The section."""
    blocks: list[Block] = []
    label = f"{at + 1}-change"
    columns = changes(game)
    if columns["tunable"]:
        blocks += [
            say("What differs between the builds that were played, and what is proposed next: ", Ref(label), "."),
            Table(columns, "Values of the tunables, build by build, and as proposed.", label),
        ]
    elif len(game.builds) > 1:
        blocks.append(say("No declared value differs between the builds that were played."))
    if not game.proposals:
        return [*blocks, say(f"No change is proposed. {game.no_proposal or 'No proposal was asked for.'}")]
    first, *others = game.proposals
    blocks.append(say(first.sentence, lead="The proposal."))
    if first.targets and first.changes:
        shown, told = change_name(at), f"{at + 1}-predicted"
        blocks += [
            Figure(shown, caption(first), "Each target, and what else would change, before and after", shown),
            Table(predicted(first, game.first_runs[0]), TABLE, told),
        ]
    if first.changes and "quit_share" not in first.side_effects.get("now", {}):
        blocks.append(say(_left_open(first, game.builds)))
    blocks.append(say(chances(first)))
    if first.settles_it:
        blocks.append(say(f"{first.settles_it}.", lead="What would settle it:"))
    carried = [f"{name}: {words}" for name, words in first.carried_by.items()]
    if carried:
        blocks += [say("What carries it:"), Bullets(tuple(_merged(carried)))]
    if others:
        blocks.append(say(f"{counted(len(others), 'other way')} to change it: see the appendix."))
    return blocks


def caption(proposal: Proposal) -> str:
    """How the figure of a proposal is to be read."""
    return f"{CAPTION} {QUITS_DIFFER}" if quit_shares(proposal.side_effects) else CAPTION


def _left_open(proposal: Proposal, builds: tuple[BuildPlayed, ...]) -> str:
    """That the model of this kind of game says nothing of giving up, and what was counted of it."""
    said = "The model of this game says nothing of giving up or of the length of a run."
    played = next((one for one in builds if one.label == proposal.build), None)
    if played is None or played.quit_share is None:
        return said
    return (
        f"{said} Counted on {played.label}: {amount(played.quit_share, 'share')} of "
        f"{counted(played.count('runs'), 'run')} were given up, and a run took {amount(played.run_length_s, 's')} "
        "alive on average. Look at both after the next playtest."
    )


def _merged(carried: list[str]) -> list[str]:
    """Tunables that the same words carry, on one line."""
    names: dict[str, list[str]] = {}
    for line in carried:
        name, _, words = line.partition(": ")
        names.setdefault(words, []).append(name)
    return [f"{listed(those)}: {words}" for words, those in names.items()]


def changes(game: GamePart) -> dict[str, list[Any]]:
    """The tunables that differ between the last two builds, or that are to be changed, by columns."""
    settings = game.settings
    rows = zip(*(settings[name] for name in ("build", "tunable", "value", "unit")), strict=True)
    values: dict[str, dict[str, Any]] = {}
    units: dict[str, str] = {}
    for build, tunable, value, unit in rows:
        values.setdefault(str(tunable), {})[str(build)] = value
        units[str(tunable)] = str(unit or "")
    builds = [one.label for one in game.builds[-2:]]
    to_be = {one.tunable: one.proposed for one in game.proposals[0].changes} if game.proposals else {}
    kept = [
        name
        for name, by_build in values.items()
        if name in to_be or len({by_build[build] for build in builds if build in by_build}) > 1
    ]
    columns: dict[str, list[Any]] = {"tunable": kept}
    columns |= {build: [values[name].get(build) for name in kept] for build in builds}
    if to_be:
        columns["proposed"] = [to_be.get(name, values[name].get(builds[-1]) if builds else None) for name in kept]
    return columns | {"unit": [units[name] for name in kept]}


def predicted(proposal: Proposal, seen: Mapping[str, float | None]) -> dict[str, list[Any]]:
    """Each target and each side effect, by columns: wanted, counted, predicted without and with the change.

    seen: side effect -> what was counted of it.
    """
    lines: list[list[str]] = []
    for t in proposal.targets:
        counted_of_it = f"{amount(t.observed, t.unit)} (n = {t.observed_players})"
        spans = [with_span(one.value, one.low80, one.high80, t.unit) for one in (t.now, t.proposed)]
        lines.append([t.target, amount(t.wanted, t.unit), counted_of_it, *spans])
    now, then = (proposal.side_effects.get(name, {}) for name in ("now", "proposed"))
    for key, (what, unit, _) in SIDE_EFFECTS.items():
        if isinstance(now.get(key), float) and isinstance(then.get(key), float):
            lines.append([what, "–", amount(seen.get(key), unit, "–"), amount(now[key], unit), amount(then[key], unit)])
    names = ("figure", "wanted", "counted", "predicted, no change", "predicted, as proposed")
    return {name: [line[i] for line in lines] for i, name in enumerate(names)}


def chances(proposal: Proposal) -> str:
    """How sure it is, and what it rests on."""
    return (
        f"Chance of being better than no change: {amount(proposal.chance_better, 'share')}; that every target is met "
        f"within its tolerance: {amount(proposal.chance_close, 'share')}. It rests on "
        f"{counted(proposal.players, 'player')} and {counted(proposal.runs, 'run')}, with "
        f"{cell(round(proposal.effective_draws))} effective draws."
    )
