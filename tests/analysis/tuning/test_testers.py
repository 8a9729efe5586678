"""How the testers were found: what it does to predictions, to what is recommended, and where it is said."""

import json

import numpy as np
import pytest
from scipy.special import expit

from analysis.findings.progress.kept_predictions import predictions_to_keep
from analysis.models.audience import LIKE_TESTERS, THIRD_LESS, THIRD_MORE, shift_of
from analysis.models.staged_games.staged import fit_staged
from analysis.models.targets import Changeable, TargetSet
from analysis.models.trials import fit_trials
from analysis.tuning.proposal import Advice
from analysis.tuning.ranking import propose
from analysis.tuning.target_file import BadTargets, read_targets
from analysis.tuning_answers.tuning_answer import TuningAnswer
from dashboard import cli
from dashboard.command_line import exits
from ingest.said.notes import note_testers, take_back
from ingest.study.store import open_study
from ingest.vocabulary import Recruitment, TunableRole
from tests.analysis.levers import test_levers as by_hand
from tests.analysis.tuning.line_game import Line, wish


@pytest.mark.parametrize("testers", Recruitment)
@pytest.mark.parametrize("every", [1, 3, 4])
def test_the_draws_have_the_stated_mean_and_spread_however_few_are_taken(testers, every):
    shift = shift_of(testers)
    drawn = shift.draws(240)[::every]
    assert drawn.mean() == pytest.approx(shift.mean, abs=0.03 * shift.sd)
    assert drawn.std() == pytest.approx(shift.sd, rel=0.03)


@pytest.mark.parametrize(("shift", "factor"), [(LIKE_TESTERS, 1), (THIRD_MORE, 4 / 3), (THIRD_LESS, 2 / 3)])
def test_the_audience_dies_so_much_more_or_less(shift, factor):
    """One life and one segment: by hand, at the hazard that the deaths were made with."""
    model = fit_staged(by_hand.staged(by_hand.lives(1))).for_audience(shift)
    (figure,) = model.figures({}, [by_hand.FINISH])
    assert np.median(figure) == pytest.approx(by_hand.survived(factor * by_hand.HAZARD, by_hand.CLEAR_S), abs=0.02)


def test_the_audience_misses_so_much_more():
    """The median player's odds of a miss, a third more: exactly, draw by draw."""
    model = fit_trials(by_hand.shots(by_hand.tunable(TunableRole.TARGET_SPEED, 100, 50, 200), hit=0.75))
    (target,) = read_targets('[[target]]\noutcome = "hit_share"\nwanted = 0.5').targets
    alike, worse = (model.for_audience(s).figures({}, [target])[0] for s in (LIKE_TESTERS, THIRD_MORE))
    assert (1 - worse) / worse == pytest.approx(4 / 3 * (1 - alike) / alike)


def test_the_audiences_timing_is_less_even():
    model = by_hand.rhythm()(by_hand.tunable(TunableRole.WINDOW_EARLY, 60, 0, 200)).for_audience(THIRD_MORE)
    (target,) = read_targets('[[target]]\noutcome = "hit_share"\nwanted = 0.5').targets
    wider = (4 / 3) ** 0.4
    assert np.median(model.figures({}, [target])) == pytest.approx(by_hand.hit(-60 / wider, 60 / wider), abs=0.02)


def first(model, targets, testers):
    return propose(model, targets, Changeable(), "Line", testers)[0]


def test_nothing_is_recommended_that_would_be_wrong_for_an_audience_a_third_better_or_worse():
    """40 % finish, 50 % are wanted; of an audience that dies a third less 50 % do already: any step harms it."""
    model = Line(level=-0.4, doubt=0.02)
    drawn = first(model, [wish(0.5)], Recruitment.AUDIENCE)
    assert drawn.advice == Advice.CHANGE and [one.turns for one in drawn.audiences] == [False, False, True]
    unknown = first(model, [wish(0.5)], Recruitment.UNKNOWN)
    assert unknown.advice == Advice.NOT_YET
    assert "drawn from the audience" in unknown.settles_it
    far = first(Line(level=-2.5), [wish(0.5)], Recruitment.UNKNOWN)
    assert far.advice == Advice.CHANGE and not any(one.turns for one in far.audiences)


def test_what_becomes_of_it_with_other_audiences_is_the_line_itself():
    proposal = first(Line(level=-2.5, doubt=0.001), [wish(0.5)], Recruitment.UNKNOWN)
    (change,) = proposal.changes
    for one, d in zip(proposal.audiences, (0, np.log(4 / 3), np.log(2 / 3)), strict=True):
        assert one.now == pytest.approx((expit(-2.5 - d),), abs=1e-3)
        assert one.proposed == pytest.approx((expit(-2.5 - d + 0.04 * (change.proposed - 50)),), abs=1e-3)
    assert proposal.audiences[0].audience == "if the audience plays like these 12 people"


def test_the_doubt_of_the_audience_is_in_the_intervals_and_not_in_what_the_next_playtest_is_held_against():
    told = {how: first(Line(level=-1.2), [wish(0.5)], how) for how in Recruitment}

    def width(said):
        return said.high80 - said.low80

    drawn, unknown = (told[how].targets[0] for how in (Recruitment.AUDIENCE, Recruitment.UNKNOWN))
    assert width(unknown.now) > 1.5 * width(drawn.now)
    assert width(unknown.testers_now) == pytest.approx(width(drawn.testers_now))
    friends = told[Recruitment.FRIENDS]
    # Friends die less often: the audience is taken to do worse than they, and to need more help.
    assert friends.targets[0].now.value < unknown.now.value
    assert friends.changes[0].proposed > told[Recruitment.UNKNOWN].changes[0].proposed
    answer = TuningAnswer("Line", "1.0", "", (friends,), {}, ())
    ((_, kept),) = predictions_to_keep(answer, TargetSet((wish(0.5),)))
    assert kept["targets"][0]["proposed"]["value"] == friends.targets[0].testers_proposed.value


def test_every_proposal_says_of_whom_it_speaks():
    for testers in Recruitment:
        for proposal in propose(Line(level=-2.5), [wish(0.5)], Changeable(), "Line", testers):
            assert "the audience plays like these 12 people" in proposal.sentence
            assert ("not known" in proposal.sentence) == (testers == Recruitment.UNKNOWN)


def test_the_command_goes_before_the_targets_and_these_before_the_study(played, tmp_path, capsys):
    plain = '[[target]]\noutcome = "finish"\nwanted = "57 %"\n[levers]\nallowed = ["start_lives"]\n'
    (tmp_path / "plain.toml").write_text(plain, encoding="utf-8")
    (tmp_path / "said.toml").write_text(plain + '[playtest]\ntesters = "volunteers"\n', encoding="utf-8")
    study = tmp_path / "s.duckdb"
    study.write_bytes(played.read_bytes())

    def told(file, *more):
        words = ["propose", "--study", str(study), "--targets", str(tmp_path / file), "--json", *more]
        assert cli.main(words) == exits.OK
        return json.loads(capsys.readouterr().out)["proposals"][0]["testers"]

    assert told("plain.toml") == "unknown"
    assert cli.main(["people", "--study", str(study), "--testers", "friends"]) == exits.OK
    assert "friends" in capsys.readouterr().out
    assert told("plain.toml") == "friends"
    assert told("said.toml") == "volunteers"
    assert told("said.toml", "--testers", "audience") == "audience"
    with open_study(study) as opened:
        take_back(opened.connection, "testers", note_testers(opened.connection, "audience"))
        with pytest.raises(ValueError, match="audience, volunteers"):
            note_testers(opened.connection, "cousins")
    assert told("plain.toml") == "friends"
    with pytest.raises(BadTargets, match="testers"):
        read_targets(plain + '[playtest]\ntesters = "cousins"\n')
