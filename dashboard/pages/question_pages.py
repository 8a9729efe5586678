"""The pages that answer one question with findings and nothing else."""

from collections.abc import Callable

from markupsafe import Markup

from analysis.finding import Finding
from analysis.findings.progress.builds_compared import UNORDERED
from analysis.findings.questions import Chapter, Question
from analysis.selection import Selection
from dashboard.pages.page import Body, OpenedBody, Page
from dashboard.parts import cautions
from dashboard.parts.cards import Shown, card, empty, link, shared_warnings
from dashboard.state.dashboard_session import Session
from dashboard.web.filters import to_address
from dashboard.web.templating import part

_GROUPS = {Chapter.DATA: "Evidence", Chapter.EVIDENCE: "Evidence", Chapter.OUTCOME: "Decide"}


def nothing_ingested(session: Session) -> Markup:
    """What every page says in a study without a game."""
    return _nothing_read(session) or empty(
        "Nothing has been ingested yet",
        [
            Markup(
                "Record a play: flash the firmware with the recorder and capture its serial line, on the page {}."
            ).format(link("Live", "/live")),
            Markup("Or bring play logs you already have, on the page {}.").format(link("Import", "/import")),
            "Or start `setscrew demo` to look around in a study that is full.",
        ],
    )


def _nothing_read(session: Session) -> Markup | None:
    """What every page says where there are play logs, but no run in them; None elsewhere."""
    unread = session.why_no_run()
    if unread is None:
        return None
    again = Markup("Then record once more, on the page {}, or bring other logs, on the page {}.")
    return empty("No run could be read", [unread, again.format(link("Live", "/live"), link("Import", "/import"))])


def none_chosen(selection: Selection) -> Markup:
    """What every page says when the filter lets nothing through."""
    all_of_it = to_address(Selection(game=selection.game))
    return empty(
        "The filter lets no run through",
        [
            Markup("Take the filter off: {}.").format(link("every run of this game", all_of_it)),
            Markup("Are its runs left out because of the console's clock, or by hand? See {}.").format(
                link("Trust the data", f"/trust{all_of_it}")
            ),
            "Only the makers have played? Tick “the makers too”; their runs never count as the audience by themselves.",
        ],
    )


def _left_out(session: Session, selection: Selection) -> bool:
    """Whether the game has runs and none of them counts."""
    games = session.ask("study_games")
    own = games["game"].tolist().index(selection.game)
    return bool(games["runs"][own] == games["invalid_runs"][own] > 0)


def answers(
    question: Question,
    session: Session,
    selection: Selection | None,
    parts_of: Callable[[Finding, frozenset[str]], list[Shown]] | None = None,
) -> list[Shown]:
    """The cards of one question, or what to do so that there are some.

    `parts_of`: what stands for a finding, given the warnings that are said above them all; default: its card.
    """
    if selection is None:
        return [Shown(nothing_ingested(session))]
    if question.id not in session.asked_of(selection.game):
        return [Shown(_cannot_be_asked(question, selection.game))]
    # What is wrong with the data is to be told above all where no run of them counts.
    if session.basis(selection).runs == 0 and not (question.id == "trust" and _left_out(session, selection)):
        return [Shown(_nothing_read(session) or none_chosen(selection))]
    found = session.findings(question.id, selection)
    nothing = _nothing_said(question, selection, found)
    if nothing is not None:
        return [Shown(nothing)]
    shared = shared_warnings(found)
    if parts_of is None:
        cards = [card(finding, selection, session.version, shared) for finding in found]
    else:
        cards = [one for finding in found for one in parts_of(finding, shared)]
    if question.id == "trust":
        cards.append(_flashing(session, selection))
    return [Shown(part("shared", sorted(shared))), *cards] if shared else cards


def _nothing_said(question: Question, selection: Selection, found: list[Finding]) -> Markup | None:
    """Why nothing can be said, and what to do so that something can; None where there are findings."""
    if not found:
        return empty("Nothing to say about this yet", question.missing)
    if found[0].id == UNORDERED.id:
        runs = link("Runs and notes", "/runs" + to_address(Selection(game=selection.game)))
        remedy = Markup("Say it on the page {}; the study keeps it.").format(runs)
        return empty(found[0].title, [found[0].sentence, remedy])
    if found[0].id == f"{question.id}.none":
        return empty("Nothing to say about this here", [found[0].sentence, *question.missing])
    return None


def _cannot_be_asked(question: Question, game: str) -> Markup:
    needs = ", ".join(f"`{role}`" for role in sorted(question.needs))
    why = (
        f"{game} logs no event with the role {needs.replace(', ', ' or ')}, and without one this cannot be asked of it."
    )
    said = Markup("").join(part("note", words) for words in (why, *question.missing))
    return part("section", "Not a question of this game", said, "card empty wide")


def _flashing(session: Session, selection: Selection) -> Shown:
    words, over = cautions.flashing(session, selection.game)
    said = part("note", words, "caution" if over else "note")
    return Shown(part("section", "Is it safe to look at?", said, "card"))


def page_of(question: Question, body: Body | None = None, opened_body: OpenedBody | None = None) -> Page:
    """The page of a question, at `/` and its id; its cards unless `body` makes something else of the findings."""
    return Page(
        path=f"/{question.id}",
        group=_GROUPS[question.chapter],
        short=question.short,
        title=question.title,
        lead=question.lead,
        body=body or (lambda session, selection: answers(question, session, selection)),
        opened_body=opened_body,
        question=question.id,
    )
