"""The way on the start page: a step is called done only where the study shows that it is."""

import pytest

from analysis.selection import Selection
from analysis.stats.estimate import FEW_PLAYERS
from dashboard.pages.overview_page import body
from dashboard.state.dashboard_session import Session
from ingest.said.notes import add_target
from ingest.study.store import import_log, open_study
from tests.dashboard.conftest import DEMO
from tests.dashboard.web.test_shell import Read
from tests.ingest.studies import dictionary, event, log_of

KINDS = {"begin": ("run_start", {"who": "u8 player"}), "over": ("run_end", {"how": "u8 ending"})}


@pytest.fixture
def session(tmp_path):
    session = Session(open_study(tmp_path / "s.duckdb"))
    yield session
    session.close()


def played(session, tmp_path, players, firmware="1.0"):
    """Brings in a log in which each of `players` (0: without a tag) plays one run."""
    lines = [dictionary(KINDS, firmware=firmware)]
    for number, who in enumerate(players):
        start = 5000 * number + 100
        lines += [event(start, "begin", who=who), event(start + 900, "over", how=1)]
    path = tmp_path / f"{firmware}-{'-'.join(map(str, players))}.playlog"
    path.write_bytes(log_of(lines))
    import_log(session.study, path)
    session.changed()


def way(session):
    """The steps as they stand: (done, to do or nothing; words)."""
    page = "".join(shown.html for shown in body(session, Selection("Moth Run")))
    items = page[page.index("<ol>") : page.index("</ol>")].split("<li>")[1:]
    texts = ["".join(Read(item).texts) for item in items]
    return [text.split(": ", 1) if text.startswith(("done: ", "to do: ")) else ["", text] for text in texts]


def test_what_is_not_shown_is_not_called_done(session, tmp_path):
    played(session, tmp_path, [1, 2, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0])
    play, tag, wish, change, check, report = way(session)
    assert play[0] == "to do" and "2 players so far" in play[1]  # ten may be anybody
    assert tag == ["to do", "Tag every run with its player (10 runs without one; 10 to go)"]
    assert wish == ["to do", "Write down what you want, before you look at how it went"]
    assert change == ["to do", "Change one thing and play again: 1 build played so far"]
    assert check == ["", "Check that it helped, once two builds have been played"]
    assert report == ["", "Hand in the report"]


def test_a_build_that_only_its_makers_played_is_no_second_playtest(session, tmp_path):
    played(session, tmp_path, range(1, 13))
    played(session, tmp_path, [40], firmware="1.1")
    assert way(session)[3] == ["done", "Change one thing and play again: 2 builds played so far"]
    session.connection.cursor().execute("INSERT INTO players VALUES ('P40', NULL, true, NULL)")
    session.changed()
    play, tag, _, change, check, _ = way(session)
    assert play[0] == tag[0] == "done" and "12 players so far" in play[1]
    assert change == ["to do", "Change one thing and play again: 1 build played so far"]
    assert check[1].endswith("once two builds have been played")


def test_nobody_is_said_to_have_checked_what_only_people_know(session, tmp_path):
    played(session, tmp_path, [1, 2])
    played(session, tmp_path, [3], firmware="1.1")
    session.add_target("Moth Run", '[[target]]\noutcome = "finish"\nwanted = 0.5\n')
    _, _, wish, change, check, _ = way(session)
    assert wish[0] == change[0] == "done" and wish[1].startswith("Write down what you want: kept on 20")
    assert check == ["", "Check that it helped"]
    session.undo()
    assert way(session)[2][0] == "to do"


def test_the_first_step_that_is_not_done_leads(session, tmp_path):
    played(session, tmp_path, [1, 2, 3])
    head = body(session, Selection("Moth Run"))[0].head
    assert f"3 of {FEW_PLAYERS}" in head.answer and head.steps[0][1].startswith("/live")
    played(session, tmp_path, range(1, 13), firmware="1.1")
    head = body(session, Selection("Moth Run"))[0].head
    assert head.certainty == "3 of 4 steps done" and head.steps[0][1].startswith("/tuning")


def test_the_findings_that_answer_the_targets_stand_first(own_session):
    selection = Selection("Soot Wardens")
    first = body(own_session, selection)[0]
    assert [figure.finding for figure in first.figures] == ["survival.funnel", "deaths.by_stage", "deaths.places"]
    add_target(own_session.connection, selection.game, (DEMO / "targets_soot_wardens.toml").read_text(encoding="utf-8"))
    own_session.changed()
    assert len(body(own_session, selection)[0].figures) == 3
    text = 'game = "Soot Wardens"\n[[target]]\noutcome = "survive"\nseconds = 20\nwanted = "50 %"\n'
    add_target(own_session.connection, selection.game, text)
    own_session.changed()
    assert body(own_session, selection)[0].figures[0].finding == "survival.curve"
