"""The header: values and provenance, hostile texts made harmless, and the way through a real compiler and recorder."""

import json
import subprocess

import pytest

from analysis.models.data import Tunable
from analysis.tuning.c_header import NotHoldable, differences, header_text, read_values
from dashboard import cli
from dashboard.command_line import exits
from demo_logs.simulator.native import Board, build, compiler
from ingest.study.store import import_log, open_study
from tests.needs import need

LIVES = Tunable("start_lives", "start_lives", 3, 1, 9, 1, "lives")
OFFSET = Tunable("offset", "input_offset", 0, -40, 40, 4, "ms")


def text(setting, game="Moth Run", tunables=(LIVES, OFFSET)):
    return header_text(tunables, setting, game, "1.0", "abc123", "2026-01-02", "a test", "MOTH_H")


def test_values_units_and_provenance():
    written = text({"offset": -8})
    assert read_values(written) == {"TUNED_START_LIVES": 3, "TUNED_OFFSET": -8}
    for word in ("ms", "was 0", "-40 to 40 in steps of 4", "abc123", "Moth Run", "2026-01-02"):
        assert word in written


def test_what_cannot_be_held_is_refused():
    with pytest.raises(NotHoldable, match="steps of 4"):
        text({"offset": 3})
    with pytest.raises(NotHoldable, match="1 to 9"):
        text({"start_lives": 10})
    with pytest.raises(NotHoldable, match="no tunable 'speed'"):
        text({"speed": 3})


def test_differences():
    found = differences(text({}), text({"start_lives": 5}, tunables=(LIVES,)))
    assert [(d.name, d.before, d.after) for d in found] == [("TUNED_START_LIVES", 3, 5), ("TUNED_OFFSET", 0, None)]


def test_a_hostile_title_ends_no_comment(tmp_path):
    need(compiler(), "no C compiler is installed")
    written = text({}, game='*/ int x = "oops"; ??/\n/* \\')
    (tmp_path / "t.h").write_text(written, encoding="utf-8")
    (tmp_path / "t.c").write_text(
        '#include "t.h"\nint main(void) { return TUNED_START_LIVES - 3; }\n', encoding="utf-8"
    )
    program = str(tmp_path / "t")
    flags = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic"]
    subprocess.run([compiler(), *flags, str(tmp_path / "t.c"), "-o", program], check=True)
    assert subprocess.run([program], check=False).returncode == 0


def _short_log(firmware, path, nonce):
    """A run of one player who loses every life, as the console would log it."""
    zero = {kind.name: {f.name: 0 for f in kind.fields} for kind in firmware.dictionary.kinds}
    lives = firmware.values["start_lives"]
    events = [(1000, "run_begin", zero["run_begin"] | {"player": 1, "first_time": 1, "lives": lives})]
    events.append((1100, "part_begin", zero["part_begin"] | {"stage": 1, "lives": lives}))
    for n in range(lives):
        events.append((3000 + 2000 * n, "burnt", zero["burnt"] | {"lives": lives - 1 - n}))
    events.append((3000 + 2000 * lives, "run_over", zero["run_over"] | {"ending": 1}))
    path.write_bytes(firmware.run(firmware.lines(events), Board(), nonce))


def test_from_the_proposal_to_the_next_log(tmp_path, capsys):
    """Header written -> compiled into the demo firmware -> the next log shows the new build with these values."""
    need(compiler(), "no C compiler is installed")
    study = tmp_path / "s.duckdb"
    old = build("soot_wardens", None, tmp_path)
    _short_log(old, tmp_path / "old.playlog", 1)
    with open_study(study) as opened:
        import_log(opened, tmp_path / "old.playlog")
    tuned = tmp_path / "tuned"
    tuned.mkdir()
    header = tuned / "soot_wardens_tuned.h"
    words = ["header", "--study", str(study), "--out", str(header), "--json"]
    assert cli.main([*words, "--proposal", "start_lives=5+lives_refill=2"]) == exits.OK
    said = json.loads(capsys.readouterr().out)
    assert said["values"]["TUNED_START_LIVES"] == 5
    new = build("soot_wardens", tuned, tmp_path)
    assert new.values == old.values | {"start_lives": 5, "lives_refill": 2}
    _short_log(new, tmp_path / "new.playlog", 2)
    with open_study(study) as opened:
        import_log(opened, tmp_path / "new.playlog")
        rows = opened.connection.execute("SELECT DISTINCT build FROM runs").fetchall()
        assert len(rows) == 2
        label, value = opened.connection.execute(
            "SELECT DISTINCT b.label, t.value FROM tunables t JOIN builds b USING (build_id) "
            "JOIN all_runs USING (build_id) JOIN captures c USING (capture_id) "
            "WHERE tunable = 'start_lives' AND c.name = 'new.playlog'"
        ).fetchone()
        assert value == 5
    # A second header says what differs from the first one. Nothing says when either was played: the build is named.
    assert cli.main([*words, "--set", "start_lives=4", "--build", label]) == exits.OK
    said = json.loads(capsys.readouterr().out)
    assert said["differences"] == [{"macro": "TUNED_START_LIVES", "before": 5, "after": 4}]


def test_a_header_of_ones_own_is_not_overwritten(tmp_path, capsys):
    need(compiler(), "no C compiler is installed")
    study, mine = tmp_path / "s.duckdb", tmp_path / "mine.h"
    _short_log(build("soot_wardens", None, tmp_path), tmp_path / "a.playlog", 1)
    with open_study(study) as opened:
        import_log(opened, tmp_path / "a.playlog")
    mine.write_text("#define MINE 1\n", encoding="utf-8")
    assert cli.main(["header", "--study", str(study), "--out", str(mine)]) == exits.INPUT
    assert mine.read_text(encoding="utf-8") == "#define MINE 1\n"
    assert "not written by Setscrew" in capsys.readouterr().err
    assert cli.main(["header", "--study", str(study), "--out", str(tmp_path / "n.h"), "--set", "x=1"]) == exits.USAGE
