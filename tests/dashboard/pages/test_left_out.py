"""A game of which no run counts: its pages say where to read why, and that page says it."""

from analysis.selection import Selection
from dashboard.state.dashboard_session import Session
from dashboard.web.shell import page_at
from ingest.study.store import import_log, open_study
from tests.ingest.test_stopped_clock import played


def test_a_clock_that_stood_still_is_told_though_no_run_is_left(tmp_path):
    log = tmp_path / "a.playlog"
    log.write_bytes(played(lambda tick: 7))
    study = open_study(tmp_path / "s.duckdb")
    import_log(study, log)
    session = Session(study)
    chosen = Selection(game="Lantern")
    survival, trust = (str(page_at(path).body(session, chosen)) for path in ("/survival", "/trust"))
    session.close()
    assert "/trust?game=Lantern" in survival and "stood still" not in survival
    assert "stood still" in trust and "32 bits" in trust and "lets no run through" not in trust
