"""What the sentences claim: no more than the intervals allow, and of whom it is true."""

import re

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from analysis.findings import deaths, survival
from analysis.findings.basis import Basis
from analysis.findings.highest import highest_part
from analysis.findings.survival import risks
from analysis.reader import Columns
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.stats.picked import drawn_to_mean
from analysis.stats.players.parts import inside_against_outside, part_against_rest
from tests.analysis.playtest import GAME, Playtest, reader_of


def staged(rng, boss_rate: float, players: int = 10, runs: int = 3) -> Playtest:
    """Runs through stage 1, its boss and stage 2; lives are lost at 12 a minute, at the boss at its own rate."""
    test = Playtest()
    for who in range(1, players + 1):
        for _ in range(runs):
            test.event("begin", 1000, who=who)
            for stage, boss in ((1, 0), (1, 1), (2, 0)):
                test.event("enter", stage=stage, boss=boss)
                left = 10_000
                while (life := int(rng.exponential(60_000 / (boss_rate if boss else 12)))) < left:
                    test.event("died", life, left=5)
                    test.event("alive", 10)
                    left -= life
                test.event("leave", left, done=1)
            test.event("over", how=0)
    return test


def sentence_of(test: Playtest, folder, finder, name: str) -> str:
    with test.study(folder) as study:
        return {f.id: f for f in finder.find(reader_of(study), Selection(GAME))}[name].sentence


def test_the_deadliest_stage_is_held_against_the_same_players_elsewhere(tmp_path):
    said = sentence_of(staged(np.random.default_rng(1), 36), tmp_path, deaths, "deaths.by_stage")
    times, low, high = map(float, re.findall(r"die ([\d.]+) times.*interval ([\d.]+) to ([\d.]+) times; both", said)[0])
    assert said.startswith("Deaths come fastest in stage 1 boss") and "chance" not in said
    assert 1 < low < times < high and low < 3 < high and "picked of 3 parts of the game" in said


def test_a_stage_that_happens_to_be_first_is_not_called_deadlier(tmp_path):
    said = sentence_of(staged(np.random.default_rng(2), 12), tmp_path, deaths, "deaths.by_stage")
    assert "which may be chance" in said


def test_a_single_stage_is_not_called_the_fastest(tmp_path):
    test = Playtest()
    for who in range(1, 5):
        test.run(who, [3.0 + who, 2.0])
    assert "fastest" not in sentence_of(test, tmp_path, deaths, "deaths.by_stage")


@pytest.mark.parametrize(("early", "chance"), [(0.0, True), (0.5, False)])
def test_the_most_dangerous_time_of_a_life_is_held_against_the_others(early, chance, tmp_path):
    rng = np.random.default_rng(3)
    test = Playtest()
    for who in range(1, 13):
        for _ in range(8):
            # Constant risk; or half of the lives end within the first two seconds.
            life = rng.uniform(0, 2) if rng.random() < early else rng.exponential(20)
            test.run(who, [float(min(life, 60))], ending=1 if life < 60 else 0, sampled=False)
    said = sentence_of(test, tmp_path, survival, "survival.hazard")
    assert said.startswith("Players die most often") and re.search(r"picked of \d+ stretches", said)
    assert ("which may be chance" in said) == chance


def test_few_deaths_have_no_most_dangerous_time(tmp_path):
    test = Playtest()
    for who in range(1, 5):
        test.run(who, [3.0 + who, 2.0])
    said = sentence_of(test, tmp_path, survival, "survival.hazard")
    assert said.startswith("In the first 7 s alive players die 16 times a minute")  # 8 deaths in 30 s


def test_the_part_that_stands_out_most_does_so_by_chance_in_one_playtest_of_twenty():
    """Six parts, of which the later ones are reached by fewer; players differ, and each finds other parts hard."""
    rng = np.random.default_rng(4)
    told = 0
    for _ in range(200):
        time = rng.gamma(2, 0.5, (12, 6))
        time[np.arange(6) >= rng.integers(3, 7, 12)[:, None]] = 0
        rate = 2 * np.exp(rng.normal(0, 0.6, (12, 1)) + rng.normal(0, 0.4, (12, 6)))
        count = rng.poisson(rate * time)
        top = int(np.argmax(count.sum(axis=0) / np.maximum(time.sum(axis=0), 1e-9)))
        player, part = np.indices((12, 6))
        found = part_against_rest(count.ravel(), time.ravel(), part.ravel(), top, player.ravel())
        told += found is not None and found.low is not None and found.low > 0
    assert told <= 18  # 5 % of 200 and three standard errors


def test_a_part_against_the_rest_is_inside_against_outside_with_a_corrected_level():
    rng = np.random.default_rng(5)
    player, part = (a.ravel() for a in np.indices((6, 4)))
    count, time = rng.poisson(3, 24), rng.gamma(4, size=24)
    found = part_against_rest(count, time, part, 2, player)
    plain = inside_against_outside(count, time, part == 2, player)
    assert found.value == plain.value
    times = stats.t.ppf(1 - 0.05 / 4 / 2, 5) / stats.t.ppf(0.975, 5)
    assert found.high - found.value == pytest.approx(times * (plain.high - plain.value))


@pytest.mark.parametrize("second_s", [4.0, 16.0])
def test_the_limits_of_a_difference_go_the_way_the_words_do(second_s, tmp_path):
    test = Playtest()
    for build, life_s in ((0, 8.0), (1, second_s)):
        test.lines.append({"settings": {"fire": 500 - build}})
        for who in range(1, 7):
            test.run(who + 6 * build, [life_s + 0.2 * who, life_s])
    tunables = [{"name": "fire", "role": "fire_period", "value": 500, "min": 1, "max": 999, "unit": "ms"}]
    with test.study(tmp_path, tunables=tunables) as study:
        found = {f.id: f for f in survival.find(reader_of(study), Selection(GAME))}["survival.builds"]
    value, low, high = map(
        float, re.search(r"lasts ([\d.]+) s.*interval (-?[\d.]+) to (-?[\d.]+) s", found.sentence).groups()
    )
    assert low < value < high and ("less long" in found.sentence) == (second_s < 8)
    assert (found.estimate.value < 0) == (second_s < 8)


class _Spells:
    """A reader that answers with lives made up beforehand."""

    def __init__(self, columns):
        self._columns = columns

    def ask_chosen(self, query, selection, **parameters):
        assert query == "life_spells"
        return Columns(self._columns)


def test_the_strongest_of_several_factors_is_not_taken_for_one_chosen_beforehand():
    """Nothing but the player matters. Each factor alone is told from none in 5 of 100; the strongest of four in 18."""
    rng = np.random.default_rng(6)
    basis = Basis({"run_id": np.arange(36), "player": np.repeat(np.arange(12), 3)}, frozenset(), ())
    told = 0
    for _ in range(100):
        player = np.repeat(np.arange(12), 9)
        life = rng.exponential(10 / np.exp(rng.normal(0, 0.5, 12))[player])
        columns = {
            "player": player.astype(str),
            "build": np.full(108, "1.0"),
            "entry_s": np.zeros(108),
            "end_s": np.minimum(life, 30),
            "died": life < 30,
            "stage": rng.integers(1, 4, 108),
            "stage_kind": rng.integers(0, 2, 108),
            "tier": rng.integers(0, 3, 108),
            "attempt": np.tile(np.repeat([1, 2, 3], 3), 12),
        }
        for found in risks.find(_Spells(columns), Selection(GAME), basis):
            sure = not found.estimate.low <= 1 <= found.estimate.high
            told += sure and "may be chance" not in found.sentence
    assert told <= 11  # 5 % and three standard errors


def test_a_part_that_only_good_players_reach_is_no_safer():
    """Nothing matters but the player: 20 of them, log-sd 1. Who lives long comes to the later stages."""
    rng = np.random.default_rng(21)
    basis = Basis({"run_id": np.arange(60), "player": np.repeat(np.arange(20), 3)}, frozenset(), ())
    told = pooled = 0
    for _ in range(40):
        rows = []
        for who, rate in enumerate(np.exp(rng.normal(0, 1, 20)) / 10):
            for attempt in (1, 2, 3):
                stage, at = 1, 0.0
                for _ in range(3):
                    left = rng.exponential(1 / rate)
                    alive = 0.0
                    # A stage lasts 20 s alive; a death gives the rest of it to the next life.
                    while left > 20 - at and stage <= 4:
                        rows.append((who, attempt, stage, alive, alive + 20 - at, False))
                        left, alive, at, stage = left - (20 - at), alive + 20 - at, 0.0, stage + 1
                    if stage > 4:
                        break
                    rows.append((who, attempt, stage, alive, alive + left, True))
                    at += left
        who, attempt, stage, entry, end, died = map(np.array, zip(*rows, strict=True))
        columns = {
            "player": who.astype(str),
            "build": np.full(who.size, "1.0"),
            "entry_s": entry,
            "end_s": end,
            "died": died,
            "stage": stage.astype(float),
            "stage_kind": np.zeros(who.size),
            "tier": np.zeros(who.size),
            "attempt": attempt,
        }
        (found,) = risks.find(_Spells(columns), Selection(GAME), basis)
        assert "the same player's risk" in found.sentence
        told += not found.estimate.low <= 1 <= found.estimate.high and "may be chance" not in found.sentence
        between = sm.GLM(
            died.astype(float),
            sm.add_constant(np.column_stack([stage, np.log2(attempt)])),
            family=sm.families.Poisson(),
            offset=np.log(end - entry),
        ).fit(cov_type="cluster", cov_kwds={"groups": who})
        low, high = between.conf_int(0.025)[1:].T
        pooled += bool(np.any((low > 0) | (high < 0)))
    assert told <= 6  # 5 % of 40 and three standard errors
    assert pooled >= 12  # the same lives, players not held apart: this is what would be false


def test_with_one_run_each_later_stages_are_not_said_to_be_deadlier_where_all_are_alike():
    """Three lives, four stages of 45 s: runs end by a death, and the last stage reached has more than its share."""
    rng = np.random.default_rng(12)
    basis = Basis({"run_id": np.arange(60), "player": np.arange(60)}, frozenset(), ())
    told = 0
    for _ in range(40):
        rows = []
        for who, rate in enumerate(np.exp(0.4 * rng.standard_normal(60)) / 30):
            lives, stage, alive, at = 3, 1, 0.0, 0.0
            while lives and stage <= 4:
                left = rng.exponential(1 / rate)
                died = left < 45 - at
                spent = left if died else 45 - at
                rows.append((who, stage, alive, alive + spent, died))
                lives, stage, alive, at = (
                    (lives - 1, stage, 0.0, at + spent) if died else (lives, stage + 1, alive + spent, 0.0)
                )
        who, stage, entry, end, died = map(np.array, zip(*rows, strict=True))
        same = {name: np.ones(who.size) for name in ("stage_kind", "tier", "attempt")}
        columns = {"player": who.astype(str), "build": np.full(who.size, "1.0"), "entry_s": entry, "end_s": end}
        columns |= {"died": died, "stage": stage.astype(float)} | same
        (found,) = risks.find(_Spells(columns), Selection(GAME), basis)
        told += found.estimate.excludes(1)
    assert told <= 6  # 5 % of 40 and three standard errors


def test_runs_that_were_cut_might_have_got_further(tmp_path):
    test = Playtest()
    for who in range(1, 5):
        test.run(who, [3.0], ending=None if who == 1 else 1)
    with test.study(tmp_path) as study:
        funnel = {f.id: f for f in survival.find(reader_of(study), Selection(GAME))}["survival.funnel"]
    assert any("1 cut run might have got further" in warning for warning in funnel.warnings)


def test_the_highest_of_several_is_drawn_towards_the_mean_as_far_as_it_was_chance():
    """Six parts that differ by a factor of 1.3; the highest is picked. Without drawing it comes out far too high."""
    rng = np.random.default_rng(8)
    held = 0
    more, plain = [], []
    player, part = (a.ravel() for a in np.indices((12, 6)))
    for _ in range(60):
        own, skill = rng.normal(0, 0.25, 6), rng.normal(0, 0.6, 12)
        time = np.full(72, 0.5)
        count = rng.poisson(time * np.exp(skill[player] + own[part]))
        top = int(np.argmax(np.bincount(part, count)))
        highest = highest_part(count, time, part, top, player)
        if highest.drawn is None:
            continue
        rest = np.delete(own, top)
        true = own[top] - np.log(np.mean(np.exp(rest)))
        held += highest.drawn.low <= true <= highest.drawn.high
        more.append(highest.drawn.value - true)
        plain.append(highest.found.value - true)
    assert len(more) >= 50 and held >= 0.86 * len(more)
    assert abs(np.mean(more)) < 0.2 < 0.3 < np.mean(plain)


def test_a_rate_that_may_be_the_highest_by_chance_is_said_as_it_was_seen():
    """Drawn towards the mean of the parts, the fastest part would be said to be slower than the others."""
    player, part = (a.ravel() for a in np.indices((11, 3)))
    time, count = np.where(part == 0, 40.0, 15.0), np.where(part == 0, 4, 2)
    seen = Estimate(10.0, 1.0, 99.0)
    few = np.where((part == 2) & (player >= 2), 0, 1)  # two of eleven came to the last part, where they die more often
    doubtful = highest_part(count * few + few * (part == 2), time * few, part, 2, player)
    assert doubtful.found.value > 0 and doubtful.doubtful and doubtful.rate(seen) == seen
    sure = highest_part(count * (1 + 3 * (part == 2)), time, part, 2, player)
    assert not sure.doubtful and sure.rate(seen).value < seen.value


def test_eight_schools_are_drawn_together_as_published():
    """Gelman et al. 2013, table 5.3 (from memory), of 200 draws: 95 % of school A -2 to 31, of G -1 to 26."""
    effect, error = [28.0, 8, -3, 7, -1, 1, 18, 12], [15.0, 10, 16, 11, 9, 11, 10, 18]
    for which, low, high in ((0, -2, 31), (6, -1, 26)):
        found = drawn_to_mean(effect, error, which)
        assert found.low == pytest.approx(low, abs=1.5) and found.high == pytest.approx(high, abs=1.5)


def test_what_is_known_exactly_is_not_drawn():
    found = drawn_to_mean([0.0, 1, 2], [1e-4, 1e-4, 1e-4], 2, prior=1.0)
    assert found.value == pytest.approx(2, abs=1e-3)
