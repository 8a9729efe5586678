"""Windows and offsets proposed from timed notes whose truth is known."""

import numpy as np
import pytest
from scipy import stats

from analysis.models.observed import observed_hits
from analysis.models.rhythm_games.hands import LoggedNotes, thinned
from analysis.models.rhythm_games.hands_sampler import fit
from analysis.models.rhythm_games.rhythm import RhythmModel
from analysis.models.targets import Aim, Changeable, Outcome, Statistic, Target
from analysis.stats.rhythm.window_settings import TimingTunable
from analysis.tuning.proposal import Advice
from analysis.tuning.ranking import propose
from ingest.vocabulary import Recruitment, TunableRole
from tests.analysis.timing.notes import timed_notes

EARLY, LATE, OFFSET = TunableRole.WINDOW_EARLY, TunableRole.WINDOW_LATE, TunableRole.INPUT_OFFSET

MEDIAN = Target("median", Outcome.HIT_SHARE, 0.85, 0.05, statistic=Statistic.MEDIAN, quantile=0.5)
QUARTER = Target("quarter", Outcome.HIT_SHARE, 0.7, 0.05, aim=Aim.AT_LEAST, statistic=Statistic.QUANTILE, quantile=0.25)


def window(role: TunableRole, value: int, name: str = "", song: int | None = None, step: int = 4) -> TimingTunable:
    low = -100 if role == OFFSET else 4
    return TimingTunable("1.0", name or role, role, value, low, 200, step, "ms", 1000.0, song=song)


def tunables(early: int = 40, late: int = 40, offset: int = 0) -> list[TimingTunable]:
    return [window(EARLY, early), window(LATE, late), window(OFFSET, offset)]


def hands(players: int = 16, notes: int = 150, bias: float = 0.0, seed: int = 1, spreads=(40.0,), lapse: float = 0.04):
    """Errors of normal players, the songs one after another; spread differs between players by a tenth."""
    rng = np.random.default_rng(seed)
    player, song, error = [], [], []
    for p in range(players):
        own_bias, own = rng.normal(bias, 8), np.exp(rng.normal(0, 0.1))
        for s, spread in enumerate(spreads):
            player += [p] * notes
            song += [s] * notes
            error += list(np.where(rng.random(notes) < lapse, np.nan, rng.normal(own_bias, own * spread, notes)))
    return np.array(error), np.array(player), np.array(song)


def true_share(low: float, high: float, bias: float = 0.0, spread: float = 40.0, lapse: float = 0.04) -> float:
    wide = np.hypot(spread, 0)
    return (1 - lapse) * (stats.norm.cdf((high - bias) / wide) - stats.norm.cdf((low - bias) / wide))


def best(error, player, song, targets=(MEDIAN,), wishes=None, own=None, **settings):
    """For an audience from which the players were drawn."""
    own = own or tunables()
    notes = timed_notes(error, player=player, song=song, **settings)
    return propose(
        RhythmModel(notes, own, "1.0"), targets, wishes or Changeable(), "Paper Drums", Recruitment.AUDIENCE
    )[0]


def proposed(proposal, own=None):
    values = {t.tunable: t.value for t in own or tunables()}
    return values | {c.tunable: c.proposed for c in proposal.changes}


def test_the_window_that_gives_the_share_is_found_and_the_firmware_can_hold_it():
    error, player, song = hands()
    found = best(error, player, song, early_ms=40, late_ms=40)
    values = proposed(found)
    assert found.advice == Advice.CHANGE
    assert found.chance_better > 0.95
    assert all(c.low <= c.proposed <= c.high and (c.proposed - c.low) % c.step == 0 for c in found.changes)
    low, high = (values["input_offset"] - values["window_early"], values["input_offset"] + values["window_late"])
    assert true_share(low, high) == pytest.approx(0.85, abs=0.03)
    target = found.targets[0]
    assert target.proposed.low95 < target.proposed.low80 < target.proposed.value < target.proposed.high80
    assert target.proposed.low80 - 0.02 < true_share(low, high) < target.proposed.high80 + 0.02
    assert target.observed == pytest.approx(true_share(-40, 40), abs=0.03)


def test_with_windows_frozen_the_offset_goes_to_where_the_presses_are():
    error, player, song = hands(bias=-36)
    frozen = Changeable(allowed=("input_offset",))
    own = tunables(64, 64)
    found = best(error, player, song, wishes=frozen, own=own, early_ms=64, late_ms=64)
    assert [c.tunable for c in found.changes] == ["input_offset"]
    assert proposed(found, own)["input_offset"] == pytest.approx(-36, abs=12)


def test_without_an_offset_the_edges_become_unequal_towards_the_presses():
    error, player, song = hands(bias=-40)
    own = [window(EARLY, 40), window(LATE, 40)]
    found = best(error, player, song, own=own, early_ms=40, late_ms=40)
    values = proposed(found, own)
    assert values["window_early"] >= values["window_late"]
    assert true_share(-values["window_early"], values["window_late"], -40) == pytest.approx(0.85, abs=0.04)


def test_what_is_right_already_is_left_alone():
    error, player, song = hands()
    own = tunables(64, 64)
    found = best(error, player, song, own=own, early_ms=64, late_ms=64)
    assert found.advice == Advice.CLOSE_ENOUGH


def test_ranges_narrowed_by_the_designers_hold():
    error, player, song = hands()
    wishes = Changeable(frozen=("input_offset",), ranges={"window_early": (4, 48), "window_late": (4, 52)})
    found = best(error, player, song, wishes=wishes, early_ms=40, late_ms=40)
    values = proposed(found)
    assert values["window_early"] <= 48
    assert values["window_late"] <= 52
    assert values["input_offset"] == 0


def test_a_console_that_logs_hits_only_is_not_taken_at_its_word():
    """Judging from the hits alone, every window wide enough for them would seem to reach 96 %."""
    error, player, song = hands(players=20, notes=200)
    error[np.abs(error) > 40] = np.nan
    found = best(error, player, song, early_ms=40, late_ms=40)
    values = proposed(found)
    low, high = (values["input_offset"] - values["window_early"], values["input_offset"] + values["window_late"])
    assert true_share(low, high) == pytest.approx(0.85, abs=0.07)
    target = found.targets[0].testers_proposed
    assert target.low95 < true_share(low, high) < target.high95
    assert any("log every press" in w for w in found.warnings)
    honest = best(*hands(players=20, notes=200), early_ms=40, late_ms=40).targets[0].testers_proposed
    assert target.high80 - target.low80 > 1.1 * (honest.high80 - honest.low80)


def test_songs_with_windows_of_their_own_are_set_apart():
    error, player, song = hands(spreads=(28.0, 56.0), notes=120)
    own = [window(EARLY, 40, "e1", 1), window(LATE, 40, "l1", 1), window(EARLY, 40, "e2", 2), window(LATE, 40, "l2", 2)]
    found = best(error, player, song, own=own, early_ms=40, late_ms=40)
    values = proposed(found, own)
    for e, late, spread in [("e1", "l1", 28.0), ("e2", "l2", 56.0)]:
        assert true_share(-values[e], values[late], 0, spread) == pytest.approx(0.85, abs=0.05)
    assert {t.target for t in found.targets} == {"median", "median (song 1)", "median (song 2)"}


def test_two_targets_are_weighed_together():
    error, player, song = hands()
    found = best(error, player, song, targets=(MEDIAN, QUARTER), early_ms=40, late_ms=40)
    assert [t.target for t in found.targets] == ["median", "quarter"]
    assert found.targets[1].proposed.value < found.targets[0].proposed.value


def test_other_outcomes_are_none_of_its_business():
    error, player, song = hands(players=3, notes=20)
    notes = timed_notes(error, player=player, song=song)
    other = Target("finish", Outcome.FINISH, 0.5, 0.05)
    assert (
        propose(RhythmModel(notes, tunables(), "1.0"), [other], Changeable(), "Paper Drums", Recruitment.AUDIENCE) == []
    )


def test_no_press_at_all_is_an_error_that_says_so():
    notes = timed_notes(np.full(10, np.nan))
    with pytest.raises(ValueError, match="no press"):
        RhythmModel(notes, tunables(), "1.0", cut=False)


def test_one_player_gives_a_wide_interval_and_no_crash():
    error, player, song = hands(players=1, notes=60)
    found = best(error, player, song, early_ms=40, late_ms=40)
    target = found.targets[0].proposed
    assert target.high80 - target.low80 > 0.1
    assert np.isfinite([target.low95, target.high95]).all()


def test_those_who_have_played_before_are_not_the_population():
    error, player, song = hands(players=10)
    error[player < 5] /= 4
    notes = timed_notes(error, player=player, song=song, experienced=[True] * 5 + [False] * 5)
    found = observed_hits(notes, "1.0", MEDIAN)
    assert found.players == 5
    assert found.figure == pytest.approx(true_share(-50, 50), abs=0.05)


def test_the_model_recovers_what_made_the_data():
    """12 simulated classes: the class's mean, its spread between players and a song's effect lie where they should, in
    units of the posterior's own doubt (squares average to about 1)."""
    rng = np.random.default_rng(5)
    pulls = []
    for _ in range(12):
        mean = np.array([rng.normal(-20, 20), np.log(rng.uniform(25, 55)), rng.normal(-3, 0.5)])
        sd = np.array([15.0, 0.25, 0.5])
        theta = mean + sd * rng.standard_normal((14, 3))
        effect = rng.normal(0, 0.15)
        player, song = np.repeat(np.arange(14), 160), np.tile(np.repeat([0, 1], 80), 14)
        spread = np.exp(theta[player, 1] + np.where(song == 0, effect, -effect))
        error = theta[player, 0] + spread * rng.standard_normal(len(player))
        error[rng.random(len(player)) < 1 / (1 + np.exp(-theta[player, 2]))] = np.nan
        n = len(player)
        notes = LoggedNotes(
            player, song, np.ones(n), error, np.full(n, -300.0), np.full(n, 300.0), 14, 2, np.zeros(14, bool)
        )
        found = fit(notes, burn=150, keep=250, draws=125)
        means, effects = found.mean, found.song[:, 0, 1] - found.song[:, 1, 1]
        between = np.log(np.linalg.norm(found.root, axis=2))
        pulls.append(
            np.r_[
                (means.mean(0) - mean) / means.std(0),
                (effects.mean() - 2 * effect) / effects.std(),
                (between.mean(0) - np.log(sd)) / between.std(0),
            ]
        )
    square = np.mean(np.square(pulls), axis=0)
    # Chi-squared with 12 degrees of freedom over 12: 99.8 % lies between 0.18 and 2.74.
    assert (square < 2.74).all(), square
    assert (square > 0.15).all(), square


def test_thinning_keeps_every_player_and_song():
    n = 40_000
    player = np.repeat(np.arange(4), n // 4)
    song = np.tile(np.arange(2), n // 2)
    notes = LoggedNotes(player, song, np.ones(n), np.zeros(n), np.zeros(n), np.zeros(n), 4, 2, np.zeros(4, bool))
    few = thinned(notes, 1001)
    assert np.bincount(few.player).tolist() == [250] * 4
    assert set(few.song) == {0, 1}
