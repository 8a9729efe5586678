"""The summary of a report: the question, the answer, what was changed, whether it helped, what next, and how sure."""

from analysis.selection import builds_in_words
from analysis.stats.estimate import FEW_PLAYERS
from analysis.tuning.proposal import Advice, Proposal, quit_shares
from analysis.tuning.proposal_words import more_quit_words
from analysis.words import amount, capital, counted, listed
from dashboard.report.content import About, GamePart
from dashboard.report.document_blocks import Block, Piece, Ref, Say, Tone, say

_CHANGES = 3  # changes that the summary names


def summary(game: GamePart, about: About, labels: dict[str, str]) -> list[Block]:
    """Half a page. labels: key of a finding -> label of its figure."""
    blocks: list[Block] = [_question(game, about), _answer(game, labels), _changed(game), _helped(game), _next(game)]
    return [*blocks, _sure(game)]


def _question(game: GamePart, about: About) -> Say:
    asked = about.question.strip().splitlines()[:1]
    words = " ".join(asked) + (" " if asked else "")
    if not game.standings and game.wishes is None:
        words += (
            "No target was written down before the playtest. So this report tells what happened, and cannot tell "
            "whether that is what was wanted: a target set after looking at the data proves little."
        )
        return say(words, lead="Question.")
    wanted = "; ".join(f"{one.target.name} ({one.wanted})" for one in game.standings)
    since = "" if game.given_targets or not game.targets else f", noted {game.targets.noted_at[:16]} UTC"
    return say(f"{words}Does the game do what its makers wanted{since}: {wanted}?", lead="Question.")


def _answer(game: GamePart, labels: dict[str, str]) -> Say:
    pieces: list[Piece] = []
    for one in game.standings:
        pieces.append(f"{capital(one.target.name)}: {one.seen} on {one.build}, {one.verdict}. ")
    for finding in game.evidence:
        # A finding whose data show nothing has no headline, but says so in its sentence.
        told = finding.headline or finding.sentence
        pieces += [told.rstrip(" .") + " (", Ref(labels[finding.key]), f", {finding.certainty}). "]
    if not pieces:
        pieces = ["These data answer nothing yet: nobody of the audience has played."]
    return say(*pieces, lead="Answer.")


def _changed(game: GamePart) -> Say:
    lead = "What was changed."
    compared = game.outcome
    told = next((finding for finding in compared if "changed" in finding.facts), None)
    if told is not None:
        before, after = told.tables["builds"]["build"]
        return say(f"From {before} to {after}: {told.facts['changed']}.", lead=lead)
    if compared:
        return say(compared[0].sentence, lead=lead)
    if len(game.builds) == 1:
        return say(f"Nothing yet: only one build, {game.builds[0].label}, has been played.", lead=lead)
    return say("What was changed between the builds, the logs do not tell.", lead=lead)


def _helped(game: GamePart) -> Say:
    told = next((finding.sentence for finding in game.outcome if finding.id != "progress.unordered"), None)
    return say(
        "That needs a second build: there is no before and after yet." if told is None else capital(told),
        lead="Did it help?",
    )


def _next(game: GamePart) -> Say:
    if not game.proposals:
        why = game.no_proposal or "no proposal was asked for"
        return say(f"No change is proposed. {capital(why.rstrip('.'))}.", lead="What next.")
    first = game.proposals[0]
    if first.advice != Advice.CHANGE or not first.changes:
        more = f" What would settle it: {first.settles_it}." if first.settles_it else ""
        return say(first.sentence + more, lead="What next.")
    return say(_advised(first), lead="What next.")


def _advised(proposal: Proposal) -> str:
    """What to change in a line, and what is expected of it for the targets and beside them."""
    changes = [f"{one.tunable} from {one.now} to {one.proposed} {one.unit}".rstrip(" -") for one in proposal.changes]
    if len(changes) > _CHANGES:
        changes = [*changes[: _CHANGES - 1], f"{counted(len(changes) - _CHANGES + 1, 'value')} more"]
    expected = [
        f"{t.target} from {amount(t.now.value, t.unit)} to {amount(t.proposed.value, t.unit)} (wanted "
        f"{amount(t.wanted, t.unit)})"
        for t in proposal.targets
    ]
    quits = quit_shares(proposal.side_effects)
    more = more_quit_words(proposal.side_effects)
    if quits is not None and not more:
        expected.append(f"first runs given up from {amount(quits[0], 'share')} to {amount(quits[1], 'share')}")
    return (
        f"{more}Change {listed(changes)}. Expected, as the model sees it: {'; '.join(expected)}. Chance that this is "
        f"better than no change: {amount(proposal.chance_better, 'share')}."
    )


def _sure(game: GamePart) -> Say:
    people = {name: int(column[0]) for name, column in game.people.items() if name != "minutes"}
    words = [f"{counted(people['players'], 'player')}, {counted(people['runs'], 'run')}"]
    words.append(f"({builds_in_words(game.selection)}).")
    targeted = [one for one in game.standings if one.players]
    if targeted:
        fewest = min(targeted, key=lambda one: one.players)
        words.append(f"The targets' own figures rest on as few as {fewest.basis}.")
    if min([people["players"], *(one.players for one in targeted)]) < FEW_PLAYERS:
        words.append(f"With fewer than {FEW_PLAYERS} players a figure is an indication, not proof.")
    damaged = game.basis.damaged
    words.append(
        f"{counted(damaged, 'run')} of them lost something on the way."
        if damaged
        else "None of these runs lost anything on the way."
    )
    return say(" ".join(words), lead="How sure.")


def gap_left(about: About) -> Say | None:
    """A line on what only the authors can add, as long as they have not."""
    empty = [name for name in ("authors", "question", "interpretation") if not getattr(about, name)]
    if not empty:
        return None
    return say(f"Still to be written by the authors: {', '.join(empty)}.", tone=Tone.GAP)
