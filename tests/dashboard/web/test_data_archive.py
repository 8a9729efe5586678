"""The button on the page on the data: an archive that comes at once, whole, and without tags unless asked for."""

import csv
import io
import re
import zipfile
from collections import Counter

import openpyxl
import pytest

from dashboard.web import element_ids
from dashboard.web.app import build_app
from dashboard.web.data_archive import packed
from tests.dashboard.web.test_shell import HERE, asked


@pytest.fixture(scope="module")
def client(read_session):
    return build_app(read_session).server.test_client()


def test_the_button_of_the_page_gives_the_data(client, read_session):
    trust, deaths = (asked(client, page)[element_ids.READING] for page in ("/trust", "/deaths"))
    button = re.search(r'href="(/data\.zip)"[^>]*>Take all data along', trust)
    assert button and "/data.zip" not in deaths
    answer = client.get(button[1], headers=HERE)
    archive = zipfile.ZipFile(io.BytesIO(answer.data))
    assert archive.testzip() is None and answer.headers["Content-Disposition"].startswith("attachment")
    names = archive.namelist()
    assert {"data/runs.csv", "data/notes.csv", "data/read.xlsx"} <= set(names)
    assert any(name.startswith("data/parquet/lives/game_key=") for name in names)
    tags = {str(tag) for tag in read_session.ask("runs_listed", game="Soot Wardens", most=999)["player"]}
    book = openpyxl.load_workbook(io.BytesIO(archive.read("data/read.xlsx")), read_only=True)
    rows = list(book["runs"].iter_rows(values_only=True))
    assert "capture" not in rows[0] and len(rows) > 50
    told = zipfile.ZipFile(io.BytesIO(client.get("/data.zip?tags", headers=HERE).data))
    head, *lines = told.read("data/runs.csv").decode().splitlines()
    at = head.split(",").index("player")
    assert ",capture," in f",{head}," and {line.split(",")[at] for line in lines} >= tags


def test_what_the_page_has_chosen_leaves_nothing_out(client, read_session):
    """As its words say: the filter is of the page's findings."""
    chosen = asked(client, "/trust", "?game=Soot+Wardens&attempts=1-1")[element_ids.READING]
    button = re.search(r'href="(/data\.zip[^"]*)"[^>]*>Take all data along', chosen)
    archive = zipfile.ZipFile(io.BytesIO(client.get(button[1], headers=HERE).data))
    rows = list(csv.DictReader(io.StringIO(archive.read("data/runs.csv").decode("utf-8-sig"))))
    held = read_session.connection.execute("SELECT game, build, count(*) FROM runs GROUP BY ALL").fetchall()
    found = Counter((row["game"], row["build"]) for row in rows)
    assert len(held) > 2 and found == {(game, build): count for game, build, count in held}


def test_the_first_piece_comes_before_the_tables_are_written(own_session, monkeypatch):
    written = []
    monkeypatch.setattr("dashboard.web.data_archive.export", lambda *given: written.append(given) or 1 / 0)
    pieces = packed(own_session, tags=False)
    assert next(pieces)[:4] == b"PK\x03\x04" and not written
    with pytest.raises(ZeroDivisionError):  # the connection breaks off: half an archive is none
        list(pieces)
    assert written
