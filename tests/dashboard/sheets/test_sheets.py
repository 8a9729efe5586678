"""The sheets of a lesson: what they must say for 5 and for 40 players, one build and two, data and none."""

import argparse
import re
import shlex
from dataclasses import replace
from html import unescape

import pytest

from analysis.tuning.lesson_hour import RunTime, hour
from analysis.tuning.playtest_plan import schedule
from analysis.tuning_answers.lesson import lesson_of, run_time
from dashboard.cli import main
from dashboard.command_line import exits
from dashboard.commands import forget_command
from dashboard.report.browser import find_browser, print_pdf
from dashboard.sheets.table_sheet import order, table_sheet
from dashboard.sheets.teacher_sheet import teacher_sheet, too_short
from tests.needs import need
from tests.waiting import until

EVIL = "<script>alert(1)</script>"


def two_builds(players):
    slots = schedule(("1.0", "as proposed"), players, 3, first_tag=21, within=True)
    held = hour(RunTime(40, 10, 36, 12), players, 3, builds=2, flashed=2)
    return replace(lesson_of(None, EVIL), slots=slots, hour=held)


@pytest.mark.parametrize("players", [5, 40])
def test_every_player_has_a_tag_and_half_begin_with_each_build(players):
    lesson = two_builds(players)
    html = str(table_sheet(lesson))
    cut = html[html.index("Tags to cut out") :]
    assert re.findall(r"<b>(P\d+)</b>", cut) == [f"P{n}" for n in range(21, 21 + players)]
    first = [letters[0] for _, letters in order(lesson)["of_tags"]]
    assert len(first) == players and abs(first.count("A") - first.count("B")) <= 1
    assert "with the proposed values" in html and EVIL not in html and "&lt;script&gt;" in html
    assert EVIL not in teacher_sheet(lesson)


def test_without_data_everything_assumed_is_said_to_be():
    lesson = lesson_of(None, "our game", players=5, pairs=5)
    assert "Made without data" in table_sheet(lesson)
    teacher = teacher_sheet(lesson)
    assert "Nobody has played yet" in teacher and "No target was planned for" in teacher
    assert "5 pairs, a table and a game each: 5 players at each, 3 runs" in teacher


def test_the_command_for_deleting_is_one_that_there_is():
    html = unescape(str(table_sheet(replace(lesson_of(None, "our game"), study="my class.duckdb"))))
    said = re.search(r"<code>(setscrew forget [^<]+)</code>", html)[1]
    parser = argparse.ArgumentParser()
    forget_command.add_arguments(parser)
    found = parser.parse_args(shlex.split(said)[2:])
    assert (found.study, found.player, found.logs) == ("my class.duckdb", "TAG", [])


def test_an_hour_that_is_too_short_says_so_and_what_would_help():
    short = too_short(hour(RunTime(60, 10, 36, 12), 20, 3, pairs=30, minutes=60))
    assert short["says"].startswith("The lesson is too short: ")
    assert too_short(hour(RunTime(20, 5, 36, 12), 5, 1, pairs=30, minutes=60)) is None
    assert too_short(hour(RunTime(20, 5, 36, 12), 12, 1, pairs=3, minutes=200))["says"] == "The class is too small."


def test_runs_are_as_long_as_the_logs_say(read_session):
    """Held against the table of runs, by other SQL."""
    rows = read_session.connection.execute(
        "SELECT player, avg(end_us - start_us) / 1e6, count(*) FROM runs WHERE game = 'Soot Wardens' AND NOT team "
        "AND valid AND NOT open AND NOT damaged AND ending <> 'cut' AND build = 'lantern 1.3 b' GROUP BY player"
    ).fetchall()
    time = run_time(read_session.reader, "Soot Wardens")
    assert (time.players, time.runs) == (len(rows), sum(row[2] for row in rows))
    assert len(rows) > 2
    assert time.mean_s == pytest.approx(sum(row[1] for row in rows) / len(rows))


def test_both_sheets_are_served_and_nonsense_is_refused(read_session):
    from dashboard.web.app import build_app

    client = build_app(read_session).server.test_client()

    def asked(words):
        return client.get(f"http://127.0.0.1/sheets/{words}")

    found = asked("teacher.html?game=Soot+Wardens&pairs=12&minutes=45&players=6&runs=2&paper=letter")
    assert found.status_code == 200 and b"A lesson of 45 minutes" in found.data and b"12 pairs" in found.data
    assert asked("table.html?game=Soot+Wardens&players=5").data.count(b'class="tick"') == 15
    statuses = [
        asked(words).status_code
        for words in ("table.html?game=None", "x.html?game=Soot+Wardens", "table.html?game=Soot+Wardens&plan=9")
    ]
    assert statuses == [404, 404, 404]
    assert asked("table.html?game=Soot+Wardens&players=many").status_code == 400
    assert asked("table.html?game=Soot+Wardens&pairs=4000").status_code == 400


def test_a_plan_of_the_page_is_printed_with_its_builds_and_its_doubt(own_session):
    from dashboard.web.app import build_app

    slots = [{"number": n, "player": f"P{n:02d}", "builds": ["1.0", "as proposed"], "runs": 2} for n in (1, 2, 3, 4)]
    plan = {
        "game": "Soot Wardens",
        "target": "survive 60 s",
        "unit": "share",
        "now_half_width": 0.113,
        "wanted_half_width": 0.05,
        "players_needed": 31,
        "precision": [{"players": 4, "runs": 2, "half_width": 0.1034, "plays": 6}],
        "power": [],
        "players_each_needed": None,
        "schedule": slots,
    }
    job = own_session.jobs.start("plan", lambda job: plan)
    until(lambda: job.result is not None)
    client = build_app(own_session).server.test_client()
    address = f"http://127.0.0.1/sheets/%s.html?game=Soot+Wardens&plan={job.number}&pairs=5&minutes=120"
    teacher = client.get(address % "teacher").get_data(as_text=True)
    assert "2 runs on each build" in teacher and "10.3" in teacher and "about 31 more players get there" in teacher
    assert client.get(address % "table").get_data(as_text=True).count('class="tick"') == 4 * 2 * 2
    assert client.get((address % "table").replace("Soot+Wardens", "Tin+Drizzle")).status_code == 404


def test_the_command_writes_them_without_a_study_and_says_what_fits(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("dashboard.sheets.writing_sheets.find_browser", lambda named: None)
    assert main(["plan", "--sheets", str(tmp_path / "sheets"), "--players", "5", "--pairs", "5"]) == exits.OK
    told = capsys.readouterr()
    assert "5 players at each" in told.out and "no PDF" in told.err
    assert sorted(p.name for p in (tmp_path / "sheets").iterdir()) == ["for-the-table.html", "for-the-teacher.html"]
    assert main(["plan", "--players", "5"]) == exits.USAGE
    assert main(["plan", "--sheets", str(tmp_path), "--pairs", "0"]) == exits.USAGE


@pytest.mark.parametrize(("paper", "pages"), [("A4", 1 + 1), ("letter", 1 + 2)])
def test_the_sheet_for_the_table_is_one_page_before_the_tags(tmp_path, paper, pages):
    browser = find_browser()
    need(browser is not None, "no Chromium-family browser is installed")
    html, pdf = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    html.write_text(table_sheet(two_builds(40), paper), encoding="utf-8")
    print_pdf(browser, html, pdf)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf.read_bytes())) == pages
