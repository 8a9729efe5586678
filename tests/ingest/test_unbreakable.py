"""Short versions of the fuzzing and of kill -9; the long ones are run by hand (figures in ingest/STORE.md)."""

import json
import random
import tracemalloc
from pathlib import Path

import pytest

from ingest.study.store import Study, open_study
from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from ingest.wire.dictionary import BadDictionary
from ingest.wire.dictionary_text import parse
from tests.bench.ingest.fuzz import fuzz
from tests.bench.ingest.kill import kill_often
from tests.ingest.product import product
from tests.ingest.studies import dictionary, event, imported, own, rows


def test_mutated_logs() -> None:
    seen = fuzz(2000, seed=3, compare_every=6, import_every=12, seconds=12)
    assert seen["compared"] >= 1 and seen["imported"] >= 1 and seen["events"] > 0
    assert min(seen[reason] for reason in ("cobs", "crc", "length", "body", "repeated")) > 0


def test_kill_9_leaves_whole_captures() -> None:
    counts = kill_often(15, seed=5, logs=4, runs=6)
    assert counts["while at work"] >= 3


HEAD = b"playlog 1\ngame G\nfirmware 1\nclock 1000\nscreen 10 10\n"


@pytest.mark.parametrize(
    "lines",
    [
        b"kind a -\n" * 2,
        b"kind <b> -\n",
        b"kind a'b -\n",
        b'kind a"b -\n',
        b"kind =cmd -\n",
        b"kind _run -\n",
        b"kind a -\nfield u8 _run - -\n",
        b"kind a -\nfield u8 x - -\nfield u8 x - -\n",
        b"kind a -\nfield u64 x - -\n",
        b"kind a -\nfield u8 x x px;DROP\n",
        b"kind a -\nfield u8 x - -\nlabel 1152921504606846976 big\n",
        b"kind a -\nfield u8 x - -\nlabel 1 a\x07b\n",
        b"kind a -\nfield u8 x - -\nlabel 1 \xe2\x80\xaegnp.exe\n",
        b"kind a death death\n",
        b"kind a nonsense\n",
        b"kind a -\ntunable t - 0 1152921504606846976 1 -\n",
        b"kind a -\ntunable t - 0 9 0 -\n",
        b"kind a -\ntunable t - 9 0 1 -\n",
        b"kind a -\ntunable t - 0 9 1 - stage=1 stage=2\n",
        b"".join(b"kind k%d -\n" % i for i in range(64)),
        b"kind a -\n" + b"".join(b"field u8 f%d - -\n" % i for i in range(17)),
        b"kind a -\n" + b"".join(b"tunable t%d - 0 1 1 -\n" % i for i in range(256)),
        b"kind a -\nfield u8 x x -\nfield u8 y x -\n",
        b"kind a -\nfield u8 x ago -\nfield u8 y ahead -\n",
        b"game H\nkind a -\n",
        b"kind a -",
        b"kind a  -\n",
        b"\nkind a -\n",
        b"kind a -\n" + bytes([0xFF]) + b"\n",
    ],
    ids=lambda lines: repr(lines[:30]),
)
def test_of_hostile_dictionaries_the_smallest_part_is_refused_with_a_reason(lines: bytes) -> None:
    read = parse(HEAD + lines)
    assert read.refused
    for message in read.refused:
        assert 10 < len(message) < 400 and message.isprintable()
    assert (read.game, read.clock_hz) == ("G", 1000) and read.kinds
    assert parse(read.text) == read, "what was kept can be written down and read again"


@pytest.mark.parametrize(
    "text",
    [
        b"playlog 2\n",
        HEAD,
        HEAD.replace(b"clock 1000", b"clock fast") + b"kind a -\n",
        HEAD.replace(b"screen 10 10\n", b"") + b"kind a -\n",
        HEAD.replace(b"game G", b"game ") + b"kind a -\n",
    ],
    ids=lambda text: repr(text[-30:]),
)
def test_a_text_without_which_nothing_can_be_read_is_refused_as_a_whole(text: bytes) -> None:
    with pytest.raises(BadDictionary) as refusal:
        parse(text)
    message = str(refusal.value)
    assert 10 < len(message) < 400 and message.isprintable()


def test_a_dictionary_of_a_million_kinds_does_not_fit() -> None:
    """Its length alone is out of range, whatever the chunks say."""
    packet = bytes([0x12]) + bytes(8) + b"\x01\x02" + (0xFFFF).to_bytes(2, "little") + b"\0\0" + b"kind"
    answer = product([stuff(packet + crc16(packet).to_bytes(2, "big")) + b"\0"])
    assert answer.rejected == [(0, "body")]


HOSTILE = "'; DROP TABLE runs; --<script>alert(1)</script>=1+1"


def test_free_text_is_kept_as_it_is_and_does_nothing(study: Study, tmp_path: Path) -> None:
    """Game, firmware and labels are free text: SQL, HTML and formulas in them are only text here."""
    line = dictionary({"begin": ("run_start", {"who": "u8 player"}), "fell": ("death", {"why": "u8 cause"})})
    line["dictionary"] |= {"game": HOSTILE, "firmware": HOSTILE}
    line["dictionary"]["kinds"][1]["fields"][0]["labels"] = {"1": HOSTILE}
    imported(study, tmp_path / "a.playlog", [line, event(1, "begin", who=1), event(5, "fell", why=1)])
    assert rows(study, "SELECT DISTINCT game, build FROM runs") == [(HOSTILE, HOSTILE)]
    assert rows(study, "SELECT label FROM labels") == [(HOSTILE,)]
    ((table,),) = rows(study, "SELECT table_name FROM kinds WHERE kind = 'fell'")
    assert set(table) <= set('abcdefghijklmnopqrstuvwxyz0123456789_."')
    assert rows(study, "SELECT count(*) FROM death_events") == [(1,)]


def test_names_that_sql_uses_itself(study: Study, tmp_path: Path) -> None:
    kinds = {"select": ("death", {"from": "u8 x", "where": "i32 y", "order": "u8"}), "table": (None, {"group": "u16"})}
    imported(
        study,
        tmp_path / "a.playlog",
        [dictionary(kinds), event(1, "select", **{"from": 3, "where": -7, "order": 1}), event(2, "table", group=9)],
    )
    assert rows(study, "SELECT kind, x, y FROM death_events") == [("select", 3, -7)]


def test_many_dictionaries_in_one_log_are_bounded(tmp_path: Path) -> None:
    lines = []
    for number in range(70):
        line = dictionary({"at": (None, {"x": "u8"})})
        line["dictionary"]["firmware"] = str(number)
        lines.append([line, event(1, "at", x=1)])
    from tests.ingest.studies import log_of

    with open_study(tmp_path / "s.duckdb") as study:
        result = imported(study, tmp_path / "a.playlog", b"".join(log_of(one) for one in lines))
        assert result.events == 64 and result.unread_bytes > 0
        assert result.refusal is not None and "64 dictionaries" in result.refusal
        assert rows(study, "SELECT count(*) FROM dictionaries") == [(64,)]


def test_the_dictionary_may_change_in_the_middle(study: Study, tmp_path: Path) -> None:
    """Another firmware is flashed while the capture goes on."""
    from tests.ingest.studies import log_of

    one = dictionary({"begin": ("run_start", {}), "at": ("position", {"x": "u8 x"})})
    other = dictionary({"at": ("position", {"x": "u16 x"}), "begin": ("run_start", {})})
    log = log_of([one, event(1, "begin"), event(9, "at", x=7)]) + log_of(
        [other, event(1, "begin"), event(9, "at", x=300)]
    )
    result = imported(study, tmp_path / "a.playlog", log)
    assert (result.power_ups, result.runs, result.rejected_packets) == (2, 2, 0)
    assert rows(study, f"SELECT x, {own('run_id')} FROM position_events ORDER BY 1") == [(7, 1), (300, 2)]


@pytest.mark.parametrize("what", ["noise", "zeros", "no zeros", "settings", "waiting"])
def test_memory_stays_bounded(what: str) -> None:
    """Megabytes of nastiness, in pieces, must not pile up in the decoder: it may take as much as one piece needs."""
    dice = random.Random(1)
    if what == "noise":
        piece = dice.randbytes(200_000)
    elif what == "zeros":
        piece = bytes(200_000)
    elif what == "no zeros":
        piece = b"\x01" * 200_000
    else:
        # Never a dictionary: what cannot be read must not pile up either.
        out = bytearray()
        for number in range(2000):
            body = (b"\x01\x02\x03\x04\x00\x01" + number.to_bytes(4, "little")) if what == "settings" else b"\0" * 100
            packet = bytes([0x13 if what == "settings" else 0x11]) + number.to_bytes(2, "little") + bytes(6) + body
            out += stuff(packet + crc16(packet).to_bytes(2, "big")) + b"\0"
        piece = bytes(out)
    tracemalloc.start()
    try:
        product((piece for _ in range(4)), rows=False)
        _, once = tracemalloc.get_traced_memory()
        tracemalloc.reset_peak()
        product((piece for _ in range(16)), rows=False)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    # Packets that wait for a dictionary may take 1 MiB and their index; no more, however many come.
    assert most < once + 6 * len(piece) + 4e6, f"{once / 1e6:.1f} MB, then {most / 1e6:.1f} MB"


def test_json_of_the_command_is_documented(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`setscrew ingest --json` prints exactly the keys that dashboard/JSON.md lists, and its exit codes."""
    import re

    import dashboard
    from dashboard.cli import main

    documented = (Path(dashboard.__file__).parent / "JSON.md").read_text(encoding="utf-8")
    part = documented[documented.index("## `setscrew ingest") :]
    part = part[: part.index("\n## ", 3)] if "\n## " in part[3:] else part
    top, each = part.split("Each object of `captures`")
    folder = tmp_path / "logs"
    (folder / "below").mkdir(parents=True)
    from tests.ingest.studies import log_of

    log = log_of([dictionary({"begin": ("run_start", {})}), event(1, "begin")])
    (folder / "a.playlog").write_bytes(log)
    other = dictionary({"begin": ("run_start", {}), "at": ("position", {})})
    two = log_of([other, event(1, "begin"), event(3_000, "begin")])
    (folder / "below" / "b.playlog").write_bytes(two[:-3] + b"\0")
    (folder / "not a log.txt").write_bytes(b"x")
    study = str(tmp_path / "s.duckdb")
    assert main(["ingest", "--study", study, str(folder), "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert set(printed) == set(re.findall(r"^\| `(\w+)` \|", top, re.M))
    keys = {key for row in re.findall(r"^\| (`[^|]+) \|", each, re.M) for key in re.findall(r"`(\w+)`", row)}
    assert all(set(capture) == keys for capture in printed["captures"])
    assert [capture["status"] for capture in printed["captures"]] == ["new", "new"]
    assert [capture["verdict"] for capture in printed["captures"]] == ["intact", "doubtful"]
    assert printed["totals"]["events"] == 2 and printed["totals"]["rejected"] == 1
    assert main(["ingest", "--study", study, str(folder), "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed["totals"]["unchanged"] == 2
    assert main(["ingest", "--study", study, str(tmp_path / "nowhere")]) == 3
    assert "no such file" in capsys.readouterr().err
    (tmp_path / "empty").mkdir()
    assert main(["ingest", "--study", study, str(tmp_path / "empty")]) == 3
    junk = tmp_path / "junk.playlog"
    junk.write_bytes(b"not a log at all\0")
    assert main(["ingest", "--study", study, str(junk)]) == 3
    junk.write_bytes(log_of([dictionary({"at": ("position", {})}), event(1, "at")])[-20:])  # after its dictionary
    assert main(["ingest", "--study", study, str(junk)]) == 5
