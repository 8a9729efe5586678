"""Who plays, said while it is recorded: what the study will say of the same log."""

import random
from pathlib import Path

import pytest

from ingest.capture.recording import Recording, Status
from ingest.study.store import import_log, open_study
from tests.bench.ingest.lost_packets import Console, console
from tests.ingest.studies import rows


def recorded(path: Path, made: Console, lost: set[int]) -> list[Status]:
    """Records what a console sent, but for some of its frames, with the tags as they were typed; the status at the end
    of each run."""
    now = [0.0]
    recording = Recording(path, "COM3", clock=lambda: now[0])
    waiting, told = list(made.tags), []
    ends = [end for _, end, _ in made.runs]
    for number, (at, frame) in enumerate(made.frames):
        while waiting and waiting[0][0] <= at:
            now[0] = waiting[0][0] / 1000
            recording.next_player(waiting.pop(0)[1])
        now[0] = max(now[0], at / 1000)
        if number not in lost:
            recording.take(frame)
        while ends and ends[0] + 700 <= at:
            told.append(recording.status())
            ends.pop(0)
    recording.close()
    return [*told, recording.status()]


def said(status: Status) -> str:
    return " or ".join(status.open) or status.player or ""


@pytest.mark.parametrize("habit", ["just before", "in the run before", "all at first", "late"])
@pytest.mark.parametrize("lost", ["nothing", "a start", "a run", "a packet between"])
def test_it_is_what_the_study_says(tmp_path: Path, habit: str, lost: str) -> None:
    made = console(random.Random(7), 4, 1, habit)
    start, end, _ = made.runs[1]
    gone = {
        "nothing": lambda at: False,
        "a start": lambda at: start <= at < start + 300,
        "a run": lambda at: start - 100 <= at <= end + 3000,
        "a packet between": lambda at: False,
    }[lost]
    frames = {number for number, (at, _) in enumerate(made.frames) if gone(at)}
    if lost == "a packet between":
        frames = {next(n for n, (at, _) in enumerate(made.frames) if at > end)}
    status = recorded(tmp_path / "a.playlog", made, frames)[-1]
    with open_study(tmp_path / "s.duckdb") as study:
        import_log(study, tmp_path / "a.playlog")
        found = rows(study, "SELECT candidates, open, tagged, player FROM runs ORDER BY number")
    candidates, is_open, tagged, player = found[-1]
    assert status.counts.runs == len(found)
    assert said(status) == (candidates if is_open else player if tagged else "")
    assert ("open" in status.who) == is_open


def test_a_tag_that_comes_late_is_told_at_once(tmp_path: Path) -> None:
    made = console(random.Random(3), 3, 1, "late")
    told = recorded(tmp_path / "a.playlog", made, set())
    assert told[0].who == "player open: P01" and told[0].player is None
