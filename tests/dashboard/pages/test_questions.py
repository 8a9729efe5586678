"""The one table of questions: a line of it is a page, a link in the navigation, a place in the report, and an answer of
the command; of a game that a question cannot be asked of, its page says so and its navigation leaves it out.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.findings import QUESTIONS
from analysis.findings.documented import declared
from analysis.selection import Selection
from dashboard.figures import FIGURES
from dashboard.pages import PAGES
from dashboard.report.argument import sections
from dashboard.report.content import About, gather
from dashboard.report.document_blocks import Say, Table, flat
from dashboard.web.app import build_app

ROOT = Path(__file__).resolve().parents[3]

# Adds a question to the table, as a line in it would, before anything that follows from it is imported.
WITH_ONE_MORE = r"""
import contextlib, io, json, sys
from pathlib import Path

from analysis.findings.basis import nothing
from analysis.findings.questions import QUESTIONS, Chapter, Question
from dataclasses import replace


def find(reader, selection):
    said = "Three of four people hummed along."
    return [replace(nothing("moods", said), id="moods.heard", headline=said)]


for name, question in QUESTIONS.items():
    QUESTIONS[name] = replace(question, find=lambda reader, selection: [])  # only for speed
QUESTIONS["moods"] = Question(
    "moods", find, Chapter(sys.argv[2]), "Who hums", "Do they hum along?", "What was heard.", frozenset(sys.argv[3:])
)

from analysis.selection import Selection
from dashboard.cli import main
from dashboard.report.argument import sections
from dashboard.report.content import About, gather
from dashboard.report.document import document
from dashboard.state.dashboard_session import Session
from dashboard.web.app import build_app
from ingest.study.store import open_study

study, game = sys.argv[1], "Soot Wardens"
session = Session(open_study(Path(study)))
asked = {"page": "/moods", "search": f"?game={game}"}
told = build_app(session).server.test_client().get("/part.json", query_string=asked).json
content = gather(session, [Selection(game)], About(), "today")
report = document(content, sections(content), {})
session.close()
printed = io.StringIO()
with contextlib.redirect_stdout(printed):
    code = main(["findings", "--study", study, "--game", game, "--question", "moods"])
told |= {"report": report, "command": printed.getvalue(), "code": code}
print(json.dumps({name: told[name] for name in ("navigation", "reading", "report", "command", "code")}))
"""


def with_one_more(study, *words: str) -> dict[str, str]:
    command = [sys.executable, "-c", WITH_ONE_MORE, str(study), *words]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=200, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.parametrize(
    ("chapter", "heading"),
    [("data", "Do they hum along?"), ("evidence", "Do they hum along?"), ("outcome", "Did it help?")],
)
def test_a_line_of_the_table_is_on_a_page_in_navigation_report_and_command(demo_study, chapter, heading):
    told = with_one_more(demo_study, chapter)
    said = "Three of four people hummed along."
    assert 'href="/moods?game=Soot' in told["navigation"] and "Who hums" in told["navigation"]
    assert said in told["reading"] and "Do they hum along?" in told["reading"]
    # In the summary too, where it tells whether it helped.
    mine = [part for part in told["report"].split("<h2>") if said in part]
    assert len(mine) == (2 if chapter == "outcome" else 1)
    assert heading in mine[-1][: mine[-1].index("</h2>")]
    assert told["code"] == 0 and said in told["command"]


def test_a_question_that_needs_what_a_game_lacks_is_not_in_its_navigation(demo_study):
    told = with_one_more(demo_study, "evidence", "note")
    assert "/moods" not in told["navigation"] and "/deaths" in told["navigation"]
    assert "hummed" not in told["reading"] and "Soot Wardens logs no event with the role" in told["reading"]


def test_the_demo_games_are_asked_what_they_can_be_asked(read_session):
    client = build_app(read_session).server.test_client()
    links = {}
    for game in read_session.games():
        told = client.get("/part.json", query_string={"page": "/", "search": f"?game={game}"}).json
        links[game] = {name for name in QUESTIONS if f'href="/{name}?' in told["navigation"]}
    assert links == {"Soot Wardens": set(QUESTIONS) - {"timing"}, "Tin Drizzle": set(QUESTIONS) - {"deaths", "genres"}}


def test_every_question_has_one_page_and_every_figure_is_of_a_declared_finding():
    assert [page.question for page in PAGES if page.question is not None] == list(QUESTIONS)
    assert len({page.path for page in PAGES}) == len(PAGES)
    questions = {name: one.question for name, one in declared().items()}
    assert set(FIGURES) <= set(questions)
    assert set(questions.values()) == {*QUESTIONS, "games"}  # games side by side are asked of no single game


def test_every_finding_stands_in_the_report_once(read_session):
    content = gather(read_session, [Selection("Soot Wardens")], About(), "2020-01-02")
    (game,) = content.games
    assert {finding.question for finding in game.findings} == set(QUESTIONS) - {"timing"}
    body = [block for section in sections(content)[1:] for block in flat(section.blocks) if isinstance(block, Say)]
    said = ["".join(piece for piece in block.pieces if isinstance(piece, str)).lower() for block in body]
    tables = [block for section in sections(content) for block in flat(section.blocks) if isinstance(block, Table)]
    by_target = [name for table in tables if "verdict" in table.columns for name in table.columns["target"]]
    for finding in game.findings:
        times = sum(finding.sentence.lower() in text for text in said)
        if finding.id == "progress.target":
            # A line of one table instead of a sentence.
            assert times == 0 and by_target.count(finding.facts["target"]) == 1
            continue
        # What was lost on the way is told of the playtest, and once more with its figure.
        assert times == (2 if finding.id in ("trust.verdict", "trust.damaged") else 1), finding.key
