"""One press of Propose: the data are read once, each model is fitted once, and every kind of game gets all there is."""

from collections import Counter

import pytest

from analysis.selection import Selection
from analysis.tuning.target_file import read_targets
from analysis.tuning.whatif import slider_values
from analysis.tuning_answers import tuning_answer
from analysis.tuning_answers.first_wish import first_wish
from dashboard import cli
from dashboard.parts import closer_look
from dashboard.parts.proposal_cards import results, tried
from dashboard.parts.wish_sentence import wished, wishes
from dashboard.state.dashboard_session import Session
from dashboard.state.jobs import Job
from dashboard.state.tuning_desk import levers, map_of, mappable, otherwise, what_if, work
from ingest.study.store import import_log, open_study
from tests.dashboard.conftest import DEMO

# Game -> its logs and its kind of model.
GAMES = {
    "Soot Wardens": (["soot_wardens_a_table1"], "StagedModel"),
    "Crate Loft": (["crate_loft_a_table1"], "StagedModel"),
    "One Puff": (["one_puff_a_table1"], "TrialModel"),
    "Tin Drizzle": (["tin_drizzle_a_table1"], "RhythmModel"),
}
LOADS, FITS = ("load_staged", "load_trials", "read_timing"), ("fit_staged", "fit_trials", "RhythmModel")


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    """A session on one log of each demo game."""
    study = open_study(tmp_path_factory.mktemp("desk") / "desk.duckdb")
    for logs, _ in GAMES.values():
        for name in logs:
            import_log(study, DEMO / f"{name}.playlog")
    session = Session(study)
    yield session
    session.close()


def targets_of(game: str) -> str:
    return (DEMO / f"targets_{game.lower().replace(' ', '_')}.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module", params=GAMES)
def pressed(request, session):
    """(the kind of model, what one press made, how often each load and fit was called by then)."""
    calls: Counter[str] = Counter()
    with pytest.MonkeyPatch.context() as patch:
        for name in (*LOADS, *FITS):
            patch.setattr(tuning_answer, name, counted(calls, name, getattr(tuning_answer, name)))
        worked = work(session, Selection(request.param), targets_of(request.param), Job(1, "propose"))
        names = [tunable.name for tunable in levers(worked)]
        what_if(worked, {names[0]: slider_values(levers(worked)[0])[0]})
        if len(names) > 1:
            map_of(worked, mappable(worked)[0].name, names[0], names[1], Job(2, "map"))
    return GAMES[request.param][1], worked, calls


def counted(calls, name, real):
    class Counted:
        roles = getattr(real, "roles", ())

        def __new__(cls, *args, **more):
            calls[name] += 1
            return real(*args, **more)

    return Counted


def test_one_press_loads_once_and_fits_once(pressed):
    kind, worked, calls = pressed
    assert [type(model).__name__ for model in worked.answer.fitted if model.of_the_game] == [kind]
    assert all(calls[name] <= 1 for name in LOADS) and sum(calls[name] for name in FITS) == 1


def test_every_kind_of_game_has_sliders_that_move_its_prediction(pressed):
    _, worked, _ = pressed
    assert levers(worked)
    moved = {}
    for tunable in levers(worked):
        ends = [slider_values(tunable)[n] for n in (0, -1)]
        moved[tunable.name] = any(
            abs(then.value - now.value) > 0.005
            for value in ends
            for _, _, now, then in what_if(worked, {tunable.name: value})
        )
    assert any(moved.values()), moved
    said = str(results(worked, 1))
    assert "Try your own values" in said and "effective draws" in said
    assert "with these values" in str(tried(worked, {levers(worked)[0].name: slider_values(levers(worked)[0])[0]}))


def test_every_kind_of_game_is_fitted_under_other_assumptions(pressed):
    _, worked, _ = pressed
    done = otherwise(worked, Job(3, "otherwise"))
    by_assumption = {row.assumption: row for row in done.rows}
    assert len(by_assumption) >= 4 and next(iter(by_assumption)) == "as they are"
    # With the assumptions as they are, what the sliders say of the first proposal comes out.
    first = {change.tunable: change.proposed for change in worked.answer.proposals[0].changes}
    assert [row.then for row in done.rows if row.assumption == "as they are"] == [
        then for _, target, _, then in what_if(worked, first) if target.name in {r.target for r in done.rows}
    ]
    assert len({round(row.then.value, 6) for row in by_assumption.values()}) > 2
    assert "as they are" in str(closer_look.told(done))


def test_a_rhythm_game_has_a_map_of_two_levers(session):
    game = "Tin Drizzle"
    worked = work(session, Selection(game), targets_of(game), Job(1, "propose"))
    names = [tunable.name for tunable in levers(worked)]
    assert {"window_early_loose", "window_late_loose", "input_offset"} == set(names)
    drawn = map_of(worked, mappable(worked)[0].name, "window_early_loose", "window_late_loose", Job(2, "map"))
    figure = drawn.map.figure
    assert figure.shape == (len(drawn.map.across), len(drawn.map.up)) and figure.size >= 49
    # A wider window, on either side, never loses a hit.
    assert (figure[1:] >= figure[:-1] - 1e-9).all() and (figure[:, 1:] >= figure[:, :-1] - 1e-9).all()
    assert figure[-1, -1] > figure[0, 0] + 0.2
    assert any("map" in str(card) for card in closer_look.cards(worked))


def test_the_command_has_the_other_assumptions_of_a_rhythm_game(tmp_path, capsys):
    path = tmp_path / "study.duckdb"
    with open_study(path) as study:
        import_log(study, DEMO / "tin_drizzle_a_table1.playlog")
    targets = str(DEMO / "targets_tin_drizzle.toml")
    assert cli.main(["propose", "--study", str(path), "--targets", targets, "--sensitivity"]) == 0
    said = capsys.readouterr().out
    assert "practice helps nobody" in said and "as they are" in said and "effective draws:" in said


@pytest.mark.parametrize("game", GAMES)
def test_a_study_without_targets_has_a_sentence_that_can_be_answered(session, game):
    wish = first_wish(session.reader, Selection(game))
    text = wished(f'game = "{game}"\n', *wish)
    (target,) = read_targets(text).targets
    assert target.outcome == wish[0] and wishes(text).startswith("Wanted so far: ")
    fitted, why = tuning_answer.fit_game(session.reader, Selection(game), read_targets(text))
    assert any(model.knows(target) for model in fitted) and why == {}
    # What the file says goes before the sentence.
    assert wished(text, "finish", "", "10 %") == text
