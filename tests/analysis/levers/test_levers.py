"""Levers: every role with an effect has a module, and moving it does what the module states, by how much it states."""

import importlib
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy import special, stats

import analysis.levers
from analysis.levers import LEVERS, DoseLever, policy_levers
from analysis.levers.lever import Lever
from analysis.models.data import Tunable
from analysis.models.fitted import Fitted
from analysis.models.rhythm_games.rhythm import RhythmModel
from analysis.models.staged_games.staged import fit_staged
from analysis.models.targets import Changeable, Outcome, Statistic, Target
from analysis.models.trials import TrialModel, fit_trials
from analysis.stats.rhythm.window_settings import TimingTunable
from analysis.tuning.ranking import propose
from ingest.vocabulary import Recruitment, TunableRole
from tests.analysis.levers.games import BY_TIER, CLEAR_S, HAZARD, RISE, shots, staged
from tests.analysis.timing.notes import timed_notes

ROOT = Path(__file__).parents[3]
FINISH = Target("finish", Outcome.FINISH, 0.5, 0.05)
HITS = Target("hits", Outcome.HIT_SHARE, 0.5, 0.05, statistic=Statistic.MEAN)
FORMAT = (ROOT / "ingest" / "FORMAT.md").read_text(encoding="utf-8")


def test_every_role_with_an_effect_has_a_lever_and_no_other():
    assert list(LEVERS) == [role for role in TunableRole if role.acts]


def test_what_is_only_read_is_what_the_format_says():
    said = re.search(r"^What (.+) do to the outcome is not known", FORMAT, re.M)
    assert said
    assert set(re.findall(r"`(\w+)`", said[1])) == {role for role in TunableRole if not role.acts}


def test_each_lever_is_a_module_of_its_own_that_names_a_role_of_the_vocabulary():
    folder = Path(analysis.levers.__file__).parent
    modules = {path.stem for path in folder.glob("*.py")} - {"__init__", "lever"}
    assert modules == {str(role) for role in LEVERS}
    for name in modules:
        module = importlib.import_module(f"analysis.levers.{name}")
        assert isinstance(module.LEVER, Lever) and isinstance(module.LEVER.role, TunableRole)
        assert module.LEVER is LEVERS[TunableRole(name)]
        assert module.__doc__


@pytest.mark.parametrize("role", LEVERS)
def test_units_are_those_of_the_format(role):
    row = re.search(rf"^\| `{role}` \|.*\| (.+) \|$", FORMAT, re.M)
    assert row and re.findall(r"`([\w-]+)`", row[1]) == list(LEVERS[role].units)


def test_each_rule_of_the_chain_is_set_by_one_lever():
    rules = [lever.rule for lever in policy_levers()]
    assert len(rules) == len(set(rules))


def test_every_prior_says_where_it_comes_from():
    for lever in LEVERS.values():
        if isinstance(lever, DoseLever):
            priors = [lever.deaths, lever.times, lever.rises, lever.success]
            assert any(priors)
            assert all(prior.source for prior in priors if prior is not None)


# --- direction and size -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Case:
    """A synthetic game, a larger value of its one tunable, and the figures by hand: as it is, and with that value."""

    fitted: Callable[[Tunable], Fitted]
    tunable: Tunable
    larger: int
    target: Target
    now: float
    then: float
    off: float = 0.02  # as far as 240 draws of the prior, or of what players differ by, may be out


def survived(hazard: float, seconds: float, deaths: int = 0) -> float:
    """Chance of at most so many deaths."""
    return float(stats.poisson.cdf(deaths, hazard * seconds))


def upgraded(rise: float) -> float:
    """Chance to get through alive from tier 0, where an upgrade lowers the hazard: both orders of events by hand."""
    low, high = BY_TIER[1], BY_TIER[0]
    out = high + rise - low
    return math.exp(-(high + rise) * CLEAR_S) + rise * math.exp(-low * CLEAR_S) * (1 - math.exp(-out * CLEAR_S)) / out


def with_a_tier_to_lose() -> float:
    """Chance of at most one death from tier 1, where the death costs the tier."""
    low, high = BY_TIER[1], BY_TIER[0]
    once = low * math.exp(-high * CLEAR_S) * (math.exp((high - low) * CLEAR_S) - 1) / (high - low)
    return math.exp(-low * CLEAR_S) + once


def tunable(role: TunableRole, value: int, low: int, high: int) -> Tunable:
    return Tunable("it", role, value, low, high, 1, "ms")


def lives(value: int) -> Tunable:
    return Tunable("lives", TunableRole.START_LIVES, value, 1, 9, 1, "lives")


def rhythm(bias: float = 0.0, **now: int) -> Callable[[Tunable], Fitted]:
    """Players with a spread of 40 ms and a given bias, who press at every note."""
    players, notes = 24, 400
    even = stats.norm.ppf((np.arange(notes) + 0.5) / notes)
    error = np.tile(bias + 40 * np.random.default_rng(1).permutation(even), players)
    values = {"window_early": 60, "window_late": 60, "input_offset": 0} | now

    def fitted(moved: Tunable) -> Fitted:
        own = [
            TimingTunable(
                "1.0", "it" if role == moved.role else role, TunableRole(role), value, -200, 400, 1, "ms", 1e3
            )
            for role, value in values.items()
        ]
        return RhythmModel(timed_notes(error, player=np.repeat(np.arange(players), notes)), own, "1.0", cut=False)

    return fitted


def hit(early: float, late: float, bias: float = 0.0) -> float:
    """Share of presses between the edges, on the scale of press - due."""
    return float(stats.norm.cdf((late - bias) / 40) - stats.norm.cdf((early - bias) / 40))


SLOWER_S = CLEAR_S * 2**-0.1  # at half the rate a passage is a little quicker
CASES = {
    TunableRole.START_LIVES: Case(
        lambda t: fit_staged(staged(t)),
        tunable(TunableRole.START_LIVES, 1, 1, 9),
        2,
        FINISH,
        survived(HAZARD, CLEAR_S),
        survived(HAZARD, CLEAR_S, 1),
    ),
    TunableRole.LIVES_REFILL: Case(
        lambda t: fit_staged(staged(t, lives(2), segments=2)),
        tunable(TunableRole.LIVES_REFILL, 0, 0, 2),
        2,
        FINISH,
        survived(HAZARD, 2 * CLEAR_S, 1),
        survived(HAZARD, CLEAR_S, 1) ** 2,
    ),
    TunableRole.FIRE_PERIOD: Case(
        lambda t: fit_staged(staged(t)),
        tunable(TunableRole.FIRE_PERIOD, 800, 100, 4000),
        1600,
        FINISH,
        survived(HAZARD, CLEAR_S),
        survived(HAZARD / 2, SLOWER_S),
    ),
    TunableRole.DROP_INTERVAL: Case(
        lambda t: fit_staged(staged(t, levels=True)),
        tunable(TunableRole.DROP_INTERVAL, 800, 100, 4000),
        1600,
        FINISH,
        survived(HAZARD, CLEAR_S),
        survived(HAZARD / 2, SLOWER_S),
    ),
    TunableRole.AIMED_SHARE: Case(
        lambda t: fit_staged(staged(t)),
        tunable(TunableRole.AIMED_SHARE, 20, 0, 100),
        70,
        FINISH,
        survived(HAZARD, CLEAR_S),
        survived(HAZARD * math.exp(0.8 * 0.5), CLEAR_S),
    ),
    TunableRole.PICKUP_RATE: Case(
        lambda t: fit_staged(staged(t, tiers=2)),
        tunable(TunableRole.PICKUP_RATE, 10, 1, 100),
        20,
        FINISH,
        upgraded(RISE),
        upgraded(2 * RISE),
    ),
    TunableRole.TIERS_SURVIVE: Case(
        lambda t: fit_staged(staged(t, lives(2), tiers=2, start_tier=1)),
        tunable(TunableRole.TIERS_SURVIVE, 0, 0, 1),
        1,
        FINISH,
        with_a_tier_to_lose(),
        survived(BY_TIER[1], CLEAR_S, 1),
    ),
    TunableRole.TARGET_SPEED: Case(
        lambda t: fit_trials(shots(t, hit=0.75)),
        tunable(TunableRole.TARGET_SPEED, 60, 10, 400),
        120,
        HITS,
        0.75,
        float(special.expit(special.logit(0.75) - 2 * math.log(2))),
        off=0.03,
    ),
    TunableRole.WINDOW_EARLY: Case(
        rhythm(window_early=20),
        tunable(TunableRole.WINDOW_EARLY, 20, 0, 400),
        80,
        HITS,
        hit(-20, 60),
        hit(-80, 60),
        off=0.035,
    ),
    TunableRole.WINDOW_LATE: Case(
        rhythm(window_late=20),
        tunable(TunableRole.WINDOW_LATE, 20, 0, 400),
        80,
        HITS,
        hit(-60, 20),
        hit(-60, 80),
        off=0.035,
    ),
    TunableRole.INPUT_OFFSET: Case(
        rhythm(bias=50),
        tunable(TunableRole.INPUT_OFFSET, 0, -200, 400),
        50,
        HITS,
        hit(-60, 60, 50),
        hit(-10, 110, 50),
        off=0.035,
    ),
}


def test_every_lever_has_a_case():
    assert set(CASES) == set(LEVERS)


@pytest.mark.parametrize("role", CASES)
def test_moving_it_changes_the_outcome_in_the_stated_direction_by_the_stated_size(role):
    case, lever = CASES[role], LEVERS[role]
    model = case.fitted(case.tunable)
    now, then = (float(np.median(model.figures(setting, [case.target])[0])) for setting in ({}, {"it": case.larger}))
    assert now == pytest.approx(case.now, abs=case.off)
    assert then == pytest.approx(case.then, abs=case.off)
    # The case itself tells: its figures are far enough apart, and on the side that the module states.
    assert abs(case.then - case.now) > 2.5 * case.off
    assert lever.easier in (0, math.copysign(1, case.then - case.now))


def test_which_way_an_offset_is_easier_hangs_on_the_presses():
    case = CASES[TunableRole.INPUT_OFFSET]
    model = rhythm(bias=-50)(case.tunable)
    now, then = (float(np.median(model.figures(s, [HITS])[0])) for s in ({}, {"it": 50}))
    assert [now, then] == pytest.approx([hit(-60, 60, -50), hit(-10, 110, -50)], abs=0.035)
    assert LEVERS[TunableRole.INPUT_OFFSET].easier == 0


def test_values_that_mean_nothing_to_the_game_are_not_tried():
    refill = Tunable("it", TunableRole.LIVES_REFILL, 0, -3, 9, 1)
    model = fit_staged(staged(refill, lives(2), segments=2))
    tried = {s["it"] for move in model.moves(Changeable(allowed=("it",)), [FINISH]) for s in move.options}
    assert tried == {0, 1, 2}


@pytest.mark.parametrize(
    ("role", "limits"),
    [
        (TunableRole.START_LIVES, (1, 15)),
        (TunableRole.LIVES_REFILL, (0, 2)),
        (TunableRole.TIERS_SURVIVE, (0, 1)),
        (TunableRole.FIRE_PERIOD, (1, 99)),
        (TunableRole.DROP_INTERVAL, (1, 99)),
        (TunableRole.TARGET_SPEED, (1, 99)),
        (TunableRole.INPUT_OFFSET, (-9, 99)),
    ],
)
def test_a_firmware_may_hold_more_than_means_something(role, limits):
    assert LEVERS[role].limits(-9, 99) == limits


@pytest.mark.parametrize(
    ("role", "values", "together"),
    [
        (TunableRole.START_LIVES, [3, 5], 3),
        (TunableRole.LIVES_REFILL, [0, 2], 2),
        (TunableRole.TIERS_SURVIVE, [1, 0], 1),
        # Twice as many shots as of one kind alone.
        (TunableRole.FIRE_PERIOD, [800, 800], math.log(1 / 400)),
        (TunableRole.AIMED_SHARE, [0, 50], 0.25),
        (TunableRole.PICKUP_RATE, [10, 30], math.log(20)),
        (TunableRole.TARGET_SPEED, [60, 90], math.log(60)),
    ],
)
def test_of_several_of_one_role_in_one_place(role, values, together):
    assert LEVERS[role].of(values) == pytest.approx(together)


# --- adding one -------------------------------------------------------------------------------------------------------


def test_a_new_lever_of_the_rates_is_its_module_alone(monkeypatch):
    """A role that no model knows by name: with a lever it is fitted, moved, carried and told."""
    role = TunableRole.NOTE_SPEED
    new = DoseLever(
        role,
        units=(),
        easier=-1,
        by_ratio=True,
        of=lambda values: math.log(values[0]),
        what="crowd",
        played="crowd",
        deaths=analysis.levers.lever.Prior(1.5, 0.1, "for this test"),
        symbol="c",
        under={"the crowd does nothing": (0.0, 0.01)},
    )
    monkeypatch.setitem(LEVERS, role, new)
    crowd = Tunable("crowd", role, 10, 1, 100, 1)
    model = fit_staged(staged(crowd))
    figures = [float(np.median(model.figures(s, [FINISH])[0])) for s in ({}, {"crowd": 5})]
    expected = [survived(HAZARD, CLEAR_S), survived(HAZARD / 2**1.5, CLEAR_S)]
    assert figures == pytest.approx(expected, abs=0.02)
    wish = Target("finish", Outcome.FINISH, 0.7, 0.05)
    best = propose(model, [wish], Changeable(), "Well", Recruitment.AUDIENCE)[0]
    assert [c.tunable for c in best.changes] == ["crowd"] and best.changes[0].proposed < 10
    assert best.carried_by["crowd"].startswith("prior: ") and "another crowd would tell" in best.carried_by["crowd"]
    assert any("(crowd)^c" in said for said in best.assumptions)
    cases = model.otherwise()
    without = cases["the crowd does nothing"]()
    assert float(np.median(without.figures({"crowd": 5}, [FINISH])[0])) == pytest.approx(figures[0], abs=0.02)


def test_models_know_the_levers_that_act_on_them():
    """Every lever is known to a kind of model, and to the kind that its case is of."""
    fire, blocks = (fit_staged(staged(levels=levels)).roles for levels in (False, True))
    assert {*fire, *blocks, *TrialModel.roles, *RhythmModel.roles} == set(LEVERS)
    assert not {*fire, *blocks} & {*TrialModel.roles, *RhythmModel.roles}
