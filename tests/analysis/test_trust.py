"""The findings on trust, from logs with damage that was put in by hand."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from analysis.finding import Finding
from analysis.findings import trust
from analysis.findings.trust.logs_received import _lost, why_no_run
from analysis.methods import METHODS
from analysis.reader import Reader
from analysis.selection import Selection
from ingest.study.store import Study, import_log, open_study
from tests.ingest.studies import Line, dictionary, event, imported, log_of, recorded_at

KINDS = {
    "begin": ("run_start", {"who": "u8 player"}),
    "at": ("position", {"x": "u8 x"}),
    "fell": ("death", {}),
    "over": ("run_end", {"how": "u8 ending"}),
}
# Packets whose dictionary never came, among what is none.
NOISE = b"\x05abcdefghijklmn\0" * 9 + log_of([dictionary(KINDS), event(5, "at", x=1)])[-12:]


@pytest.fixture
def study(tmp_path: Path) -> Iterator[Study]:
    with open_study(tmp_path / "study.duckdb") as opened:
        yield opened


def run(start: int, who: int, drop: int = 0, ended: bool = True, seconds: int = 5) -> list[Line]:
    lines = [event(start, "begin", who=who), event(start + 500, "at", x=who)]
    lines += [{"drop": drop}] if drop else []
    lines += [event(start + 900, "fell"), event(start + 1000 * seconds, "at", x=1)]
    return lines + ([event(start + 1000 * seconds, "over", how=0)] if ended else [])


def found(study: Study, **selection: object) -> dict[str, Finding]:
    findings = trust.find(Reader(study.connection), Selection("Moth Run", **selection))  # type: ignore[arg-type]
    for finding in findings:
        assert finding.method in METHODS
        json.dumps(finding.to_json(), allow_nan=False)
    return {finding.id: finding for finding in findings}


def test_an_empty_study(study: Study) -> None:
    (only,) = found(study).values()
    assert only.id == "trust.none" and "ingest one" in only.sentence


def test_intact(study: Study, tmp_path: Path) -> None:
    imported(study, tmp_path / "a.playlog", [dictionary(KINDS), *run(1000, 1), *run(9000, 2)])
    answers = found(study)
    assert set(answers) == {"trust.verdict", "trust.damaged", "trust.endings"}
    assert "nothing was lost" in answers["trust.verdict"].sentence and "1 intact" in answers["trust.verdict"].sentence
    assert answers["trust.verdict"].estimate is not None and answers["trust.verdict"].estimate.value == 0
    assert "None of 2 runs" in answers["trust.damaged"].sentence
    assert answers["trust.damaged"].runs == 2 and answers["trust.damaged"].players == 2
    assert "Each of 2 runs has its end" in answers["trust.endings"].sentence


def test_damage_is_counted_and_told(study: Study, tmp_path: Path) -> None:
    lines = [dictionary(KINDS), *run(1000, 1, drop=4, seconds=20), *run(30_000, 2), *run(40_000, 0, ended=False)]
    imported(study, tmp_path / "a.playlog", [*lines, {"power_up": 5}, *run(100, 0)])
    answers = found(study)
    verdict = answers["trust.verdict"]
    events = verdict.facts["events"]
    assert verdict.estimate is not None and verdict.estimate.value == pytest.approx(4 / (events + 4))
    assert verdict.facts["worst"] == "doubtful" and verdict.tables["captures"]["dropped"].tolist() == [4]
    assert "larger ring" in verdict.sentence and verdict.warnings
    assert list(verdict.tables["damage"]["reason"]) == ["dropped"]
    damaged = answers["trust.damaged"]
    assert "1 of 4 runs (25 %)" in damaged.sentence and "Longer runs are more likely" in damaged.sentence
    assert "20 s" in damaged.sentence
    # Of the very runs at hand: a share that is no estimate has no interval.
    assert (damaged.estimate.value, damaged.estimate.low, damaged.estimate.high) == (0.25, None, None)
    assert "1 of 4 runs has no end" in answers["trust.endings"].sentence
    assert "the console was reset" in answers["trust.endings"].sentence
    assert "2 of 4 runs have no player tag" in answers["trust.tags"].sentence
    assert found(study, players=("P02",))["trust.damaged"].facts["damaged_runs"] == 0


def test_a_game_that_logs_no_ends_is_told_so_and_the_console_is_not_blamed(study: Study, tmp_path: Path) -> None:
    kinds = {name: kind for name, kind in KINDS.items() if name != "over"}
    lines = [dictionary(kinds), *run(1000, 1, ended=False), *run(9000, 2, ended=False)]
    imported(study, tmp_path / "a.playlog", lines)
    ends = found(study)["trust.endings"]
    assert "2 of 2 runs have no end in the log, for this game logs none" in ends.sentence
    assert "`run_end`" in ends.sentence and "reset" not in ends.sentence
    assert ends.tables["endings"]["runs"].tolist() == [0, 0, 0, 2]


def test_copies_are_found_and_equal_songs_are_not(study: Study, tmp_path: Path) -> None:
    lines = [dictionary(KINDS), *run(1000, 1), *run(9000, 2), *run(20_000, 3), *run(30_000, 4)]
    imported(study, tmp_path / "a.playlog", lines)
    # Another console whose first run happens to be as long as theirs.
    imported(
        study,
        tmp_path / "b.playlog",
        [dictionary(KINDS), *run(1000, 1), *run(11_000, 2), *run(25_000, 3), *run(37_000, 3)],
    )
    assert "trust.twice" not in found(study)
    # The same recording without its last packets: no prefix, because some bytes in the middle are broken too.
    log = bytearray((tmp_path / "a.playlog").read_bytes())
    log[-100] ^= 1
    imported(study, tmp_path / "c.playlog", bytes(log[:-20]))
    twice = found(study)["trust.twice"]
    # What of the copy is left counts from the first log, and once.
    (pair,) = twice.tables["pairs"][["one", "other"]].to_numpy().tolist()
    assert pair == ["c.playlog", "a.playlog"]
    assert "copies of one power-up" in twice.sentence and twice.runs == 8


def test_a_capture_without_dictionary_is_shown_with_every_game(study: Study, tmp_path: Path) -> None:
    imported(study, tmp_path / "a.playlog", [dictionary(KINDS), *run(1000, 1)])
    imported(study, tmp_path / "noise.playlog", NOISE)
    verdict = found(study)["trust.verdict"]
    assert verdict.tables["captures"]["grade"].tolist() == ["intact", "unusable"]
    assert any("noise.playlog" in warning and "one baud rate" in warning for warning in verdict.warnings)


def test_a_refused_part_of_the_dictionary_is_told_with_its_place_and_remedy(study: Study, tmp_path: Path) -> None:
    from tests.ingest.test_given_dictionary import play_log, with_labels

    imported(study, tmp_path / "a.playlog", play_log(with_labels({1: "beam", 300: "wall"})))
    verdict = {one.id: one for one in trust.find(Reader(study.connection), Selection(game="Lantern"))}["trust.verdict"]
    assert "label 300 wall" in verdict.warnings[0] and "CAPTURE.md" in verdict.sentence
    notices = verdict.tables["notices"]
    assert list(notices["name"]) == ["a.playlog"] and list(notices["about"]) == ["dictionary"]
    assert notices["byte_offset"][0] > 0 and "300" in notices["what"][0]


def test_the_worst_log_comes_first_with_its_remedy(study: Study, tmp_path: Path) -> None:
    from tests.ingest.test_given_dictionary import play_log, with_labels
    from tests.ingest.test_stopped_clock import played

    imported(study, tmp_path / "a.playlog", play_log(with_labels({1: "beam", 300: "wall"})))
    imported(study, tmp_path / "b.playlog", played(lambda tick: min(tick, 0xFFFF)))
    verdict = trust.find(Reader(study.connection), Selection(game="Lantern"))[0]
    assert "32 bits" in verdict.sentence and verdict.facts["worst"] == "doubtful"
    assert [warning.split(":")[0] for warning in verdict.warnings] == ["b.playlog", "a.playlog"]


def test_why_a_study_with_logs_has_no_run(study: Study, tmp_path: Path) -> None:
    reader = Reader(study.connection)
    assert why_no_run(reader) is None  # nothing was ingested: that is said elsewhere
    imported(study, tmp_path / "noise.playlog", NOISE)
    said = why_no_run(reader)
    assert said is not None and said.startswith("1 play log is in the study, but it holds no run that can be read. ")
    assert "noise.playlog: 9 packets arrived broken; 10 bytes came without their dictionary." in said
    imported(study, tmp_path / "idle.playlog", [dictionary(KINDS), event(5, "at", x=1)])
    said = why_no_run(reader)
    assert said is not None and said.startswith("2 play logs are in the study, but none of them holds a run")
    imported(study, tmp_path / "a.playlog", [dictionary(KINDS), *run(1000, 1)])
    assert why_no_run(reader) is None


def test_a_whole_log_without_a_run_names_the_missing_role(study: Study, tmp_path: Path) -> None:
    imported(study, tmp_path / "idle.playlog", [dictionary(KINDS), event(5, "at", x=1)])
    said = why_no_run(Reader(study.connection))
    assert said is not None and said.endswith(
        "idle.playlog: Nothing was lost, but no event with the role `run_start` came."
    )


def test_changed_tunables_are_told(study: Study, tmp_path: Path) -> None:
    line = dictionary(KINDS, tunables=[{"name": "speed", "value": 5}])
    first, *rest = run(1000, 1)
    imported(study, tmp_path / "a.playlog", [line, first, {"settings": {"speed": 6}}, *rest])
    assert "In 1 of 1 run a tunable changed" in found(study)["trust.builds"].sentence


def test_attempts_whose_order_nothing_tells_are_told(study: Study, tmp_path: Path) -> None:
    """P01 played on two consoles, P02 on one: known where both were recorded with their times, and not before."""
    logs = {
        "a": [dictionary(KINDS), {"power_up": 7}, *run(1000, 1), *run(9000, 2)],
        "b": [dictionary(KINDS), {"power_up": 8}, *run(2000, 1)],
    }
    for name, lines in logs.items():
        imported(study, tmp_path / f"{name}.playlog", lines)
    told = found(study)["trust.attempts"]
    assert told.to_json()["tables"]["players"] == {"player": ["P01"], "logs": [2]}
    for day, name in enumerate(logs, 1):
        recorded_at(tmp_path / f"{name}.playlog", f"2026-03-0{day}T10:00:00+00:00")
        import_log(study, tmp_path / f"{name}.playlog")
        assert ("trust.attempts" in found(study)) == (name == "a")


@pytest.mark.parametrize(
    ("gone", "deaths", "said"),
    [(0.0, 50, ["nothing"]), (0.2, 50, ["1"]), (1.4, 50, ["1"]), (7.2, 50, ["7"]), (50.0, 60, ["50", "3"])],
)
def test_what_was_lost_is_said_in_whole_events_of_which_some_are_deaths(gone, deaths, said):
    """Of 1,000 events that came so many were deaths. A fifth of an event is still one that was lost."""
    words = _lost(deaths, gone, 1000, gone / (1000 + gone))
    assert re.findall(r"nothing|\b\d+(?= (?:event|death))", words) == said
