"""Verdicts on captures, from counts whose answers are plain."""

from dataclasses import dataclass

import pytest

from analysis.quality import Grade, judge, lost_events
from ingest.study.capture_counts import About, Notice


@dataclass(frozen=True)
class Counted:
    bytes: int = 10_000
    packets: int = 100
    events: int = 1000
    runs: int = 10
    rejected_packets: int = 0
    missing_packets: int = 0
    dropped_events: int = 0
    unread_bytes: int = 0
    newer_packets: int = 0
    refusal: str | None = None
    damaged_runs: int = 0
    lost_starts: int = 0
    open_runs: int = 0
    notices: tuple[Notice, ...] = ()


def test_runs_without_a_start_or_a_known_player_are_told() -> None:
    verdict = judge(Counted(missing_packets=1, damaged_runs=1, lost_starts=1, open_runs=2))
    assert "The start of 1 run was lost" in verdict.words and "Who played 2 runs is open" in verdict.words
    late = judge(Counted(open_runs=1))
    assert late.grade == Grade.DAMAGED and "Runs and notes" in late.words


def test_nothing_lost() -> None:
    verdict = judge(Counted())
    assert (verdict.grade, verdict.lost_share, verdict.words) == (Grade.INTACT, 0.0, "Nothing was lost.")


def test_what_is_told_beside_the_counts_is_in_the_verdict_with_its_remedy() -> None:
    label = Notice(About.DICTIONARY, 30, "Line 7: this label is left out.", "Mend it.")
    verdict = judge(Counted(notices=(label,) * 9))
    assert verdict.grade == Grade.DAMAGED and verdict.lost_share == 0.0
    assert verdict.words.count(label.what) == 5 and "And 4 more" in verdict.words
    assert verdict.words.count("Mend it.") == 1
    given = Notice(About.GIVEN, 0, "Read with another dictionary.", "Remove it.")
    assert judge(Counted(notices=(given,))).grade == Grade.INTACT
    assert given.what in judge(Counted(notices=(given,))).words


@pytest.mark.parametrize(
    ("counted", "lost"),
    [
        (Counted(dropped_events=7), 7),
        (Counted(missing_packets=3), 30),  # ten events a packet
        (Counted(missing_packets=3, rejected_packets=3), 30),  # a broken packet also leaves a gap
        (Counted(missing_packets=1, rejected_packets=3), 30),
        (Counted(newer_packets=2), 20),
        (Counted(unread_bytes=5000), 1000),  # 1,000 events came in the other 5,000 bytes
        (Counted(packets=0, events=0), 0),
    ],
)
def test_lost_events(counted: Counted, lost: float) -> None:
    assert lost_events(counted) == pytest.approx(lost)


@pytest.mark.parametrize(
    ("counted", "grade"),
    [
        (Counted(dropped_events=10), Grade.DAMAGED),
        (Counted(dropped_events=52), Grade.DAMAGED),  # 52 of 1,052: 4.9 %
        (Counted(dropped_events=53), Grade.DOUBTFUL),  # 53 of 1,053: 5.03 %
        (Counted(dropped_events=1, damaged_runs=2), Grade.DAMAGED),
        (Counted(dropped_events=1, damaged_runs=3), Grade.DOUBTFUL),  # more than a quarter of the runs
        (Counted(packets=0, events=0, runs=0), Grade.UNUSABLE),
        (Counted(packets=5, events=0, runs=0, unread_bytes=300), Grade.UNUSABLE),
        (Counted(packets=5, events=0, runs=0, refusal="line 3: rename"), Grade.UNUSABLE),
        (Counted(packets=5, events=0, runs=0), Grade.INTACT),  # switched on, not played
    ],
)
def test_grades(counted: Counted, grade: Grade) -> None:
    assert judge(counted).grade == grade


@pytest.mark.parametrize(("runs", "words"), [(1, "1 of 1 run is damaged"), (2, "1 of 2 runs are damaged")])
def test_one_run_is_not_called_several(runs: int, words: str) -> None:
    assert words in judge(Counted(missing_packets=3, runs=runs, damaged_runs=1)).words


def test_words_say_what_was_lost_what_it_biases_and_what_to_do() -> None:
    words = judge(Counted(rejected_packets=1, missing_packets=1, dropped_events=4, damaged_runs=1)).words
    assert "1 packet arrived broken" in words and "4 events did not fit the console's buffer" in words
    assert "1 of 10 runs are damaged" in words and "deaths and presses may be missing" in words
    assert "larger buffer" in words and "Check ground and wires" in words
    assert "between runs" in judge(Counted(dropped_events=4)).words
    assert "rename one" in judge(Counted(events=0, refusal="line 7: rename one")).words


@pytest.mark.parametrize(
    ("counted", "words"),
    [
        (
            Counted(bytes=0, packets=0, events=0, runs=0),
            "The file is empty. Was the console switched on, its wire connected, and playlog_init() called?",
        ),
        (
            Counted(bytes=1, packets=0, events=0, runs=0),
            "In 1 byte not one packet could be read. Is this a play log, and were baud rate and wiring right?",
        ),
        (
            Counted(bytes=900, packets=0, events=0, runs=0, newer_packets=9),
            "In 900 bytes not one packet could be read; 9 packets are of a newer format. "
            "A newer Setscrew reads the newer packets.",
        ),
    ],
)
def test_without_a_packet_it_is_said_what_was_there_instead(counted: Counted, words: str) -> None:
    assert judge(counted).words == words
