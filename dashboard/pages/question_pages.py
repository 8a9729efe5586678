"""The pages that answer one question with findings and nothing else."""

from collections.abc import Callable

from markupsafe import Markup

from analysis.finding import Finding
from analysis.findings.progress.builds_compared import UNORDERED
from analysis.selection import Selection
from dashboard.pages.page import Page
from dashboard.parts import cautions
from dashboard.parts.cards import Shown, card, empty, link, shared_warnings
from dashboard.state.dashboard_session import Session
from dashboard.web.filters import to_address
from dashboard.web.templating import part

EVIDENCE = "Evidence"


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
    question: str,
    missing: list[str],
    session: Session,
    selection: Selection | None,
    parts_of: Callable[[Finding, frozenset[str]], list[Shown]] | None = None,
) -> list[Shown]:
    """The cards of one question, or what to do so that there are some.

    `parts_of`: what stands for a finding, given the warnings that are said above them all; default: its card.
    """
    if selection is None:
        return [Shown(nothing_ingested(session))]
    # What is wrong with the data is to be told above all where no run of them counts.
    if session.basis(selection).runs == 0 and not (question == "trust" and _left_out(session, selection)):
        return [Shown(_nothing_read(session) or none_chosen(selection))]
    found = session.findings(question, selection)
    nothing = _nothing_said(question, missing, selection, found)
    if nothing is not None:
        return [Shown(nothing)]
    shared = shared_warnings(found)
    if parts_of is None:
        cards = [card(finding, selection, session.version, shared) for finding in found]
    else:
        cards = [one for finding in found for one in parts_of(finding, shared)]
    if question == "trust":
        cards.append(_flashing(session, selection))
    return [Shown(part("shared", sorted(shared))), *cards] if shared else cards


def _nothing_said(question: str, missing: list[str], selection: Selection, found: list[Finding]) -> Markup | None:
    """Why nothing can be said, and what to do so that something can; None where there are findings."""
    if not found:
        return empty("Nothing to say about this yet", missing)
    if found[0].id == UNORDERED.id:
        runs = link("Runs and notes", "/runs" + to_address(Selection(game=selection.game)))
        remedy = Markup("Say it on the page {}; the study keeps it.").format(runs)
        return empty(found[0].title, [found[0].sentence, remedy])
    if found[0].id == f"{question}.none":
        return empty("Nothing to say about this here", [found[0].sentence, *missing])
    return None


def _flashing(session: Session, selection: Selection) -> Shown:
    words, over = cautions.flashing(session, selection.game)
    said = part("note", words, "caution" if over else "note")
    return Shown(part("section", "Is it safe to look at?", said, "card"))


def _question(question: str, short: str, title: str, lead: str, missing: list[str], group: str = EVIDENCE) -> Page:
    return Page(
        path=f"/{question}",
        group=group,
        short=short,
        title=title,
        lead=lead,
        body=lambda session, selection: answers(question, missing, session, selection),
    )


TRUST = _question(
    "trust",
    "Trust the data",
    "Can I trust the data?",
    "What reached the study, what was lost on the way, and which runs it touches.",
    ["Import a play log; its damage is counted and shown here."],
)
SURVIVAL = _question(
    "survival",
    "How long they last",
    "How long do they last?",
    "Time alive with quits and cut logs counted as what they are: runs whose end nobody saw.",
    ["Survival needs runs with a start and an end: log `run_start` and `run_end`."],
)
TIMING = _question(
    "timing",
    "Hit the note",
    "Do they hit the note?",
    "How early or late people press, how much they spread, and what today's window makes of it.",
    [
        "This game logs no notes. A rhythm game logs `note` when a note is due and `press` for every press, "
        "hit or not.",
        "Log presses outside the window too: judged from hits alone, a proposal misses its target by far.",
    ],
)
PLAYERS = _question(
    "players",
    "Who plays",
    "Who plays, and how do they learn?",
    "Each player's attempts, what practice changes, who gives up, and how people rate it.",
    ["Tag the runs with their players, on the page “Live” or in the log's `run_start`."],
)
GENRES = _question(
    "genres",
    "How they play",
    "How do they play?",
    "What belongs to this kind of game alone: pieces and rows, shots and misses, weapon tiers.",
    ["Nothing of this game's own kind is logged: pieces, rows, trials, pick-ups or shots."],
)
PROGRESS = _question(
    "progress",
    "Did it help",
    "Did it help?",
    "The builds compared, player by player, and held against what was predicted.",
    [
        "A comparison needs two builds: change a tunable, flash it, and let people play again.",
        "Let some of the same people play both builds, and note who is new.",
    ],
    "Decide",
)
