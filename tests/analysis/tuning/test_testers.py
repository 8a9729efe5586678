"""How the testers were found: what it does to predictions, to what is recommended, and where it is said."""

import argparse
import json
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy.special import expit

from analysis.findings.progress.kept_predictions import predictions_to_keep
from analysis.models.audience import LIKE_TESTERS, THIRD_LESS, THIRD_MORE, shift_of
from analysis.models.between_builds import BetweenBuilds
from analysis.models.staged_games.staged import fit_staged
from analysis.models.targets import Changeable, TargetSet
from analysis.models.trials import fit_trials
from analysis.tuning.audiences import condition
from analysis.tuning.proposal import Advice
from analysis.tuning.proposal_words import Doubt
from analysis.tuning.ranking import _advice, propose
from analysis.tuning.search import Against
from analysis.tuning.target_file import BadTargets, read_targets
from analysis.tuning_answers.tuning_answer import TuningAnswer
from dashboard import cli
from dashboard.command_line import exits
from dashboard.commands import people_command, propose_command
from dashboard.parts import testers_form
from ingest.said.notes import note_testers, take_back
from ingest.study.store import open_study
from ingest.vocabulary import RECRUITMENT_WORDS, Recruitment, TunableRole
from tests.analysis.levers import test_levers as by_hand
from tests.analysis.tuning.line_game import EASE, Line, wish
from tests.closed_loop.tuning.testers import WARNING


@dataclass(frozen=True)
class Unseen(Line):
    """A line of which the play has shown nothing."""

    def unknown(self, targets):
        return "nobody died"


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


def test_the_audience_gets_so_much_less_far_on_a_line_between_builds():
    """A third more danger: a third less odds, exactly, draw by draw, at any value."""
    drawn = np.random.default_rng(1).standard_normal((240, 2))
    line = BetweenBuilds(None, EASE, 50.0, (0, 50), {"finish": drawn}, (), ())
    for setting in ({}, {"ease": 80}):
        alike, worse = (line.for_audience(s).figures(setting, [wish(0.5)])[0] for s in (LIKE_TESTERS, THIRD_MORE))
        assert worse / (1 - worse) == pytest.approx(alike / (1 - alike) / (4 / 3))


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


def test_however_sure_a_change_must_stand_with_other_audiences():
    said = first(Line(level=-2.5), [wish(0.5)], Recruitment.UNKNOWN).targets
    sure = Against(loss=0.1, gain=0.1, better=0.95, harm=0.01)
    for stands, advice in ((True, Advice.CHANGE), (False, Advice.NOT_YET)):
        assert _advice(said, [wish(0.5)], True, Doubt(sure, sure, stands, False, "", 12)) == advice


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
    friends, volunteers = told[Recruitment.FRIENDS], told[Recruitment.VOLUNTEERS]
    # Friends die less often: the audience is taken to do worse than they, and to need more help.
    assert friends.targets[0].now.value < volunteers.targets[0].now.value
    assert friends.changes[0].proposed > volunteers.changes[0].proposed
    answer = TuningAnswer("Line", "1.0", "", (friends,), {}, ())
    ((_, kept),) = predictions_to_keep(answer, TargetSet((wish(0.5),)))
    assert kept["targets"][0]["proposed"]["value"] == friends.targets[0].testers_proposed.value


@pytest.mark.parametrize(
    ("game", "advice"),
    [
        (Line(level=-2.5), Advice.CHANGE),
        (Line(level=-0.4, doubt=0.9), Advice.NOT_YET),
        (Line(level=0.3, doubt=0.02), Advice.CLOSE_ENOUGH),
        (Line(level=-2.5, people=4), Advice.NOT_YET),
        (Unseen(level=-2.5), Advice.EXPLORE),
    ],
)
def test_every_proposal_says_of_whom_it_speaks(game, advice):
    for testers in Recruitment:
        made = propose(game, [wish(0.5)], Changeable(), "Line", testers)
        assert testers != Recruitment.UNKNOWN or made[0].advice == advice
        for proposal in made:
            assert f"the audience plays like these {game.people} people" in proposal.sentence
            assert (WARNING in proposal.sentence) == (testers == Recruitment.UNKNOWN)


def harmful(testers):
    """(recommended, of them worse by over 2 points) where half are wanted and the audience's danger is exp(0.5) times
    the testers', by the line itself; the playtest came out a little low, right, or high."""
    recommended = harmed = 0
    for level in np.arange(-1.5, 2.6, 0.5):
        for luck in (-0.25, 0.0, 0.25):
            proposal = propose(Line(level=level + luck, doubt=0.25), [wish(0.5)], Changeable(), "L", testers, most=1)[0]
            if proposal.advice == Advice.CHANGE:
                recommended += 1
                now, then = level - 0.5, level - 0.5 + 0.04 * (proposal.changes[0].proposed - 50)
                harmed += abs(expit(then) - 0.5) > abs(expit(now) - 0.5) + 0.02
    return recommended, harmed


def test_testers_of_whom_nothing_is_told_do_little_harm_when_they_are_better_than_the_audience():
    """A short form of the table in MEASURED.md; the goal there: at most 15 % of what is recommended."""
    recommended, harmed = harmful(Recruitment.UNKNOWN)
    assert recommended >= 10 and harmed <= 0.15 * recommended
    assert harmful(Recruitment.AUDIENCE)[1] > 0, "told to be drawn from the audience they mislead: the check can fail"


def test_what_is_taken_of_testers_of_whom_nothing_is_told_holds_good_and_better_ones():
    """80 % of it, by the normal distribution's 1.2816: an audience like the testers, and one 0.5 log units worse."""
    shift = shift_of(Recruitment.UNKNOWN)
    low, high = shift.mean - 1.2816 * shift.sd, shift.mean + 1.2816 * shift.sd
    assert low < 0 < 0.5 < high


def test_all_places_that_explain_the_ways_say_what_is_taken_where_nothing_is_told():
    """Friends: in the words of forms and commands, in their help, and in the two documents."""
    assert shift_of(Recruitment.UNKNOWN) == shift_of(Recruitment.FRIENDS)
    said = {
        "words": RECRUITMENT_WORDS[Recruitment.UNKNOWN],
        "sentence": condition(Recruitment.UNKNOWN, 12),
        "form": str(testers_form.card(NobodySaid())),
        "people": help_of(people_command),
        "propose": help_of(propose_command),
        "README": text_of("README.md"),
        "targets": text_of("analysis/tuning/TARGETS.md"),
        "JSON": text_of("dashboard/JSON.md"),
    }
    for place, words in said.items():
        assert re.search(r"(?:unsaid|not known|else|unknown)\W.{0,140}(?:taken for|as with) friends", words), place
        assert not re.search(r"(?:unsaid|not known|else|unknown)\W.{0,40}like volunteers", words), place


class NobodySaid:
    """A dashboard's session of a study in which nothing is said of the testers."""

    def testers(self):
        return Recruitment.UNKNOWN


def help_of(command):
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return " ".join(parser.format_help().split())


def text_of(path):
    return " ".join((Path(__file__).parents[3] / path).read_text(encoding="utf-8").split())


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
