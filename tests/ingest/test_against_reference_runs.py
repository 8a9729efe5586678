"""The product's runs and stages against a plain reader of FORMAT.md, section 7, over random logs."""

from pathlib import Path

import pytest

from ingest.study.store import open_study
from tests.ingest.logs import Play
from tests.ingest.studies import imported, rows
from tests.reference import decode
from tests.reference_runs import runs_of


@pytest.mark.parametrize("seed", range(10))
def test_runs_and_stages(tmp_path: Path, seed: int) -> None:
    log = Play(seed, runs=6).log()
    plain = runs_of(decode(log))
    with open_study(":memory:") as study:
        imported(study, tmp_path / "a.playlog", log)
        # The clock of these logs counts microseconds.
        runs = rows(study, "SELECT start_us, end_us, ending, deaths FROM all_runs ORDER BY number")
        stages = rows(
            study,
            "SELECT r.number, s.stage, s.stage_kind, s.start_us, s.end_us, s.cleared, s.deaths FROM stages s "
            "JOIN all_runs r USING (run_id) ORDER BY r.number, s.visit",
        )
    assert runs == [(run.start, run.end, run.ending, run.deaths) for run in plain]
    assert stages == [
        (number, one.number, one.boss, one.start, one.end, one.cleared, one.deaths)
        for number, run in enumerate(plain, 1)
        for one in run.stages
    ]
