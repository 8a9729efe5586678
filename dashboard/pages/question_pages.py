"""The pages that answer one question with findings and nothing else."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from markupsafe import Markup

from analysis import words
from analysis.finding import CERTAINTIES, Finding
from analysis.findings.leading import MOST_BESIDE, arranged
from analysis.findings.pooled import which_build
from analysis.findings.progress.builds_compared import UNORDERED
from analysis.findings.questions import Chapter, Question
from analysis.selection import Selection
from dashboard.figures import PANELS
from dashboard.pages.page import Body, OpenedBody, Page
from dashboard.parts import cautions, take_out
from dashboard.parts.cards import Head, Shown, answered, card, empty, link, shared_warnings
from dashboard.state.dashboard_session import Session
from dashboard.web.filters import game_address, to_address
from dashboard.web.opened import NOTHING, Opened
from dashboard.web.templating import part

_GROUPS = {Chapter.DATA: "Evidence", Chapter.EVIDENCE: "Evidence", Chapter.OUTCOME: "Decide"}
_FLASHING = "Is it safe to look at?"


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


def ask_which_build(selection: Selection) -> Markup:
    """What every page says where no build was chosen and it is not known which is the newest."""
    one = [
        link(build, to_address(replace(selection.of_every_build(), builds=(build,))))
        for build in selection.maybe_newest
    ]
    together = link("all builds together", to_address(selection.of_every_build()))
    runs = link("Runs and notes", "/runs" + game_address(selection.game))
    return empty(
        "Which build is the newest?",
        [
            which_build(selection),
            Markup("Look at {} or {}.").format(Markup(", ").join(one), together),
            Markup("Say which was played last on the page {}; the study keeps it.").format(runs),
        ],
    )


def _left_out(session: Session, selection: Selection) -> bool:
    """Whether the game has runs and none of them counts."""
    games = session.ask("study_games")
    own = games["game"].tolist().index(selection.game)
    return bool(games["runs"][own] == games["invalid_runs"][own] > 0)


@dataclass(frozen=True)
class Beside:
    """What the address opens beside the finding `lead`, instead of other findings; `below` stands under both.

    Without an opened place `side` is empty, and the answer of the page leads. folded: as `answered` takes them.
    """

    lead: Finding
    mark: Opened = NOTHING
    side: tuple[Shown, ...] = ()
    below: tuple[Shown, ...] = ()
    folded: tuple[tuple[str, str, Shown], ...] = ()


def answers(
    question: Question,
    session: Session,
    selection: Selection | None,
    beside: Callable[[list[Finding]], Beside] | None = None,
) -> list[Shown]:
    """The answer to one question, or what to do so that there is one.

    `beside`: what the page's address opens, given the findings.
    """
    if selection is None:
        return [Shown(nothing_ingested(session))]
    if question.id not in session.asked_of(selection.game):
        return [Shown(_cannot_be_asked(question, selection.game))]
    # Whether it helped, and whether logs of which the newest is not known are sound, is asked of all builds.
    outcome, data = (question.chapter == chapter for chapter in (Chapter.OUTCOME, Chapter.DATA))
    every = selection.newest if outcome else data and bool(selection.maybe_newest)
    of_all = selection.of_every_build() if every else selection
    if of_all.maybe_newest:
        return [Shown(ask_which_build(selection))]
    # What is wrong with the data is to be told above all where no run of them counts.
    if session.basis(of_all).runs == 0 and not (question.id == "trust" and _left_out(session, selection)):
        return [Shown(_nothing_read(session) or none_chosen(selection))]
    found = session.findings(question.id, selection)
    nothing = _nothing_said(question, selection, found)
    if nothing is not None:
        return [Shown(nothing)]
    order, opened = arranged(found), beside(found) if beside else Beside(found[0])
    lead = opened.lead if opened.side else order.answer
    others = [one for one in (order.answer, *order.beside, *order.rest) if one is not lead]
    others.sort(key=lambda one: one.id in PANELS)  # which need the whole width
    shared = shared_warnings(found)

    def shown(one: Finding, place: str = "") -> Shown:
        mark = opened.mark if one is opened.lead else NOTHING
        return card(one, selection, session.version, shared, mark, place=place)

    count = 0 if opened.side else min(MOST_BESIDE, sum(one.id not in PANELS for one in others))
    # In the order of reading: terms are explained where they are first used.
    foremost, sides = shown(lead, "lead"), opened.side or [shown(one, "beside") for one in others[:count]]
    rest = [(one.key, one.title, shown(one)) for one in others[count:]]
    if question.id == "trust":
        rest.append(("flashing", _FLASHING, _flashing(session, selection)))
    page = answered([foremost], sides, [*opened.folded, *rest], sorted(shared), opened.below)
    led = replace(page, head=_head(order.answer, selection))
    return [led, take_out.card()] if question.id == "trust" else [led]


def _head(answer: Finding, selection: Selection) -> Head:
    """The answer with its certainty and the next step: what is sure is acted upon, what is not is played again."""
    here = to_address(selection)
    on = ("Plan the next playtest", f"/plan{here}")
    if answer.certainty == CERTAINTIES[0]:
        on = ("What to change", f"/tuning{here}")
    return Head(answer.headline or words.capital(answer.sentence), answer.certainty, answer.basis, (on,))


def _nothing_said(question: Question, selection: Selection, found: list[Finding]) -> Markup | None:
    """Why nothing can be said, and what to do so that something can; None where there are findings."""
    if not found:
        return empty("Nothing to say about this yet", question.missing)
    if found[0].id == UNORDERED.id:
        runs = link("Runs and notes", "/runs" + game_address(selection.game))
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
    told, over = cautions.flashing(session, selection.game)
    said = part("note", told, "caution" if over else "note")
    return Shown(part("section", _FLASHING, said, "card"))


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
        ignores=question.ignores,
    )
