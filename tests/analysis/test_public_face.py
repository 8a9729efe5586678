"""The public face: its documented examples run, what it returns is what the commands print, and it holds nobody up."""

import doctest
import json
import subprocess
import sys
from pathlib import Path

import pytest

import analysis
from analysis import study, study_decisions, study_tables
from analysis.arguments import WrongArgument
from analysis.words import amount
from dashboard.cli import main
from dashboard.command_line import exits
from dashboard.state.shared_study import SharedStudy
from ingest.encode import encode_lines
from ingest.study.store import import_log, open_study
from ingest.study.study_errors import StudyBusy, StudyError
from tests.analysis.playtest import KINDS, Playtest

EVIL = "</td><script>alert(1)</script>"
TARGETS = '[[target]]\noutcome = "reach_stage"\nstage = 2\nwanted = "50 %"\n'
LIVES = {"name": "start_lives", "role": "start_lives", "value": 1, "min": 1, "max": 5}


def written(folder: Path, game: str = "Moth Run") -> Path:
    """A study of 4 runs by 2 players, who die at 40, 60, two of the runs in stage 2."""
    played = Playtest()
    for player, stages in ((1, 1), (2, 2), (1, 2), (2, 1)):
        played.event("begin", 1000, who=player, left=1)
        for stage in range(1, stages + 1):
            played.event("enter", stage=stage, left=1)
            played.now += 20_000
            if stage < stages:
                played.event("leave", done=1)
        played.event("died", x=40, y=60, why=1, left=0)
        played.event("over", how=1)
    head = {"game": game, "firmware": "1.0", "clock": 1000, "screen": [160, 128], "kinds": KINDS, "tunables": [LIVES]}
    log = folder / "class.playlog"
    log.write_bytes(b"".join(encode_lines(json.dumps(line) for line in [{"dictionary": head}, *played.lines])))
    with open_study(folder / "class.duckdb") as made:
        import_log(made, log)
    (folder / "targets.toml").write_text(TARGETS, encoding="utf-8")
    return folder / "class.duckdb"


@pytest.fixture(scope="module")
def class_study(tmp_path_factory) -> Path:
    return written(tmp_path_factory.mktemp("class"))


@pytest.mark.parametrize("module", [study, study_decisions, study_tables])
def test_the_examples_of_the_documentation_run(class_study, monkeypatch, module):
    monkeypatch.chdir(class_study.parent)
    ran = doctest.testmod(
        module, extraglobs={"analysis": analysis}, optionflags=doctest.NORMALIZE_WHITESPACE, verbose=False
    )
    assert ran.failed == 0 and ran.attempted >= 6


def test_every_method_says_what_it_takes_returns_and_shows():
    for name in (
        "games",
        "runs",
        "lives",
        "deaths",
        "notes",
        "events",
        "sql",
        "findings",
        "check",
        "propose",
        "plan",
        "compare",
    ):
        text = getattr(analysis.Study, name).__doc__
        takes = "" if name in ("games", "check") else "Parameters\n"
        assert all(part in text for part in (takes, "Returns\n", "Examples\n", ">>> ")), name


def printed(code: str) -> str:
    """What another process prints that runs `code`."""
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    return done.stdout


def test_the_face_is_light():
    code = "import sys, analysis; print([m for m in ('scipy', 'pandas', 'numpy', 'duckdb') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, text=True).stdout == "[]\n"


@pytest.mark.parametrize(
    "command, answer",
    [
        (["findings"], lambda s, t: s.findings()),
        (
            ["findings", "--question", "deaths", "--attempts", "1-1"],
            lambda s, t: s.findings(None, "deaths", attempts=1),
        ),
        (["propose", "--targets", "targets.toml"], lambda s, t: s.propose(t)),
        (["plan", "--targets", "targets.toml", "--quick"], lambda s, t: s.plan(t, quick=True)),
    ],
)
def test_a_command_prints_what_a_method_returns(class_study, monkeypatch, capsys, command, answer):
    monkeypatch.chdir(class_study.parent)
    found = answer(analysis.open("class.duckdb"), "targets.toml")
    words = [*command, "--study", "class.duckdb"]
    code = exits.THIN if found.missing else exits.OK
    assert main(words) == code
    assert capsys.readouterr().out == f"{found!r}\n"
    assert main([*words, "--json"]) == code
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(found.to_json()))


def test_an_open_notebook_is_in_nobodys_way(class_study):
    asked = analysis.open(class_study)
    assert len(asked.findings(question="deaths")) > 3
    with open_study(class_study):  # for writing: alone
        pass
    with asked, pytest.raises(StudyBusy, match="close it there first"):
        open_study(class_study)
    assert asked.games()["runs"].tolist() == [4]


def test_a_dashboard_lets_go_of_the_study(class_study):
    code = f"import analysis; print(analysis.open({str(class_study)!r}).games()['game'][0])"
    with SharedStudy(class_study):
        assert printed(code) == "Moth Run\n"


def test_nothing_is_written_unless_asked_for(class_study, tmp_path):
    copy = tmp_path / "class.duckdb"
    copy.write_bytes(class_study.read_bytes())
    targets = class_study.parent / "targets.toml"
    asked, change = analysis.open(copy), "UPDATE run_notes SET valid = false"
    found = asked.propose(targets)
    assert found.answer.proposals
    (given_up,) = [line for line in found.text().splitlines() if line.startswith("first runs given up")]
    assert amount(found.seen["quit_share"], "share") in given_up
    for forbidden in (
        lambda: asked.sql(change),
        lambda: asked.keep(found),
        lambda: asked.compare("1.0", "1.0", remember=True),
    ):
        with pytest.raises(PermissionError, match="read_only=False"):
            forbidden()
    writable = analysis.open(copy, read_only=False)
    writable.keep(found)
    writable.sql(change)
    assert writable.sql("SELECT target_toml FROM targets")["target_toml"].tolist() == [TARGETS]


def test_errors_name_the_remedy(class_study, tmp_path):
    with pytest.raises(StudyError, match="setscrew ingest --study"):
        analysis.open(tmp_path / "none.duckdb")
    assert not (tmp_path / "none.duckdb").exists()
    copy = tmp_path / "older.duckdb"
    copy.write_bytes(class_study.read_bytes())
    analysis.open(copy, read_only=False).sql("UPDATE study SET schema_version = 0")
    with pytest.raises(StudyError, match="ingest the play logs again"):
        analysis.open(copy)
    asked = analysis.open(class_study)
    for wrong, remedy in (
        (lambda: asked.findings("Nothing"), "Its games: Moth Run"),
        (lambda: asked.findings(question="luck"), "The questions: trust, deaths"),
        (lambda: asked.findings(stage="two"), "b .boss."),
        (lambda: asked.runs("Nothing"), "Its games: Moth Run"),
        (lambda: asked.events("luck"), "there are: run_start"),
        (lambda: asked.plan(class_study.parent / "targets.toml", runs=0), "from 1 to 50"),
        (lambda: asked.plan(class_study.parent / "targets.toml", against={"gravity": 3}), "it has start_lives"),
        (lambda: asked.compare(after="9.9"), "played: 1.0"),
    ):
        with pytest.raises(WrongArgument, match=remedy):
            wrong()
    with pytest.raises(ValueError, match=r"none\.toml: cannot be read"):
        asked.propose(tmp_path / "none.toml")
    with pytest.raises(KeyError, match=r"deaths\.causes"):
        asked.findings(question="deaths")["deaths.luck"]


def test_what_a_notebook_shows_is_escaped(tmp_path):
    asked = analysis.open(written(tmp_path, EVIL))
    targets = tmp_path / "targets.toml"
    found = asked.findings()
    finding = found["deaths.causes"]
    shown = finding._repr_html_()
    assert finding.sentence.split(".")[0] in shown and finding.basis in shown and "<table" in shown
    answers = [found, *found, asked.propose(targets), asked.plan(targets, quick=True), asked.compare()]
    for answer in answers:
        assert "<script>" not in answer._repr_html_()
    assert "&lt;script&gt;" in found._repr_html_()


def test_answers_are_tables_too(class_study):
    asked = analysis.open(class_study)
    found = asked.findings()
    table = found.frame
    assert table["id"].tolist() == [finding.id for finding in found]
    assert set(table["game"]) == {"Moth Run"}
    one = found["survival.median_life"] if "survival.median_life" in set(table["id"]) else next(iter(found))
    assert table.loc[table["id"] == one.id, "runs"].tolist()[:1] == [one.runs]
    assert asked.events("death")["x"].tolist() == [40] * 4
    assert asked.runs()["attempt"].tolist() == [2, 2, 1, 1]
