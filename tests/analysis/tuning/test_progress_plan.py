"""Did it help, what had been predicted, and the plan of the next playtest."""

import json
import re
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from scipy.stats import norm

from analysis.findings import progress
from analysis.findings.progress.comparison import compare_game
from analysis.models.audience import LIKE_TESTERS
from analysis.models.observed import ByPlayer
from analysis.models.staged_games.simulate import more_players
from analysis.models.staged_games.staged import fit_staged
from analysis.models.targets import Outcome, Population, Statistic, Target
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning.players_needed import more_needed, players_to_know
from analysis.tuning.playtest_plan import Power, _apart, each_needed, half_width, power_of, precision_of, schedule
from analysis.tuning.proposal import PredictedTarget, Prediction
from analysis.tuning.proposal_words import Doubt, settles
from analysis.tuning.ranking import prediction
from analysis.tuning.scoring import count_interval, difference, players_for_quantile
from analysis.tuning.search import Against
from analysis.tuning.target_file import read_targets
from analysis.tuning_answers.plan_game import plan_game
from analysis.tuning_answers.staged_data import load_staged
from analysis.tuning_answers.tuning_answer import fit_game
from analysis.words import amount
from dashboard import cli
from dashboard.command_line import exits
from ingest.said.notes import add_prediction, add_target
from ingest.study.store import import_log, open_study
from tests.analysis.playtest import GAME, Playtest
from tests.closed_loop.tuning.logs import write_log
from tests.closed_loop.tuning.worlds import play
from tests.ingest.studies import recorded_at

DEMO = Path(__file__).parents[3] / "demo_logs"
FINISH = Target("finish", Outcome.FINISH, 0.5, 0.05)


def by_player(*values, first=1):
    return ByPlayer(
        np.array([f"P{first + n:02d}" for n in range(len(values))]), np.array(values, float), np.ones(len(values), int)
    )


def test_newcombes_own_examples():
    """Newcombe 1998, Stat. Med. 17:873-890, table II, method 10: 56/70 - 48/80 and 9/10 - 3/10 (from memory)."""
    first = by_player(*[1] * 48, *[0] * 32)
    second = by_player(*[1] * 56, *[0] * 14, first=200)
    found = difference(first, second)
    assert (found.low, found.high) == pytest.approx((0.0524, 0.3339), abs=6e-5)
    found = difference(by_player(*[1] * 3, *[0] * 7), by_player(*[1] * 9, 0, first=50))
    assert (found.low, found.high) == pytest.approx((0.1705, 0.8090), abs=6e-5)


def test_the_same_people_are_compared_within_themselves():
    before, after = by_player(0.2, 0.4, 0.3, 0.5), by_player(0.3, 0.6, 0.5, 0.6)
    found = difference(before, after)
    assert found.how == "within" and (found.level, found.players, found.runs) == (0.95, 4, 8)
    own = np.array([0.1, 0.2, 0.2, 0.1])
    reach = 3.182446 * own.std(ddof=1) / 2  # t(3) at 0.975, any table
    assert (found.value, found.high) == pytest.approx((0.15, 0.15 + reach), abs=1e-6)


def test_within_players_every_figure_is_of_those_who_played_both():
    """Eight more played the first build only, and badly: not in the difference, so not in the figures either."""
    before, after = by_player(0.2, 0.4, 0.3, 0.5, *[0.0] * 8), by_player(0.3, 0.6, 0.5, 0.6)
    found = difference(before, after)
    assert (found.before, found.after) == pytest.approx((0.35, 0.5)) and found.value == pytest.approx(0.15)
    assert found.players_before == found.players_after == 4
    # Nobody finished on either build: no spread to make an interval of, but still the same people.
    nobody = difference(by_player(0, 0, 0, 0), by_player(0, 0, 0, 0))
    assert nobody.how == "within" and nobody.low < 0 < nobody.high


def test_a_difference_is_said_in_its_own_unit(tmp_path):
    """Streaks of 2 and 3 hits: a difference of half a hit is not one of 50 points."""
    test = Playtest()
    for build in (0, 1):
        test.lines.append({"settings": {"speed": 100 + build}})
        for n in range(20):
            test.event("begin", 1000, who=20 * build + n + 1, new=1)
            for ok in (1, 1, *([1] if build and n % 2 else []), 0):
                test.event("puff", 500, ok=ok, fast=10)
            test.event("over", 100, how=1)
    tunables = [{"name": "speed", "role": "target_speed", "value": 100, "min": 1, "max": 999}]
    with test.study(tmp_path, ("begin", "over", "puff"), tunables) as study:
        verdict, *targets = progress.find(Reader(study.connection), Selection(GAME))
    found = {f.facts["target"]: f for f in targets}
    assert {f.id for f in targets} == {"progress.target"} and len(found) == 2 and verdict.id == "progress.verdict"
    streak = next(f for name, f in found.items() if "streak" in name)
    assert "a difference of +0.5 (+0.3 to +0.7): higher" in streak.sentence and "points" not in streak.sentence


def test_the_same_few_people_are_counted_once(tmp_path):
    """Four players hit 10 of 20 notes on the first build and 10, 20, 10, 20 on the second, four only the first."""
    test = Playtest()
    for build, players in ((0, range(1, 9)), (1, range(1, 5))):
        test.lines.append({"settings": {"early": 50 - build}})
        for who in players:
            test.event("begin", 1000, who=who, new=1)
            for n in range(20):
                test.event("due", 500, lane=0)
                if n % 2 == 0 or (build and who % 2 == 0) or who > 4:
                    test.event("push", 10, lane=0)
            test.event("over", 500, how=0)
    tunables = [{"name": "early", "role": "window_early", "value": 50, "min": 1, "max": 99, "unit": "ms"}]
    with test.study(tmp_path, ("begin", "over", "due", "push"), tunables) as study:
        _, found = progress.find(Reader(study.connection), Selection(GAME))
    assert "50 % on 1, 75 % on 1 b" in found.sentence
    assert "a difference of the 4 players who played both of +25 points" in found.sentence
    assert found.players == 4 and found.indicative and not found.warnings


def test_a_prediction_of_hits_is_scored_by_first_runs(tmp_path):
    """Four new players hit every second note in their first run and all in their second: 50 %, not 75."""
    test = Playtest()
    for build, players in ((0, (1,)), (1, (2, 3, 4, 5))):
        test.lines.append({"settings": {"early": 50 - build}})
        for who in players:
            for again in (False, True):
                test.event("begin", 1000, who=who, new=int(not again))
                for n in range(20):
                    test.event("due", 500, lane=0)
                    if again or n % 2 == 0:
                        test.event("push", 10, lane=0)
                test.event("over", 500, how=0)
    tunables = [{"name": "early", "role": "window_early", "value": 50, "min": 1, "max": 99, "unit": "ms"}]
    target = Target("hits", Outcome.HIT_SHARE, 0.6, 0.05, population=Population.NEW_PLAYERS, statistic=Statistic.MEAN)
    said = asdict(Prediction(0.5, 0.4, 0.6, 0.3, 0.7))
    kept = {
        "proposal": "early=49",
        "changes": {"early": 49},
        "targets": [{"target": asdict(target), "now": said, "proposed": said}],
    }
    with test.study(tmp_path, ("begin", "over", "due", "push"), tunables) as study:
        add_prediction(study.connection, GAME, "1", "", json.dumps(kept))
        [score] = compare_game(Reader(study.connection), Selection(GAME)).scores
    assert (score.observed, score.players, score.runs) == (pytest.approx(0.5), 4, 4)


def test_a_rhythm_game_is_planned_by_the_root_of_its_players(tmp_path):
    test, rng = Playtest(), np.random.default_rng(2)
    for who in range(1, 7):
        test.event("begin", 1000, who=who, new=1)
        for _ in range(60):
            test.event("due", 500, lane=0)
            if rng.random() < 0.95:
                test.event("push", int(abs(rng.normal(20, 30))), lane=0)
        test.event("over", 500, how=0)
    tunables = [{"name": "early", "role": "window_early", "value": 50, "min": 1, "max": 99, "unit": "ms"}]
    targets = read_targets('[[target]]\noutcome = "hit_share"\nwanted = 0.8\n')
    with test.study(tmp_path, ("begin", "over", "due", "push"), tunables) as study:
        reader, selection = Reader(study.connection), Selection(GAME)
        now = plan_game(reader, selection, targets).now_half_width
        plan = plan_game(reader, selection, targets, wanted=100 * now / 2)
    assert 0 < now < 0.3 and plan.precision == ()
    # Half the doubt takes four times the six players: eighteen more.
    assert plan.players_needed == 18


def test_a_difference_of_shares_stays_within_all_and_nothing(tmp_path):
    test = Playtest()
    for build in (0, 1):
        test.lines.append({"settings": {"early": 50 - build}})
        for who in (1, 2, 3):
            test.event("begin", 1000, who=who, new=1)
            for _ in range(10):
                test.event("due", 500, lane=0)
                if build and who == 1:
                    test.event("push", 10, lane=0)
            test.event("push", 900, lane=0)
            test.event("over", 500, how=0)
    tunables = [{"name": "early", "role": "window_early", "value": 50, "min": 1, "max": 99, "unit": "ms"}]
    with test.study(tmp_path, ("begin", "over", "due", "push"), tunables) as study:
        _, found = progress.find(Reader(study.connection), Selection(GAME))
    assert -1 == found.estimate.low < found.estimate.value < found.estimate.high == 1


def test_a_quantile_is_compared_as_that_quantile():
    """By hand: quarter and median of 1 to 13, and of the same with the upper half 10 more."""
    before = by_player(*range(1, 14))
    after = by_player(*[n + 10 * (n > 6) for n in range(1, 14)], first=50)
    low, middle = (difference(before, after, quantile=q) for q in (0.25, 0.5))
    assert (low.before, low.after, low.value) == (4, 4, 0) and (middle.before, middle.after) == (7, 17)
    assert low.low < 0 < low.high and low.how == "quantiles" and low.runs == 26
    assert difference(by_player(1, 2), by_player(), quantile=0.5).value is None
    alike = difference(by_player(*[2] * 12), by_player(*[2] * 12, first=50), quantile=0.5)
    assert (alike.value, alike.low) == (0, None)


def test_quantiles_of_the_same_players_are_drawn_together():
    """Each of twelve players gained exactly 1: so did any quantile of any twelve drawn from them."""
    before = by_player(*range(12))
    found = difference(before, by_player(*range(1, 13)), quantile=0.5)
    assert (found.how, found.low, found.value, found.high) == ("within", 1, 1, 1)


@pytest.mark.parametrize("both", [1, 2])
def test_one_or_two_who_came_back_do_not_stand_for_all(both):
    """Twelve on each build, one or two of them the same: the difference is that of all."""
    rng = np.random.default_rng(3)
    found = difference(by_player(*rng.normal(0, 1, 12)), by_player(*rng.normal(1, 1, 12), first=13 - both))
    assert (found.how, found.players_before, found.players_after) == ("means", 12, 12)


def test_a_quantile_of_few_players_has_no_interval():
    """From lowest to highest of 6 values the median lies in 31 of 32 cases, of 5 in 15 of 16 (any table of signs)."""
    assert (players_for_quantile(0.5), players_for_quantile(0.25)) == (6, 11)
    for players, known in ((5, False), (6, True)):
        found = difference(by_player(*range(players)), by_player(*range(players), first=50), quantile=0.5)
        assert (found.low is not None) == known and found.value == 0


def test_intervals_of_quantiles_hold_the_truth():
    """300 playtests of two groups from one skewed distribution: 92 % of intervals or more hold the truth, 0."""
    rng = np.random.default_rng(5)
    for quantile, players in ((0.5, 6), (0.25, 12)):
        found = [
            difference(
                by_player(*rng.beta(6, 2, players)), by_player(*rng.beta(6, 2, players), first=50), quantile=quantile
            )
            for _ in range(300)
        ]
        assert np.mean([f.low <= 0 <= f.high for f in found]) >= 0.92
        assert np.mean([f.high - f.low for f in found]) < 0.6


def test_two_targets_on_the_same_hits_say_two_things(tmp_path):
    """Six players hit k of 20 notes before, three of them more after; a seventh played the first build only, twice."""
    test = Playtest()
    hits = {0: (4, 6, 8, 10, 12, 14, 2), 1: (4, 6, 8, 16, 18, 20)}
    for build, shares in hits.items():
        test.lines.append({"settings": {"early": 50 - build}})
        for who, share in enumerate(shares, 1):
            for _ in range(1 + (who == 7)):
                test.event("begin", 1000, who=who, new=1)
                for n in range(20):
                    test.event("due", 500, lane=0)
                    if n < share:
                        test.event("push", 10, lane=0)
                test.event("over", 500, how=0)
    tunables = [{"name": "early", "role": "window_early", "value": 50, "min": 1, "max": 99, "unit": "ms"}]
    wish = '[[target]]\noutcome="hit_share"\npopulation="new_players"\nwanted=0.5\nname="{}"\nstatistic="{}"\n'
    text = wish.format("half", "median") + wish.format("the last", "lower_quarter")
    with test.study(tmp_path, ("begin", "over", "due", "push"), tunables) as study:
        add_target(study.connection, GAME, text)
        _, middle, low = progress.find(Reader(study.connection), Selection(GAME))
    # By hand: sorted shares .2 .3 .4 .5 .6 .7 -> .2 .3 .4 .8 .9 1.
    assert middle.sentence.startswith("half, median over players: 45 % on 1, 60 % on 1 b; a difference of the 6")
    assert low.sentence.startswith(
        "the last, 25 % quantile over players: 32 % on 1, 32 % on 1 b; 6 players are too few for an interval: "
        "that of a 25 % quantile takes 11. Beside it, the mean of the players' values: 45 % and 60 %, a difference"
    )
    assert (middle.players, middle.runs) == (6, 12) and low.estimate.low is None


def test_other_figures_of_different_people_by_welch():
    """Against scipy's own Welch interval."""
    rng = np.random.default_rng(1)
    a, b = rng.normal(3, 1, 9), rng.normal(4, 2, 12)
    found = difference(by_player(*a), by_player(*b, first=50))
    expected = stats.ttest_ind(b, a, equal_var=False).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high))
    assert found.how == "means" and found.players == 21
    narrow = difference(by_player(*a), by_player(*b, first=50), level=0.8)
    expected = stats.ttest_ind(b, a, equal_var=False).confidence_interval(0.8)
    assert (narrow.level, narrow.low, narrow.high) == pytest.approx((0.8, expected.low, expected.high))
    alike = difference(by_player(2, 2, 2), by_player(2, 2, first=50))
    assert (alike.value, alike.low) == (0, None)


def test_nobody_on_one_side():
    found = difference(by_player(), by_player(1, 0))
    assert (found.before, found.value, found.low) == (None, None, None)


def test_of_a_share_without_doubt_the_count_is_binomial():
    for share, players in ((0.5, 12), (0.3, 20), (0.8, 9)):
        low, high = stats.binom.ppf([0.1, 0.9], players, share) / players
        assert count_interval(Prediction(*[share] * 5), players) == pytest.approx((low, high))


def test_half_the_80_percent_interval_of_a_normal_distribution():
    assert half_width(stats.norm.ppf((np.arange(4000) + 0.5) / 4000)) == pytest.approx(stats.norm.ppf(0.9), abs=2e-3)


def test_the_plan_calls_apart_what_the_comparison_will():
    """Every pair of counts of nine players each."""
    for a in range(10):
        for b in range(10):
            found = difference(by_player(*[1] * a, *[0] * (9 - a)), by_player(*[1] * b, *[0] * (9 - b), first=50))
            assert _apart(np.array(a), np.array(b), 9) == (found.low > 0 or found.high < 0), (a, b)


def test_the_counts_interval_is_wider_than_the_shares():
    said = Prediction(0.5, 0.45, 0.55, 0.42, 0.58)
    low, high = count_interval(said, 12)
    assert low < 0.42 and high > 0.58
    narrow = count_interval(said, 2000)
    assert narrow == pytest.approx((0.45, 0.55), abs=0.02)


def test_one_build_is_no_comparison_and_the_command_says_so(tmp_path, capsys):
    study = tmp_path / "s.duckdb"
    for log in ("soot_wardens_a_table1", "soot_wardens_b_table1"):
        with open_study(study) as opened:
            import_log(opened, DEMO / f"{log}.playlog")
        if log == "soot_wardens_a_table1":
            assert cli.main(["compare", "--study", str(study)]) == exits.THIN
            told = capsys.readouterr()
            assert told.out == "" and "None" not in told.err
            assert told.err.startswith("Soot Wardens: only one build has been played, lantern 1.3: change something")
    words = ["compare", "--study", str(study)]
    assert cli.main([*words, "--before", "lantern 1.3", "--after", "lantern 1.3"]) == exits.THIN
    assert "lantern 1.3 against itself: name two of the builds that were played" in capsys.readouterr().err
    assert cli.main(words) == exits.OK
    said = capsys.readouterr().out
    assert said.startswith("Cannot be told yet. ") and "\nSoot Wardens: lantern 1.3 -> lantern 1.3 b\n" in said
    assert max(map(len, said.splitlines())) <= 80


def test_a_kept_prediction_is_scored_when_the_next_playtest_comes(world, tmp_path, capsys):
    """propose --keep -> the proposal is played by new people -> compare finds the prediction and scores it."""
    study, rng = tmp_path / "s.duckdb", np.random.default_rng(8)
    log = tmp_path / "a.playlog"
    write_log(log, world, world.now, play(world, 12, 2, world.now, rng, record=True))
    recorded_at(log, "2026-03-01T10:00:00+00:00")
    with open_study(study) as opened:
        import_log(opened, log)
    targets = tmp_path / "t.toml"
    targets.write_text('[[target]]\nname="the end"\noutcome="finish"\nwanted=0.9\n', encoding="utf-8")
    words = ["--study", str(study), "--targets", str(targets), "--json"]
    assert cli.main(["propose", *words, "--keep"]) == exits.OK
    best = json.loads(capsys.readouterr().out)["proposals"][0]
    assert cli.main(["compare", "--study", str(study), "--json"]) == exits.THIN
    assert "only one build" in capsys.readouterr().err
    proposed = {**world.now, **{c["tunable"]: c["proposed"] for c in best["changes"]}}
    second = tmp_path / "b.playlog"
    write_log(second, world, proposed, play(world, 12, 2, proposed, rng, record=True), first_player=13)
    recorded_at(second, "2026-03-02T10:00:00+00:00")
    with open_study(study) as opened:
        import_log(opened, second)
    assert cli.main(["compare", "--study", str(study), "--json"]) == exits.OK
    answer = json.loads(capsys.readouterr().out)
    assert {c["tunable"]: c["after"] for c in answer["changes"]} == {
        c["tunable"]: c["proposed"] for c in best["changes"]
    }
    (row,) = answer["compared"]
    assert row["target"] == "the end" and row["how"] == "players"
    assert row["low"] <= row["difference"] <= row["high"]
    (score,) = answer["predictions"]
    assert score["proposal"] == best["id"]
    # People found like those who tested are what it was said of.
    assert score["said"]["value"] == best["targets"][0]["testers_proposed"]["value"]
    assert score["inside"] == (score["expected_low"] <= score["observed"] <= score["expected_high"])
    assert score["players"] == 12
    # Twelve scatter about the share: what may come is wider than what was said of everybody.
    said = Prediction(*(score["said"][name] for name in ("value", "low80", "high80", "low95", "high95")))
    assert (score["expected_low"], score["expected_high"]) == pytest.approx(count_interval(said, 12))
    assert score["expected_high"] - score["expected_low"] > said.high80 - said.low80
    for everything in ([], ["--all"]):
        assert cli.main(["compare", "--study", str(study), *everything]) == exits.OK
        shown = " ".join(capsys.readouterr().out.split())
        figures = [amount(value, "share") for value in (score["said"]["value"], score["observed"])]
        assert f"like those who had played: {figures[0]}; came {figures[1]}" in shown


def test_more_players_leave_less_doubt(played):
    with open_study(played, read_only=True) as study:
        data = load_staged(Reader(study.connection), Selection("Soot Drift"))
    model = fit_staged(data, draws=120)
    rng = np.random.default_rng(1)
    more = more_players(model, 5, 10, 3, rng)
    assert len(more.players) == len(data.players) + 10
    assert more.cells.deaths.sum() > data.cells.deaths.sum()
    few, many = precision_of(model, FINISH, sizes=(4, 60), plays=3)
    assert many.half_width < 0.8 * few.half_width


def test_simulated_people_play_as_the_chain_says(played):
    """The run simulator of the plan and the outcome chain are two ways to the same shares."""
    with open_study(played, read_only=True) as study:
        data = load_staged(Reader(study.connection), Selection("Soot Drift"))
    model = fit_staged(data, draws=60)
    draw = 7
    more = more_players(model, draw, 1500, 1, np.random.default_rng(3))
    last = len(data.segments) - 1
    new = more.visits.player >= len(data.players)
    finished = (more.visits.cleared & (more.visits.segment == last) & new).sum() / 1500
    assert finished == pytest.approx(float(model.figures({}, [FINISH])[0][draw]), abs=0.04)


def test_players_needed():
    """Half the margin takes four times the players (standard error of a mean); none where it is small enough."""
    assert more_needed(12, 0.10, 0.05) == 36
    assert more_needed(12, 0.10, 0.10) == more_needed(12, 0.10, 0.2) == 0
    assert more_needed(12, 0.10, 0.099) == 1
    assert players_to_know(20, 0.10, 0.05) == 60
    assert players_to_know(21, 0.10, 0.05) is None


def test_a_plan_and_a_proposal_ask_for_as_many_players(played, tmp_path):
    """A study in which the proposal is not sure enough: what it says of knowing the target is what the plan says."""
    targets = read_targets('[[target]]\noutcome = "finish"\nwanted = 0.44\ntolerance = 0.12\n')
    with open_study(played, read_only=True) as study:
        reader, selection = Reader(study.connection), Selection("Soot Drift")
        plan = plan_game(reader, selection, targets, simulate=False)
        (model,) = fit_game(reader, selection, targets)[0]
    (target,) = targets.targets
    like_testers = model.for_audience(LIKE_TESTERS)
    figures = like_testers.figures({}, [target])
    said = prediction(figures[0], target, 12)
    predicted = PredictedTarget("finish", 0.44, 0.12, "share", said, said, None, 12, 36, said, said)
    unsure = Against(loss=0.1, gain=0.02, better=0.7, harm=0.02)
    told = settles(Doubt(unsure, unsure, True, False, "", model.players), predicted)
    helps, knows = map(int, re.search(r"about (\d+) more .* takes (\d+) more", told).groups())
    assert plan.players_needed == knows == more_needed(model.players, plan.now_half_width, 0.12) > 0
    # By the same law: the gain's margin of error in units in which 0.8 needs ndtri(0.8).
    assert helps == more_needed(model.players, norm.ppf(0.8), norm.ppf(0.7))


def test_power_grows_with_players_and_is_small_without_a_difference(played):
    with open_study(played, read_only=True) as study:
        data = load_staged(Reader(study.connection), Selection("Soot Drift"))
    model = fit_staged(data)
    lives = next(t for t in model.tunables if t.role == "start_lives")
    none = power_of(model, FINISH, {}, {}, sizes=(12, 40))
    assert all(p.chance < 0.07 for p in none)
    some = power_of(model, FINISH, {}, {lives.name: lives.value + 4}, sizes=(6, 40))
    assert some[1].chance > some[0].chance + 0.1


class Shares:
    """A model that is sure: 1 in 5 finish, or 4 in 5 with the change."""

    def figures(self, setting, targets, quick=False):
        return np.full((len(targets), 3), 0.8 if setting else 0.2)


def test_the_chance_to_tell_apart_is_that_of_playtests_drawn_and_has_no_noise():
    power = power_of(Shares(), FINISH, {}, {"lives": 5}, sizes=(6, 8, 10))
    assert power == power_of(Shares(), FINISH, {}, {"lives": 5}, sizes=(6, 8, 10))
    rng = np.random.default_rng(4)
    for row in power:
        n, apart = row.players_each, 0
        for _ in range(1500):
            a, b = (by_player(*(rng.random(n) < share), first=f) for share, f in ((0.2, 1), (0.8, 50)))
            found = difference(a, b)
            apart += found.low > 0 or found.high < 0
        assert row.chance == pytest.approx(apart / 1500, abs=4 * 0.5 / 1500**0.5)


def test_players_on_each_are_those_from_which_on_the_chance_holds():
    assert each_needed([Power(6, 0.81), Power(8, 0.79), Power(10, 0.8), Power(12, 0.9)]) == 10
    assert each_needed([Power(6, 0.81), Power(8, 0.79)]) is None and each_needed([]) is None


def test_a_schedule_is_balanced():
    slots = schedule(("a", "b"), 12, 3, first_tag=13)
    assert [s.player for s in slots] == [f"P{n}" for n in range(13, 25)]
    assert sum(s.builds == ("a",) for s in slots) == 6
    # Balanced in every block: whenever the session must stop, the builds differ by at most one player.
    for n in range(1, 13):
        assert abs(sum(1 if s.builds == ("a",) else -1 for s in slots[:n])) <= 1
    both = schedule(("a", "b"), 8, 2, within=True)
    assert {s.builds for s in both} == {("a", "b"), ("b", "a")}
    with pytest.raises(ValueError, match="255"):
        schedule(("a",), 20, 1, first_tag=250)


def test_the_plan_command(played, targets_file, capsys, tmp_path):
    out = tmp_path / "plan.md"
    words = ["plan", "--study", str(played), "--targets", str(targets_file), "--quick", "--out", str(out), "--json"]
    assert cli.main([*words, "--players", "10", "--against", "start_lives=7"]) == exits.OK
    answer = json.loads(capsys.readouterr().out)
    assert len(answer["schedule"]) == 10
    assert answer["schedule"][0]["player"] == "P13"  # twelve have played
    assert {b for s in answer["schedule"] for b in s["builds"]} == {"1.0", "as proposed"}
    text = out.read_text(encoding="utf-8")
    for word in ("school's rules", "Stop after 10 players", "First-time players", "You may stop at any time"):
        assert word in text
    assert cli.main([*words, "--against", "gravity=7"]) == exits.USAGE
    assert cli.main([*words, "--players", "0"]) == exits.USAGE
