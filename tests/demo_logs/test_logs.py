"""The demo logs come out of the simulator and the C recorder again byte for byte, and say what truly happened."""

import json
from pathlib import Path
from statistics import median

import pytest

import demo_logs
from demo_logs.simulator.lantern import GAMES
from demo_logs.simulator.native import compiler
from demo_logs.simulator.write import write_logs
from ingest.study.store import import_log, open_study
from tests.needs import need

FOLDER = Path(demo_logs.__file__).parent
TRUTH = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
WHOLE = [name for name, log in TRUTH["logs"].items() if not log["damage"]]
DAMAGED = [name for name, log in TRUTH["logs"].items() if log["damage"]]


@pytest.mark.parametrize("game", sorted(GAMES))
def test_the_logs_come_out_again_byte_for_byte(game, tmp_path):
    """Rewrite them with `python -m demo_logs.simulator` after a change of the recorder, the games or the people."""
    need(compiler(), "no C compiler is installed")
    truth = write_logs(tmp_path, [game])
    names = [name for name, log in TRUTH["logs"].items() if log["game"] == game]
    assert names and list(truth["logs"]) == names
    for name in names:
        written = (tmp_path / f"{name}.playlog").read_bytes()
        assert written == (FOLDER / f"{name}.playlog").read_bytes(), name
        sidecar = f"{name}.capture.jsonl"
        assert (tmp_path / sidecar).read_bytes() == (FOLDER / sidecar).read_bytes(), name
    assert json.loads(json.dumps(truth["logs"])) == {name: TRUTH["logs"][name] for name in names}
    assert truth["builds"] == {game: TRUTH["builds"][game]}


def test_there_is_a_truth_for_every_log_and_they_are_small():
    logs = {path.stem: path.stat().st_size for path in FOLDER.glob("*.playlog")}
    assert logs == {name: log["bytes"] for name, log in TRUTH["logs"].items()}
    assert sum(logs.values()) < 3_000_000


def test_the_playtests_are_as_large_as_the_class():
    for game in GAMES:
        sessions = [log for log in TRUTH["logs"].values() if log["game"] == game]
        assert {log["build"] for log in sessions} == {"a", "b"}
        players = {run["player"] for log in sessions for run in log["runs"]}
        audience = {p for p in players if not TRUTH["people"][p]["team"]}
        assert len(audience) >= 14
        assert audience != players, "the makers play too"


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """All demo logs in one study."""
    with open_study(tmp_path_factory.mktemp("study") / "demo.duckdb") as opened:
        results = {name: import_log(opened, FOLDER / f"{name}.playlog") for name in sorted(TRUTH["logs"])}
        yield opened.connection, results


def asked(study, sql, *values):
    return study[0].execute(sql, list(values)).fetchall()


@pytest.mark.parametrize("name", WHOLE)
def test_a_whole_log_tells_every_run_as_it_was(study, name):
    runs = asked(
        study,
        """SELECT r.player, r.ending, r.first_time, r.team, r.deaths, r.rating IS NOT NULL, r.damaged
           FROM runs r JOIN captures c USING (capture_id) WHERE c.name = ? ORDER BY r.number""",
        f"{name}.playlog",
    )
    told = [
        (
            run["player"],
            run["ending"],
            run["first_time"],
            TRUTH["people"][run["player"]]["team"],
            run["ending"] != "cut",
        )
        for run in TRUTH["logs"][name]["runs"]
    ]
    assert [(*run[:4], run[5]) for run in runs] == told
    for row, run in zip(runs, TRUTH["logs"][name]["runs"], strict=True):
        assert not row[6]
        if "deaths" in run and run["ending"] != "cut":
            assert row[4] == run["deaths"]
    result = study[1][name]
    assert (result.rejected_packets, result.missing_packets, result.dropped_events) == (0, 0, 0)


def test_a_console_reset_starts_a_power_up_and_cuts_its_run(study):
    name = next(name for name in WHOLE if any(run["ending"] == "cut" for run in TRUTH["logs"][name]["runs"]))
    power_ups = asked(
        study, "SELECT number FROM power_ups JOIN captures USING (capture_id) WHERE name = ?", f"{name}.playlog"
    )
    assert len(power_ups) == 2
    cut = next(run for run in TRUTH["logs"][name]["runs"] if run["ending"] == "cut")
    [(alive_us,)] = asked(
        study,
        """SELECT r.end_us - r.start_us FROM runs r JOIN captures c USING (capture_id)
           WHERE c.name = ? AND r.ending = 'cut'""",
        f"{name}.playlog",
    )
    # What was still in the open packet when the battery went is lost: at most half a second.
    assert 0 <= cut["cut_after_s"] * 1e6 - alive_us < 700_000


def test_a_clock_that_wraps_in_the_log_of_a_late_start_goes_on(study):
    """32-bit microseconds wrap after 4,294.97 s; this console had been on for 4,200 s when the recording began."""
    rows = asked(
        study,
        """SELECT r.start_us, r.end_us FROM runs r JOIN captures c USING (capture_id)
           WHERE c.name = 'one_puff_b_table1.playlog' ORDER BY r.number""",
    )
    times = [time for row in rows for time in row]
    assert len(rows) == len(TRUTH["logs"]["one_puff_b_table1"]["runs"])
    assert times == sorted(times)
    assert 95e6 < times[-1] - times[0] < 3600e6
    longest = 20 * (2 * 150 / 80 + 0.6) + 1
    assert all(0 < end - start < longest * 1e6 for start, end in rows)


def test_stages_and_levels_reached_are_those_that_were_played(study):
    for name in WHOLE:
        log = TRUTH["logs"][name]
        if log["game"] not in ("soot_wardens", "crate_loft"):
            continue
        column = "max(stage)" if log["game"] == "soot_wardens" else "max(spells.level)"
        rows = asked(
            study,
            f"""SELECT {column}, r.ending FROM runs r JOIN captures c USING (capture_id)
                JOIN stages USING (run_id) JOIN spells USING (run_id) WHERE c.name = ? GROUP BY r.number, r.ending
                ORDER BY r.number""",
            f"{name}.playlog",
        )
        for (reached, ending), run in zip(rows, log["runs"], strict=True):
            if ending != "cut":
                assert reached == run["stage" if log["game"] == "soot_wardens" else "level"]


def test_the_damaged_log_lost_what_was_done_to_it_and_little_more(study):
    [name] = DAMAGED
    log, result = TRUTH["logs"][name], study[1][name]
    done = {what: [d for d in log["damage"] if d["what"] == what] for what in ("bit flipped", "bytes lost")}
    hurt = len(done["bit flipped"]) + len(done["bytes lost"])
    assert 0 < result.rejected_packets <= 2 * hurt
    assert result.missing_packets > 0
    assert result.dropped_events > 0, "its ring is too small"
    # A packet holds at most 110 bytes of events, and the shortest is of two bytes.
    lost = log["events"] - result.events
    gone = log["damage"][0]["bytes"] + log["damage"][-1]["bytes"] + 128 * 2 * hurt
    assert result.dropped_events <= lost <= result.dropped_events + gone / 2
    assert result.runs >= len(log["runs"]) - 2


def test_builds_hold_the_values_that_the_worlds_were_played_with(study):
    for game, builds in TRUTH["builds"].items():
        rows = asked(
            study,
            """SELECT b.label, t.tunable, t.value FROM tunables t JOIN builds b USING (build_id)
               WHERE b.game = ? ORDER BY b.label, t.number""",
            GAMES[game].title,
        )
        labels = sorted({label for label, _, _ in rows})
        read = [{tunable: value for found, tunable, value in rows if found == label} for label in labels]
        assert read == [builds["a"], builds["b"]]
        assert builds["a"] != builds["b"]


def test_jets_kill_in_the_corner_of_the_second_boss(study):
    places = asked(
        study,
        """SELECT l.x, s.stage, s.stage_kind FROM lives l JOIN runs r USING (run_id) JOIN stages s USING (stage_id)
           WHERE r.game = 'Soot Wardens' AND l.died AND l.cause = 3""",
    )
    assert len(places) >= 10
    assert all(x >= 130 and stage == 2 and kind == 1 for x, stage, kind in places)


def test_hands_are_where_the_truth_says(study):
    """Press minus note: the person's bias, the console's latency, half a polling period; within sampling error."""
    poll_ms = TRUTH["builds"]["tin_drizzle"]["a"]["poll_period"]
    far, checked = [], 0
    for name in WHOLE:
        log = TRUTH["logs"][name]
        if log["game"] != "tin_drizzle" or log["build"] != "a":
            continue
        latency = TRUTH["consoles"][str(log["console"])]["latency_ms"]
        rows = asked(
            study,
            """WITH notes AS (
                 SELECT n.run_id, n.at_us, n.lane, r.player FROM note_events n JOIN runs r USING (run_id)
                 JOIN captures c USING (capture_id) JOIN stages s USING (run_id) WHERE c.name = ? AND s.song < 3
               )
               SELECT n.player, arg_min(p.at_us - n.at_us, abs(p.at_us - n.at_us)) / 1000 FROM notes n
               JOIN press_events p ON p.run_id = n.run_id AND p.lane = n.lane
                 AND abs(p.at_us - n.at_us) < 150000
               GROUP BY n.player, n.run_id, n.at_us, n.lane""",
            f"{name}.playlog",
        )
        for player in {row[0] for row in rows}:
            errors = [error for who, error in rows if who == player]
            person = TRUTH["people"][player]
            expected = person["tap_bias_ms"] + latency + poll_ms / 2
            checked += 1
            # Taps hang together and people correct themselves a little from run to run.
            slack = 4 * 1.6 * person["tap_spread_ms"] / len(errors) ** 0.5 + 0.12 * abs(expected) + 3
            if abs(median(errors) - expected) > slack:
                far.append((player, median(errors), expected, slack))
    assert checked >= 15
    assert not far
