"""A log without its dictionary is read in the call that brings it with another log, whatever the order of the two."""

import itertools
import json
from pathlib import Path

import pytest

from dashboard import cli
from dashboard.command_line import exits
from dashboard.pages.import_page import import_all
from dashboard.state.jobs import Jobs
from ingest.study.store import open_study
from tests.ingest.studies import dictionary, log_of
from tests.ingest.test_late_dictionary import KINDS, LIVES, frames, is_about, one_run
from tests.ingest.test_order import answers, content


def logs() -> dict[str, bytes]:
    """`short` has no dictionary, `whole` has it, `other` is of another game."""
    parts = frames(log_of([dictionary(KINDS, **LIVES), *one_run(1, 1000), *one_run(2, 6000)]))
    short = b"\0" + b"".join([*parts[:2], *(frame for frame in parts[2:] if not is_about(frame))])
    other = log_of([dictionary(KINDS, **LIVES, game="Tin Kite"), *one_run(4, 2000)])
    return {"short": short, "whole": log_of([dictionary(KINDS, **LIVES), *one_run(9, 1500)]), "other": other}


def ingested(capsys: pytest.CaptureFixture[str], study: Path, *paths: Path) -> dict:
    assert cli.main(["ingest", "--study", str(study), "--json", *map(str, paths)]) == exits.OK
    return json.loads(capsys.readouterr().out)


def test_in_any_order_of_one_call_the_same_study(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    held = logs()
    for name, log in held.items():
        (tmp_path / f"{name}.playlog").write_bytes(log)
    expected = None
    for number, order in enumerate(itertools.permutations(held)):
        study = tmp_path / f"{number}.duckdb"
        answer = ingested(capsys, study, *(tmp_path / f"{name}.playlog" for name in order))
        totals = answer["totals"]
        assert (totals["captures"], totals["new"], totals["runs"], totals["unread_bytes"]) == (3, 3, 4, 0)
        assert [Path(one["file"]).stem for one in answer["captures"]] == list(order)
        with open_study(study) as opened:
            # Answers take long: of the first order, and of the one that is its reverse.
            found = content(opened), answers(opened) if number in (0, 5) else None
        expected = expected or found
        assert found[0] == expected[0] and found[1] in (None, expected[1]), order


def test_a_log_of_an_earlier_call_is_named(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    held = logs()
    for name in ("short", "whole"):
        (tmp_path / f"{name}.playlog").write_bytes(held[name])
    study = tmp_path / "s.duckdb"
    cli.main(["ingest", "--study", str(study), str(tmp_path / "short.playlog")])
    capsys.readouterr()
    assert cli.main(["ingest", "--study", str(study), str(tmp_path / "whole.playlog")]) == exits.OK
    assert "short.playlog" in capsys.readouterr().err
    assert ingested(capsys, study, tmp_path / "short.playlog")["totals"]["grown"] == 1


def test_the_page_of_imports_goes_back_too(own_session) -> None:
    held, before = logs(), own_session.reader.fingerprint()
    job = Jobs().start("nothing", lambda job: None)
    files = [("short.playlog", held["short"]), ("whole.playlog", held["whole"])]
    verdicts = import_all(own_session, files, job)
    assert [(name, grade.split(", ")[-1]) for name, grade, _ in verdicts] == [
        ("short.playlog", "new"),
        ("whole.playlog", "new"),
    ]
    assert verdicts[0][2].startswith("2 runs")
    own_session.undo()
    assert own_session.reader.fingerprint() == before
