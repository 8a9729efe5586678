"""Pictures under the death map: found by name, and nothing but small PNG files let through."""

import base64
import json
import struct
import zlib
from pathlib import Path

import pytest

import demo_logs
from analysis.selection import Selection
from dashboard.state.stage_pictures import LARGEST_BYTES, StagePictures, names
from dashboard.web.app import build_app
from demo_logs.simulator.draw import write_pictures

PICTURES = Path(demo_logs.__file__).parent / "stage_pictures"
SHOOTER = "Soot Wardens"


def png(width=16, height=8):
    head = struct.pack(">I", 13) + b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + head + struct.pack(">I", zlib.crc32(head[4:]))


def test_names_are_tried_from_the_nearest_to_the_farthest():
    assert names(Selection("My Game!", stage=2, stage_kind=1)) == ["my_game-2-boss.png", "my_game-2.png", "my_game.png"]
    assert names(Selection("My Game!", stage=2, stage_kind=0)) == ["my_game-2.png", "my_game.png"]


@pytest.mark.parametrize("title", ["../../etc/passwd", "..", "C:\\x", "a\0b", "ä" * 300, "con/../x", ""])
def test_no_title_leads_out_of_the_folder(title, tmp_path):
    for name in names(Selection(title, stage=1, stage_kind=1)):
        assert (tmp_path / name).resolve().parent == tmp_path.resolve() and len(name) < 100
    assert StagePictures(tmp_path).source(Selection(title)) is None


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"<svg onload=alert(1)>",
        b"GIF89a" + bytes(40),
        png()[:20],
        png(0, 8),
        png(3000, 8),
        png() + bytes(LARGEST_BYTES),
    ],
)
def test_what_is_no_small_png_is_left_out(content, tmp_path):
    (tmp_path / "game.png").write_bytes(content)
    assert StagePictures(tmp_path).source(Selection("game")) is None


def test_a_folder_or_nothing_at_all_is_no_picture(tmp_path):
    (tmp_path / "game.png").mkdir()
    assert StagePictures(tmp_path).source(Selection("game")) is None
    assert StagePictures(tmp_path / "missing").source(Selection("game")) is None
    assert StagePictures(None).source(Selection("game")) is None


def test_the_demo_pictures_are_the_simulators_own_and_small(tmp_path):
    write_pictures(tmp_path)
    for made in tmp_path.iterdir():
        kept = (PICTURES / made.name).read_bytes()
        # Another zlib may pack the same pixels differently.
        assert pixels(made.read_bytes()) == pixels(kept) and len(kept) < 20_000


def pixels(content):
    """(width, height, unpacked rows) of a PNG with one IDAT chunk."""
    size = struct.unpack(">II", content[16:24])
    at = content.index(b"IDAT")
    length = struct.unpack(">I", content[at - 4 : at])[0]
    return *size, zlib.decompress(content[at + 4 : at + 4 + length])


def test_the_map_shows_the_picture_in_the_screens_own_proportions(read_session):
    client = build_app(read_session, pictures=PICTURES).server.test_client()
    address = "/figure/deaths.places.json?game=Soot+Wardens"
    boss = json.loads(client.get(address + "&stage=2b").data)
    image = boss["layout"]["images"][0]
    kept = (PICTURES / "soot_wardens-2-boss.png").read_bytes()
    assert image["source"] == "data:image/png;base64," + base64.b64encode(kept).decode()
    assert (image["x"], image["y"], image["sizex"], image["sizey"]) == (0, 0, 160, 128)
    assert image["layer"] == "below" and image["sizing"] == "stretch"
    heat = next(trace for trace in boss["data"] if trace["type"] == "heatmap")
    covers = [float(colour.rstrip(")").split(",")[3]) for _, colour in heat["colorscale"]]
    assert covers[0] == 0 and covers == sorted(covers) and 0.8 < covers[-1] < 1
    whole = json.loads(client.get(address).data)["layout"]["images"][0]["source"]
    assert whole != image["source"]
    without = json.loads(build_app(read_session).server.test_client().get(address).data)
    assert "images" not in without["layout"]
    plain = next(trace for trace in without["data"] if trace["type"] == "heatmap")
    assert all(colour.startswith("#") for _, colour in plain["colorscale"])


def test_the_report_shows_the_picture_as_the_page_does(read_session, monkeypatch, tmp_path):
    from dashboard.report.content import About, gather
    from dashboard.report.writing import write_report

    monkeypatch.setattr("dashboard.report.writing.find_browser", lambda _: None)  # figures stay as they are written
    monkeypatch.setattr(read_session, "pictures", StagePictures(PICTURES))
    content = gather(read_session, [Selection(SHOOTER)], About(), "2020-01-02")
    kept = base64.b64encode((PICTURES / "soot_wardens.png").read_bytes()).decode()
    assert kept in write_report(content, tmp_path / "with").html.read_text(encoding="utf-8")
    monkeypatch.setattr(read_session, "pictures", StagePictures())
    content = gather(read_session, [Selection(SHOOTER)], About(), "2020-01-02")
    assert kept not in write_report(content, tmp_path / "without").html.read_text(encoding="utf-8")
