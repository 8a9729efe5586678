"""`python -m ingest.encode`: what cannot be written is told with its line and the remedy; nothing is left behind."""

import json
import time
from pathlib import Path

import pytest

from ingest.encode import main
from tests.ingest.studies import dictionary, event

KINDS = {"go": ("run_start", {"who": "u8 player"}), "over": ("run_end", {})}
TUNABLE = {"name": "lives", "value": 3, "min": 1, "max": 9}
HEAD = json.dumps(dictionary(KINDS, tunables=[TUNABLE]))
GO = json.dumps(event(1000, "go", who=3))


def told(tmp_path: Path, capsys: pytest.CaptureFixture[str], *lines: str | bytes, out: str = "o.playlog") -> str:
    """What is said about these lines, which must not be written."""
    source = tmp_path / "in.jsonl"
    source.write_bytes(b"".join((line if isinstance(line, bytes) else line.encode()) + b"\n" for line in lines))
    assert main([str(source), str(tmp_path / out)]) == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in.jsonl"]
    said = capsys.readouterr().err
    assert len(said) < 400 and said.count("\n") == 1
    return said


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('{"drop": -1}', "'drop' must be a whole number from 1 to 65535, not -1"),
        ('{"drop": 70000}', "'drop' must be a whole number from 1 to 65535, not 70000"),
        ('{"power_up": 70000}', "'power_up' must be a whole number from 0 to 65535, not 70000"),
        ('{"power_up": -1}', "from 0 to 65535"),
        ('{"settings": {"lives": 10}}', "the value 10 of tunable 'lives' is above its 'max', 9; change one"),
        ('{"settings": {"lives": 0}}', "the value 0 of tunable 'lives' is below its 'min', 1; change"),
        ('{"t": 1' + "0" * 5000 + ', "kind": "go"}', "a number of thousands of digits"),
        ('{"t": 1' + "0" * 4000 + ', "kind": "go"}', "more than 30 days after 1000"),
        ('{"t": 2000, "kind": "go", "who": 1' + "0" * 4000 + "}", "from 0 to 255, not"),
        ('{"t": 1e400, "kind": "go"}', "'t' must be a whole number, not inf"),
        ('{"t": 2000, "kind": "g\\ud800"}', "unknown kind"),
        (b'{"t": 2000, "kind": "g\xff"}', "a byte that is no UTF-8; save the file as UTF-8"),
    ],
)
def test_a_line_that_cannot_be_written_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], line: str | bytes, words: str
) -> None:
    said = told(tmp_path, capsys, HEAD, GO, line)
    assert "in.jsonl: line 3: " in said and words in said


@pytest.mark.parametrize("ticks_a_second", [1000, 1_000_000, 10_000_000])
def test_times_since_1970_are_no_times_since_power_up(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], ticks_a_second: int
) -> None:
    head = json.dumps(dictionary(KINDS, clock=ticks_a_second))
    began = time.process_time()
    said = told(tmp_path, capsys, head, GO, json.dumps(event(1_795_000_000 * ticks_a_second, "go", who=3)))
    assert time.process_time() - began < 2
    assert "line 3: time 1795000000" in said and "times count from power-up: subtract that of the start" in said


@pytest.mark.parametrize("game", ["M\\ud800", "\\udfffth"])
def test_half_of_a_character_in_a_text_of_the_dictionary(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], game: str
) -> None:
    said = told(tmp_path, capsys, HEAD.replace("Moth Run", game))
    assert "line 1: a text holds half of a character" in said


def test_a_value_outside_of_its_range_in_the_dictionary(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = told(tmp_path, capsys, HEAD.replace('"value": 3', '"value": 12'))
    assert "line 1: the value 12 of tunable 'lives' is above its 'max', 9" in said


def test_more_drops_than_the_counter_can_tell(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    drops = '{"drop": 40000}'
    assert "line 4: more than 65535 events dropped in a row" in told(tmp_path, capsys, HEAD, GO, drops + "\n" + drops)
    source = tmp_path / "in.jsonl"
    later = json.dumps(event(3000, "go", who=1))
    source.write_text("\n".join([HEAD, GO, drops, later, drops, later]) + "\n", encoding="utf-8")
    assert main([str(source), str(tmp_path / "o.playlog")]) == 0


@pytest.mark.parametrize("out", [".", "..", "folder"])
def test_a_folder_is_no_file_to_write(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, out: str
) -> None:
    (tmp_path / "in.jsonl").write_text(HEAD + "\n", encoding="utf-8")
    (tmp_path / "folder").mkdir()
    monkeypatch.chdir(tmp_path)
    assert main(["in.jsonl", out]) == 2
    assert capsys.readouterr().err == f"{out}: this is a folder; name the file to write\n"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["folder", "in.jsonl"]


def test_a_mark_of_utf_8_in_front_is_no_error(tmp_path: Path) -> None:
    (tmp_path / "in.jsonl").write_bytes(b"\xef\xbb\xbf" + HEAD.encode() + b"\n" + GO.encode() + b"\n")
    assert main([str(tmp_path / "in.jsonl"), str(tmp_path / "o.playlog")]) == 0
