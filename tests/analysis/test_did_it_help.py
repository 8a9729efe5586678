"""Did it help: learning is not the build, and a build picked because it came out low is no measure of a gain."""

from unittest import mock

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.stats.meta_analysis import combine_effects

from analysis.findings import progress
from analysis.findings.progress import fair
from analysis.findings.progress.comparison import Pair, compare_target
from analysis.findings.progress.fair import Began, Unfair
from analysis.findings.progress.player_values import Played, player_values
from analysis.findings.progress.verdict import (
    Expected,
    Verdict,
    from_expected,
    most_careful,
    of_all,
    sure_level,
    verdict_of,
)
from analysis.models.observed import ByPlayer
from analysis.models.targets import Aim, Outcome, Target
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.picked import expected_of_picked
from analysis.tuning.scoring import Difference, over_orders
from dashboard import cli
from dashboard.command_line import exits
from ingest.said.notes import add_target
from tests.analysis.playtest import GAME, Playtest
from tests.bench.analysis import did_it_help as sim

TIMES = 120
# 5 % and three standard errors.
MOST = 0.05 * TIMES + 3 * np.sqrt(TIMES * 0.05 * 0.95)


@pytest.mark.parametrize("plays", sim.SAME)
@pytest.mark.parametrize("target", [sim.HITS, sim.END])
def test_the_same_game_twice_is_not_said_to_help_though_people_learn(plays, target):
    found = sim.count(plays, sim.World(), target, 12, TIMES, seed=1)
    assert found[Verdict.HELPED] <= MOST
    if plays is sim.the_same_people:
        assert found[Verdict.PRACTICE] == TIMES


def test_twenty_points_are_found_where_each_player_says_much():
    for plays in (sim.new_people_on_each, sim.both_orders):
        assert sim.count(plays, sim.BETTER, sim.HITS, 12, TIMES, seed=2)[Verdict.HELPED] >= 0.8 * TIMES


@pytest.mark.parametrize("players", [8, 20])
def test_a_build_picked_as_the_low_one_is_not_said_to_have_gained(players):
    found = sim.picked_as_the_low_one(sim.HITS, players, TIMES, seed=3)
    assert found[Verdict.HELPED] <= MOST
    assert found["without what was expected"] > found[Verdict.HELPED]


def test_what_is_expected_of_a_picked_build_is_that_of_a_random_effects_model():
    """DerSimonian and Laird's variance and mean from statsmodels; drawn towards the mean by hand."""
    rng = np.random.default_rng(4)
    values = [rng.normal(mean, 1, size) for mean, size in ((0, 9), (1, 12), (2, 7), (0.5, 20))]
    size = np.array([len(v) for v in values])
    within = sum(((v - v.mean()) ** 2).sum() for v in values) / (size - 1).sum()
    truth = combine_effects(np.array([v.mean() for v in values]), within / size, method_re="chi2")
    for n, own in enumerate(values):
        share = truth.tau2 / (truth.tau2 + within / size[n])
        assert truth.tau2 > 0
        assert expected_of_picked(values, n) == pytest.approx(
            truth.mean_effect_re + share * (own.mean() - truth.mean_effect_re)
        )
    # Alike but for chance: the mean of all. All players of a build alike: nothing to draw by.
    alike = [np.array([0.0, 1, 0, 1]), np.array([1.0, 0, 0, 1]), np.array([1.0, 0, 1, 1])]
    assert expected_of_picked(alike, 0) == pytest.approx(7 / 12)
    assert expected_of_picked([np.zeros(3), np.ones(3)], 0) == 0


def test_both_orders_by_a_regression_on_the_order():
    """Each player's difference on which build came first: the constant is the builds', the slope what practice adds."""
    rng = np.random.default_rng(5)
    began = np.array([True] * 6 + [False] * 4)
    before = rng.normal(0, 1, 10) + 0.7 * ~began
    after = rng.normal(0.4, 1, 10) + 0.7 * began
    players = np.array([f"P{n}" for n in range(10)])
    sides = [ByPlayer(players, v, np.full(10, 3)) for v in (before, after)]
    truth = sm.OLS(after - before, sm.add_constant(np.where(began, 1.0, -1.0))).fit()
    found = over_orders(*sides, began)
    assert found.value == pytest.approx(truth.params[0])
    assert (found.low, found.high) == pytest.approx(tuple(truth.conf_int()[0]))
    assert found.after - found.before == pytest.approx(found.value) and found.how == "orders"


def judged(value, low, high, before=0.4, wanted=0.6, aim=Aim.ABOUT, any_wanted=True, expected=None, unfair=None):
    target = Target("t", Outcome.FINISH, wanted, 0.05, aim=aim)
    found = Difference(value, low, high, before=before, after=before + value)
    return verdict_of(target, any_wanted, found, expected and Expected(expected, "x"), unfair)


def test_each_verdict_says_no_more_than_the_interval():
    assert judged(0.2, 0.05, 0.35) == Verdict.HELPED
    assert judged(0.2, -0.05, 0.45) == Verdict.UNSURE
    assert judged(0.0, -0.09, 0.09) == Verdict.NOT  # half of the 20 points that were wished are ruled out
    assert judged(0.0, -0.11, 0.11) == Verdict.UNSURE
    assert judged(-0.2, -0.35, -0.05) == Verdict.WORSE
    assert judged(-0.2, -0.35, -0.05, before=0.9) == Verdict.HELPED
    assert judged(0.5, 0.3, 0.7) == Verdict.TOO_FAR
    assert judged(0.5, 0.3, 0.7, aim=Aim.AT_LEAST) == Verdict.HELPED
    assert judged(0.2, 0.05, 0.35, any_wanted=False) == Verdict.CHANGED
    assert judged(0.2, 0.05, 0.35, expected=0.44) == Verdict.HELPED
    assert judged(0.2, 0.05, 0.35, expected=0.46) == Verdict.PICKED
    assert judged(0.2, 0.05, 0.35, unfair=Unfair.PRACTICE) == Verdict.PRACTICE
    assert judged(0.2, None, None) == Verdict.UNSURE


def test_of_several_expectations_the_one_that_leaves_least_of_the_change_counts():
    low, high = Expected(0.42, "a"), Expected(0.55, "b")
    for value, careful in ((0.2, high), (-0.2, low)):
        found = Difference(value, value - 0.1, value + 0.1, before=0.5, after=0.5 + value)
        assert most_careful(found, [low, high]) == most_careful(found, [high, low]) == careful
        assert abs(from_expected(found, careful).value) < abs(value)
    assert most_careful(found, []) is None


def test_several_targets_share_the_chance_to_err():
    assert sure_level(1) == sure_level(2) == 0.95 and sure_level(4) == pytest.approx(0.975)
    assert of_all([Verdict.NOT, Verdict.HELPED])[0] == "It helped"
    assert of_all([Verdict.HELPED, Verdict.WORSE])[0].startswith("It helped in part")
    assert of_all([Verdict.NOT, Verdict.UNSURE])[1] == Verdict.UNSURE


def hits_of(folder, people):
    """A study of two builds: `people` (build -> players -> notes hit of 20 on each run)."""
    test = Playtest()
    for build, players in people.items():
        test.lines.append({"settings": {"early": 50 - build}})
        for who, runs in players.items():
            for hits in runs:
                test.event("begin", 1000, who=who, new=1)
                for n in range(20):
                    test.event("due", 500, lane=0)
                    if n < hits:
                        test.event("push", 10, lane=0)
                test.event("over", 500, how=0)
    tunables = [{"name": "early", "role": "window_early", "value": 50, "min": 1, "max": 99, "unit": "ms"}]
    return test.study(folder, ("begin", "over", "due", "push"), tunables)


WISH = '[[target]]\noutcome="hit_share"\npopulation="new_players"\nwanted=0.8\nname="hits"\nstatistic="mean"\n'


def said_of(folder, people, capsys):
    with hits_of(folder, people) as study:
        add_target(study.connection, GAME, WISH)
        verdict = progress.find(Reader(study.connection), Selection(GAME))[0]
    assert cli.main(["compare", "--study", str(folder / "test.duckdb")]) == exits.OK
    printed = " ".join(capsys.readouterr().out.split())  # whatever the width of the terminal
    assert printed.startswith(verdict.sentence)  # first on the command, too
    assert all(f"Mind: {warning}" in printed for warning in verdict.warnings)
    return verdict


def test_the_same_people_who_played_it_later_are_told_of_first(tmp_path, capsys):
    people = {0: {w: [8 + w % 3] for w in range(1, 9)}, 1: {w: [14 + w % 3] for w in range(1, 9)}}
    verdict = said_of(tmp_path, people, capsys)
    assert verdict.sentence.startswith("Cannot be told: the same people played it later. Hits")
    assert any("All 8 players who played both" in warning for warning in verdict.warnings)


def test_new_people_on_each_build_are_an_answer_by_their_first_attempts(tmp_path, capsys):
    """The earlier build once each, the later one twice, the second time far better: only the first time counts."""
    people = {0: {w: [8 + w % 3] for w in range(1, 9)}, 1: {w: [14 + w % 3, 20] for w in range(9, 17)}}
    verdict = said_of(tmp_path, people, capsys)
    table = verdict.tables["targets"].iloc[0]
    assert verdict.sentence.startswith("It helped. Hits") and table["verdict"] == "helped"
    first = [14 + w % 3 for w in range(9, 17)]
    assert table["after"] == pytest.approx(np.mean(first) / 20) and table["wanted"] == 0.8
    assert any("part of the change is chance" in warning for warning in verdict.warnings)


def test_one_person_is_no_order():
    """Eight played both builds. Of one who began with the later one, nothing tells practice from the person."""
    for began_late, orders in ((1, False), (3, True)):
        plays = [(f"p{who}", a, "AB"[(a > 3) ^ (who < began_late)]) for who in range(8) for a in range(1, 7)]
        played = sim.play(sim.World(), sim.HITS, plays, np.random.default_rng(7))
        with mock.patch.object(fair, "player_values", played.values):
            sides = fair.sides_of(None, Selection("game"), sim.HITS, ("A", "B"), played.began)
        assert (sides.began is not None) == orders and (sides.unfair is None) == orders


def flat(shares):
    """Four people on each build who all hit its share of the notes."""
    return sim.Played(sim.HITS, [(f"{b}{who}", 1, b, share) for b, share in shares.items() for who in range(4)])


def test_closer_is_what_lies_nearer_to_the_wish():
    """80 % are wanted: 70 are closer than 50, and than 95; 50 are not closer than 70."""
    for before, after, closer in ((0.5, 0.7, True), (0.95, 0.7, True), (0.7, 0.5, False), (0.85, 0.95, False)):
        played = flat({"A": before, "B": after})
        with mock.patch.object(fair, "player_values", played.values):
            pair = Pair("A", "B", [], played.began, wanted=True)
            found = compare_target(None, Selection("game"), sim.HITS, pair, (), 0.95)
        assert found.closer == closer


def test_fresh_on_a_build_is_who_began_on_it():
    plays = [*sim.the_same_people(3), *sim.new_people("B", 2)]
    played = sim.play(sim.World(), sim.HITS, plays, np.random.default_rng(8))
    with mock.patch.object(fair, "player_values", played.values):
        fresh = fair.fresh_values(None, Selection("game"), sim.HITS, "B", played.began, attempts=6)
    assert sorted(fresh.player) == ["B0", "B1"]


def test_hits_of_people_who_know_the_game_are_left_out(tmp_path):
    """Three new players hit 10 of 20 notes; one who is no first-time player hits all."""
    test = Playtest()
    for who, new, hits in ((1, 1, 10), (2, 1, 10), (3, 1, 10), (4, 0, 20)):
        test.event("begin", 1000, who=who, new=new)
        for n in range(20):
            test.event("due", 500, lane=0)
            if n < hits:
                test.event("push", 10, lane=0)
        test.event("over", 500, how=0)
    tunables = [{"name": "early", "role": "window_early", "value": 50, "min": 1, "max": 99, "unit": "ms"}]
    with test.study(tmp_path, ("begin", "over", "due", "push"), tunables) as study:
        found = player_values(Played(Reader(study.connection)), Selection(GAME), sim.HITS, "1")
    assert found.player.tolist() == ["P01", "P02", "P03"] and found.value.tolist() == [0.5, 0.5, 0.5]


def test_as_many_attempts_count_as_people_made_on_the_build_where_they_made_fewer():
    """Half of those who began on A made two or more there; those who only came to B later count for nothing."""
    plays = {("a", "A"): 1, ("b", "A"): 2, ("c", "A"): 4, ("a", "B"): 1, ("d", "B"): 5, ("e", "B"): 7}
    began = Began({"a": "A", "b": "A", "c": "A", "d": "B", "e": "B"}, plays)
    assert began.attempts(("A", "B")) == began.attempts(("B", "A")) == 2


def test_without_tags_nobody_knows_who_came_back():
    played = sim.play(sim.World(), sim.HITS, sim.new_people_on_each(12), np.random.default_rng(6))
    with mock.patch.object(sim.Played, "began", Began({}, {})):
        assert sim.verdict(played) == Verdict.UNTAGGED
