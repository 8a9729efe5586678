"""`setscrew check`: what a log lacks is named, and findings and proposals of a study of the same log bear it out."""

import json
import re
from pathlib import Path

import pytest

from analysis.answers.checked import Can, Checked
from analysis.findings import QUESTIONS, find
from analysis.reader import Reader
from analysis.selection import Selection
from dashboard.cli import main
from dashboard.command_line import exits
from dashboard.commands.check_command import checked
from ingest.study.store import import_log, open_study
from tests.dashboard.commands.test_findings_command import documented
from tests.ingest.studies import dictionary, event, log_of

DEMO = Path(__file__).parents[3] / "demo_logs"
WHOLE = {
    "begin": ("run_start", {"who": "u8 player"}),
    "enter": ("stage_start", {"n": "u8 stage"}),
    "fell": ("death", {"x": "u8 x", "y": "u8 y", "why": "u8 cause"}),
    "over": ("run_end", {"how": "u8 ending"}),
}
LIVES = {"name": "lives", "role": "start_lives", "value": 1, "min": 1, "max": 9}


def without(*names: str) -> dict:
    """The kinds, but for some: "fell" a kind, "fell.x" a field, "fell!" only its role."""
    kinds = {}
    for name, (role, fields) in WHOLE.items():
        if name not in names:
            kept = {field: words for field, words in fields.items() if f"{name}.{field}" not in names}
            kinds[name] = (None if f"{name}!" in names else role, kept)
    return kinds


def log(folder: Path, kinds: dict, tunables: tuple = (LIVES,), die: bool = True) -> Path:
    """Two runs of two players, who die once each."""
    said = {"who": 1, "n": 1, "x": 40, "y": 60, "why": 1, "how": 1}
    lines = [dictionary(kinds, tunables=list(tunables))]
    for run in range(2):
        said["who"] = run + 1
        for place, kind in enumerate(("begin", "enter", "fell", "over")):
            if kind in kinds and (die or kind != "fell"):
                fields = {name: said[name] for name in kinds[kind][1]}
                lines.append(event(1000 + 9000 * run + 1500 * place, kind, **fields))
    path = folder / "firmware.playlog"
    path.write_bytes(log_of(lines))
    return path


def needed(told: Checked, question: str) -> set[str]:
    """The roles that are named for what a question lacks."""
    return {role for lack in told[question].lacks for role in re.findall(r"`([a-z_]+)`", lack.log)}


def found(path: Path, question: str) -> set[str]:
    """The findings of a study of the same log."""
    with open_study(path.with_suffix(".duckdb")) as study:
        import_log(study, path)
        return {one.id for one in find(Reader(study.connection), Selection("Moth Run"), (question,))}


def test_a_log_that_lacks_nothing(tmp_path):
    path = log(tmp_path, WHOLE)
    told = checked([path])
    assert told["players"].can == Can.IN_PART and needed(told, "players") == {"rating", "value"}
    assert told["survival"].can == told["trust"].can == told["lives"].can == Can.YES
    assert needed(told, "deaths") == {"position", "x", "y"}
    assert told["progress"].can == Can.NOT_YET
    assert {"deaths.places", "deaths.causes"} <= found(path, "deaths")


@pytest.mark.parametrize(
    "left_out, question, can, roles",
    [
        (["fell"], "deaths", Can.NO, {"death"}),
        (["fell!"], "deaths", Can.NO, {"death"}),
        (["fell.x", "fell.y"], "deaths", Can.IN_PART, {"death", "x", "y", "position"}),
        (["fell.y"], "deaths", Can.IN_PART, {"death", "y", "position", "x"}),
        (["fell.why"], "deaths", Can.IN_PART, {"death", "cause", "position", "x", "y"}),
        (["begin.who"], "players", Can.NO, {"run_start", "player", "rating", "value"}),
        (["over"], "survival", Can.IN_PART, {"run_end", "ending"}),
        (["begin"], "survival", Can.NO, {"run_start"}),
    ],
)
def test_what_is_missing_is_named(tmp_path, left_out, question, can, roles):
    told = checked([log(tmp_path, without(*left_out))])
    assert told[question].can == can
    assert needed(told, question) == roles


def test_findings_bear_it_out(tmp_path):
    assert "deaths.places" not in found(log(tmp_path, without("fell.x", "fell.y")), "deaths")
    (tmp_path / "none").mkdir()
    assert not {"deaths.causes", "deaths.by_stage"} & found(log(tmp_path / "none", without("fell")), "deaths")


def test_tags_may_come_from_the_recording(tmp_path):
    path = log(tmp_path, without("begin.who"))
    assert checked([path])["players"].can == Can.NO
    said = [
        {"capture": 1, "started": "2026-03-02T10:00:00.000+00:00", "source": "x"},
        {"at": 0.1, "byte": 0, "player": "P07"},
    ]
    path.with_suffix(".capture.jsonl").write_text("".join(json.dumps(line) + "\n" for line in said), encoding="utf-8")
    assert checked([path])["players"].can == Can.IN_PART


def test_what_is_declared_and_was_not_seen_is_no_fault(tmp_path):
    told = checked([log(tmp_path, WHOLE, die=False)])
    assert told["deaths"].can == told["lives"].can == Can.NOT_YET
    assert told["survival"].can == Can.IN_PART
    assert all(lack.declared for lack in told["survival"].lacks)


def test_tunables_that_cannot_be_turned(tmp_path):
    odd = (
        LIVES,
        {"name": "fixed", "role": "tiers_survive", "value": 1},
        {"name": "own", "value": 3, "min": 1, "max": 9},
        {"name": "poll", "role": "poll_period", "value": 3, "min": 1, "max": 9, "unit": "ms"},
    )
    told = checked([log(tmp_path, WHOLE, odd)])
    assert [line.can for line in told.games[0].tunables] == [Can.YES, Can.NO, Can.NO, Can.NO]
    assert "MIN below MAX" in told["fixed"].lacks[0].log
    assert needed(told, "poll") == {"poll_period"}
    (tmp_path / "deathless").mkdir()
    assert checked([log(tmp_path / "deathless", without("fell"), odd)])["lives"].can == Can.NO


@pytest.mark.parametrize(
    "name, no, levers",
    [
        ("soot_wardens_a_table1", {"timing"}, 11),
        ("one_puff_a_table1", {"deaths", "timing"}, 1),
        ("tin_drizzle_a_table1", {"deaths", "genres"}, 5),
    ],
)
def test_the_demo_logs(name, no, levers):
    told = checked([DEMO / f"{name}.playlog"])
    (game,) = told.games
    assert {line.id for line in game.questions if line.can == Can.NO} == no
    assert sum(line.can == Can.YES for line in game.tunables) == levers
    assert [line.id for line in game.questions] == list(QUESTIONS)


def test_two_builds_make_a_before_and_an_after():
    told = checked([*(DEMO / f"tin_drizzle_{build}_table1.playlog" for build in "ab")])
    assert told["progress"].can == Can.YES


def test_the_command(tmp_path, capsys):
    path = log(tmp_path, without("fell"))
    assert main(["check", str(path)]) == exits.OK
    assert capsys.readouterr().out == f"{checked([path])}\n"
    assert main(["check", str(path), "--json"]) == exits.OK
    answer = json.loads(capsys.readouterr().out)
    whole, game = documented("`setscrew check LOG... --json`")
    assert set(answer) == whole and set(answer["games"][0]) == game
    assert list(tmp_path.iterdir()) == [path]


def test_what_is_no_log(tmp_path, capsys):
    text = tmp_path / "text.playlog"
    text.write_text("hello\n" * 100, encoding="utf-8")
    assert main(["check", str(text)]) == exits.INPUT
    assert main(["check", str(tmp_path / "gone.playlog")]) == exits.INPUT
    said = capsys.readouterr()
    assert not said.out and "text.playlog" in said.err and "gone.playlog" in said.err
