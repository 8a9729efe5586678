"""From the C recorder's bytes over a serial line to a proposal, by the commands that people use.

Two consoles are played by simulated people; what happened is known from the simulator, which shares nothing with the
analysis.
"""

import json
import math
import os
import threading
from collections import Counter
from pathlib import Path

import duckdb
import pytest

from dashboard.cli import main
from dashboard.command_line import exits
from demo_logs.simulator.native import build, compiler
from demo_logs.simulator.record import Memories, log_bytes, play
from demo_logs.simulator.sessions import SESSIONS, people
from ingest.capture.captures import Captures
from tests.needs import need
from tests.waiting import until

TARGETS = """
[[target]]
outcome = "reach_stage"
stage = 2
wanted = "60 %"
"""


@pytest.fixture(scope="module")
def playtest(tmp_path_factory):
    """Two consoles of the shooter's first build, recorded at once: (folder of the logs, sent bytes, what happened)."""
    need(compiler(), "no C compiler is installed")
    need(hasattr(os, "openpty"), "this system has no pseudo-terminals")
    import tty

    folder = tmp_path_factory.mktemp("playtest")
    firmware = build("soot_wardens", None, tmp_path_factory.mktemp("firmware"))
    everybody, memories = people(), Memories()
    sessions = [s for s in SESSIONS if s.game == "soot_wardens" and s.build == "a" and s.damage is None]
    assert len(sessions) >= 2
    captures, sent, runs, ends = Captures(folder), {}, {}, []
    for session in sessions:
        played = play(session, firmware, everybody, memories)
        end, slave = os.openpty()
        tty.setraw(slave)
        port = os.ttyname(slave)
        captures.start(port)
        os.close(slave)
        ends.append(end)
        sent[port] = log_bytes(session, firmware, played)
        runs[port] = played.runs

    # At the first console somebody else sits down for the first run, and says so at the recording only.
    first = next(iter(runs.values()))
    captures.next_player(next(iter(runs)), "P40")
    replaced = first[0]["player"]
    for run in first:
        run["attempt"] -= run["player"] == replaced
    first[0] |= {"player": "P40", "attempt": 1}

    def send(end: int, data: bytes) -> None:
        while data:
            data = data[os.write(end, data[:777]) :]

    lines = [threading.Thread(target=send, args=line) for line in zip(ends, sent.values(), strict=True)]
    for line in lines:
        line.start()
    until(lambda: all(captures.status(port).bytes == len(data) for port, data in sent.items()))
    for line in lines:
        line.join()
    live = {status.source: status for status in captures.statuses()}
    assert captures.stop_all()
    for end in ends:
        os.close(end)
    paths = {port: captures.status(port).path for port in sent}
    return folder, {paths[p]: data for p, data in sent.items()}, {paths[p]: r for p, r in runs.items()}, live


@pytest.fixture(scope="module")
def study(playtest, tmp_path_factory):
    path = tmp_path_factory.mktemp("study") / "class.duckdb"
    assert main(["ingest", "--study", str(path), str(playtest[0])]) == exits.OK
    return path


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> dict:
    capsys.readouterr()
    assert main([*words, "--json"]) == exits.OK
    return json.loads(capsys.readouterr().out, parse_constant=lambda name: pytest.fail(f"{name} in JSON"))


def test_the_recordings_hold_what_the_consoles_sent(playtest):
    _, sent, runs, live = playtest
    for path, data in sent.items():
        assert path.read_bytes() == data
    for status in live.values():
        assert status.counts.game == "Soot Wardens"
        assert status.waiting == ()
        assert status.counts.runs == len(runs[status.path])
        assert status.counts.deaths >= sum(run["deaths"] for run in runs[status.path] if run["ending"] != "cut")
        assert (status.counts.rejected, status.counts.missing_packets, status.counts.dropped_events) == (0, 0, 0)


def test_the_study_holds_the_runs_that_were_played(playtest, study):
    _, _, runs, _ = playtest
    wanted = Counter(
        (run["player"], run["attempt"], run["ending"], run["deaths"])
        for played in runs.values()
        for run in played
        if run["ending"] != "cut"
    )
    with duckdb.connect(str(study), read_only=True) as connection:
        rows = connection.execute("SELECT player, attempt, ending, deaths, damaged FROM runs").fetchall()
    assert len(rows) == sum(map(len, runs.values()))
    assert not any(damaged for *_, damaged in rows if damaged)
    assert Counter(tuple(row[:4]) for row in rows if row[2] != "cut") == wanted
    cut = [run for played in runs.values() for run in played if run["ending"] == "cut"]
    assert sorted(row[:2] for row in rows if row[2] == "cut") == sorted((r["player"], r["attempt"]) for r in cut)


def test_ingesting_again_changes_nothing(playtest, study, capsys):
    said = answer(capsys, "ingest", "--study", str(study), str(playtest[0]))
    assert {capture["status"] for capture in said["captures"]} == {"unchanged"}


def test_the_findings_speak_of_the_players_who_played(playtest, study, capsys):
    """The makers' own runs are left out; every number is finite and every interval holds its value."""
    said = answer(capsys, "findings", "--study", str(study))
    (game,) = said["games"]
    everybody = people()
    players = {r["player"] for played in playtest[2].values() for r in played}
    audience = {tag for tag in players if tag == "P40" or not everybody[int(tag[1:])].team}
    assert game["players"] == len(audience) < len(players)
    assert game["findings"]
    for finding in game["findings"]:
        # Only the finding that sets the makers apart counts them.
        most = players if finding["id"] == "players.groups" else audience
        assert 0 <= finding["players"] <= len(most), finding["id"]
        assert finding["sentence"]
        estimate = finding["estimate"]
        if estimate and None not in (estimate["value"], estimate["low"], estimate["high"]):
            assert estimate["low"] <= estimate["value"] <= estimate["high"], finding["id"]


def test_a_proposal_comes_out_that_the_firmware_could_hold(study, capsys, tmp_path):
    targets = Path(tmp_path / "target.toml")
    targets.write_text(TARGETS, encoding="utf-8")
    said = answer(capsys, "propose", "--study", str(study), "--targets", str(targets))
    assert said["game"] == "Soot Wardens"
    assert said["proposals"]
    for proposal in said["proposals"]:
        assert proposal["advice"] in ("change", "not_yet", "close_enough")
        assert 0 <= proposal["chance_better"] <= 1
        for change in proposal["changes"]:
            assert change["low"] <= change["proposed"] <= change["high"]
            assert (change["proposed"] - change["now"]) % change["step"] == 0
        for target in proposal["targets"]:
            for prediction in (target["now"], target["proposed"]):
                low, value, high = (prediction[key] for key in ("low95", "value", "high95"))
                assert all(map(math.isfinite, (low, value, high)))
                assert 0 <= low <= value <= high <= 1
