"""Findings of playtests in which a sentence, said as it lies near, would be false: of few, of ties, of picked ones."""

import re
from pathlib import Path

import numpy as np
import pytest

from analysis.finding import CERTAINTIES, Finding
from analysis.findings import deaths, games, players, survival, trust
from analysis.findings.deaths.causes_and_stages import _may_be_chance
from analysis.findings.deaths.circumstances import STILL
from analysis.findings.survival import lives
from analysis.findings.survival.curves import grouped
from analysis.findings.survival.progress_through_stages import _least, _Played
from analysis.reader import Columns
from analysis.selection import Selection
from analysis.stats.estimate import FEW_PLAYERS
from dashboard.figures import figure_for
from dashboard.figures.palette import LIGHT
from ingest.study.store import open_study
from tests.analysis.playtest import GAME, Playtest, reader_of
from tests.ingest.studies import dictionary, event, imported, log_of, recorded_at

ROOT = Path(__file__).resolve().parents[2]
ALL = ("begin", "over", "enter", "leave", "alive", "died", "at", "fire")


def found(test: Playtest, folder: Path, *finders, kinds=ALL) -> dict[str, Finding]:
    with test.study(folder, kinds=kinds) as study:
        every = [one for finder in finders for one in finder.find(reader_of(study), Selection(GAME))]
    return {one.id: one for one in every}


def through(test: Playtest, rng, chances: dict[tuple[int, int], float], players: int = 12, runs: int = 3) -> None:
    """Runs through parts of the game (stage, boss) in their order, each cleared with its chance, else game over."""
    for who in range(1, players + 1):
        for _ in range(runs):
            test.event("begin", 1000, who=who)
            for (stage, boss), chance in chances.items():
                test.event("enter", stage=stage, boss=boss)
                if rng.random() >= chance:
                    test.event("died", 4000, x=20, y=20)
                    test.event("over", how=1)
                    break
                test.event("leave", 5000, done=1)
            else:
                test.event("over", how=0)


def test_a_part_that_is_cleared_least_often_is_named_where_that_is_beyond_chance(tmp_path):
    """The boss stops three of four; elsewhere nine of ten get through."""
    test = Playtest()
    through(test, np.random.default_rng(1), {(1, 0): 0.9, (1, 1): 0.25, (2, 0): 0.9})
    funnel = found(test, tmp_path, survival)["survival.funnel"]
    assert "stage 1 boss" in funnel.headline and "may be chance" not in funnel.sentence


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_of_parts_that_are_alike_none_is_said_to_stop_people(seed, tmp_path):
    test = Playtest()
    through(test, np.random.default_rng(seed), {(1, 0): 0.7, (1, 1): 0.7, (2, 0): 0.7, (2, 1): 0.7})
    funnel = found(test, tmp_path, survival)["survival.funnel"]
    assert funnel.headline.count("stage") == 1  # how far runs get, and no more
    assert "cleared least often" in funnel.sentence and "may be chance" in funnel.sentence


def test_a_boss_that_one_run_came_to_does_not_stop_people(tmp_path):
    """Half of 36 runs end in stage 1; one goes on to the boss and ends there."""
    test = Playtest()
    for who in range(1, 13):
        through(test, np.random.default_rng(0), {(1, 0): 0.0 if who % 2 else 1.0}, players=1)
    test.event("begin", 1000, who=1)
    test.event("enter", stage=1)
    test.event("leave", 5000, done=1)
    test.event("enter", stage=1, boss=1)
    test.event("died", 4000, x=20, y=20)
    test.event("over", how=1)
    assert found(test, tmp_path, survival)["survival.funnel"].headline.count("stage") == 1


@pytest.mark.parametrize(("longer", "chance"), [(1.0, True), (8.0, False)])
def test_groups_whose_lives_last_as_long_are_not_told_apart(longer, chance, tmp_path):
    rng, test = np.random.default_rng(4), Playtest()
    for who in range(1, 13):
        for attempt in (1, 2, 3):
            scale = 3 * (longer if attempt == 3 else 1.0)
            test.run(who, [float(min(rng.exponential(scale), 60)) for _ in range(4)], sampled=False)
    sentence = found(test, tmp_path, survival)["survival.by_attempt"].sentence
    assert ("may be chance" in sentence) == chance


def test_groups_in_which_nobody_died_last_alike(tmp_path):
    test = Playtest()
    through(test, np.random.default_rng(0), {(1, 0): 1.0, (2, 0): 1.0})
    sentence = found(test, tmp_path, survival)["survival.by_stage"].sentence
    assert len(re.findall(r"\d s", sentence)) == 2 and "in each group" in sentence


@pytest.mark.parametrize(
    ("second", "unknown", "told"), [(4, 0, True), (9, 0, False), (14, 0, False), (16, 0, False), (4, 14, False)]
)
def test_a_cause_kills_most_only_where_neither_another_nor_the_unknown_ones_may_do_so(second, unknown, told, tmp_path):
    """Sixteen deaths of a beam by eight players; so many of the second cause, and so many of which it is not said."""
    kinds = {
        "begin": ("run_start", {"who": "u8 player"}),
        "died": ("death", {"x": "u8 x", "y": "u8 y", "why": "u8 cause"}),
        "fell": ("death", {"x": "u8 x", "y": "u8 y"}),
        "over": ("run_end", {"how": "u8 ending"}),
    }
    ways = [("died", {"why": 1})] * 16 + [("died", {"why": 2})] * second + [("fell", {})] * unknown
    lines = [dictionary(kinds)]
    for n, (kind, fields) in enumerate(ways):
        lines += [
            event(10_000 * n, "begin", who=1 + n % 8),
            event(10_000 * n + 4000, kind, x=5, y=5, **fields),
            event(10_000 * n + 4000, "over", how=1),
        ]
    with open_study(tmp_path / "study.duckdb") as study:
        imported(study, tmp_path / "a.playlog", lines)
        causes = {f.id: f for f in deaths.find(reader_of(study), Selection("Moth Run"))}["deaths.causes"]
    assert causes.doubtful == (not told)
    assert ("not" in causes.headline or "No " in causes.headline) == (not told)
    if second == 16:
        assert "cause 1 and cause 2" in causes.sentence


def test_half_of_the_shots_were_no_older_than_is_said(tmp_path):
    """All were 500 ms old: none was younger than that."""
    test = Playtest()
    for who in range(1, 9):
        test.run(who, [3.0], age=500)
    sentence = found(test, tmp_path, deaths)["deaths.fairness"].sentence
    assert "Half of the shots were younger" not in sentence and "at most 500 ms" in sentence


def test_lives_too_short_to_stand_still_in_are_not_blamed_on_the_log(tmp_path):
    """Positions five times a second; every life lasts 0.6 s after a wait at the place of the respawn."""
    test = Playtest()
    for who in range(1, 9):
        test.event("begin", 1000, who=who)
        for _ in range(3):
            for _ in range(3):
                test.event("at", 200, x=50, y=50)
            test.event("died", x=50, y=50)
            test.event("alive", 100)
        test.event("fire", x=1, y=1, aim=1)
        test.event("over", how=1)
    circumstances = found(test, tmp_path, deaths)["deaths.circumstances"]
    assert "too seldom" not in circumstances.sentence
    rows = circumstances.tables["circumstances"].set_index("circumstance")
    assert rows.loc[STILL, "of"] == 0 and rows.loc[STILL, "deaths"] == 0


def test_where_the_game_does_not_say_who_takes_aim_nothing_is_said_of_standing_still_under_it(tmp_path):
    kinds = {
        "begin": ("run_start", {"who": "u8 player"}),
        "at": ("position", {"x": "u8 x", "y": "u8 y"}),
        "fire": ("enemy_shot", {"x": "u8 x", "y": "u8 y"}),
        "died": ("death", {"x": "u8 x", "y": "u8 y"}),
        "over": ("run_end", {"how": "u8 ending"}),
    }
    lines = [dictionary(kinds)]
    for who in range(1, 5):
        start = 20_000 * who
        lines += [event(start, "begin", who=who)]
        lines += [event(start + 200 * n, "at", x=50, y=50) for n in range(1, 15)]
        lines += [event(start + 2900, "fire", x=1, y=1), event(start + 3000, "died", x=50, y=50)]
        lines += [event(start + 3000, "over", how=1)]
    with open_study(tmp_path / "study.duckdb") as study:
        imported(study, tmp_path / "a.playlog", lines)
        told = {f.id: f for f in deaths.find(reader_of(study), Selection("Moth Run"))}
    rows = told["deaths.circumstances"].tables["circumstances"] if "deaths.circumstances" in told else None
    assert rows is None or STILL not in set(rows["circumstance"])


def test_a_place_that_may_not_be_deadlier_than_its_time_explains_is_not_headlined(tmp_path):
    """Two players die at one place only; drawn to the others that is once to nine times what the time explains."""
    rng, test = np.random.default_rng(0), Playtest()
    for who in (1, 2):
        for _ in range(6):
            test.run(who, list(rng.uniform(1, 5, 4)))
    places = found(test, tmp_path, deaths)["deaths.places"]
    assert places.facts["hot_cells"] == 1 and places.facts["times_low"] <= 1
    assert places.doubtful and "No place" in places.headline


def blocks(test: Playtest, rng, favourite: float, players: int = 10, runs: int = 3) -> None:
    """Pieces rest evenly in six columns; the pile is highest in the first in `favourite` of the runs, else anywhere."""
    for who in range(1, players + 1):
        for _ in range(runs):
            test.event("begin", 1000, who=who)
            high = 0 if rng.random() < favourite else int(rng.integers(6))
            for n in range(18):
                test.event("piece", 100, shape=n % 3)
                y = 0 if n == 17 else 100
                test.event("rest", 400, x=8 * (high if n == 17 else n % 6), y=y, shape=n % 3)
            test.event("died", x=0, y=0)
            test.event("over", how=1)


@pytest.mark.parametrize(("favourite", "chance"), [(0.0, True), (0.8, False)])
def test_the_pile_that_is_highest_somewhere_may_be_so_by_chance(favourite, chance, tmp_path):
    test = Playtest()
    blocks(test, np.random.default_rng(7), favourite)
    overflow = found(test, tmp_path, games, kinds=("begin", "piece", "rest", "died", "over"))["genres.overflow"]
    assert ("may be chance" in overflow.sentence) == chance
    table = overflow.tables["columns"]
    top = table.loc[table["overflows"].idxmax()]
    raw = (top["overflows"] / table["overflows"].sum()) / (top["pieces"] / table["pieces"].sum())
    assert top["times"] < raw  # drawn to the other columns


def test_a_game_without_deaths_is_not_said_to_have_had_no_overflow(tmp_path):
    test = Playtest()
    blocks(test, np.random.default_rng(7), 0.0, players=4)
    test.lines = [line for line in test.lines if line["kind"] != "died"]
    overflow = found(test, tmp_path, games, kinds=("begin", "piece", "rest", "over"))["genres.overflow"]
    assert "No run ended" not in overflow.sentence and "`death`" in overflow.sentence


def test_a_run_that_was_cut_is_not_one_that_was_played_to_its_end(tmp_path):
    """Of ten runs two were given up, and of eight nobody knows: neither 20 % nor all runs, and it rests on two."""
    test = Playtest()
    for who in range(1, 11):
        test.run(who, [3.0, 2.0], ending=2 if who < 3 else None, last_died=True)
    told = found(test, tmp_path, players, survival)
    quits, ends = told["players.quits"], told["survival.ends"]
    assert quits.estimate.value == 1 and (quits.players, quits.runs) == (2, 2)
    assert quits.certainty == CERTAINTIES[2]
    for one in (quits, ends):
        assert "of the runs are" not in one.headline and "with an end" in one.headline
    assert quits.tables["players"]["runs"].sum() == 2


def test_where_no_run_has_an_end_nobody_is_said_to_have_played_on(tmp_path):
    test = Playtest()
    for who in range(1, 5):
        test.run(who, [3.0], ending=None, last_died=True)
    told = found(test, tmp_path, players, survival)
    assert told["players.quits"].estimate is None and "0 %" not in told["players.quits"].sentence
    assert told["survival.ends"].headline == ""


def test_two_players_who_died_often_are_too_few_and_not_too_seldom_dead(tmp_path):
    test = Playtest()
    for who in (1, 2):
        for life in (2.0, 3.0, 4.0):
            test.run(who, [life, 2.0, 1.0])
    sentence = found(test, tmp_path, players)["players.skill"].sentence
    assert "three players" in sentence and "nobody died" not in sentence


def test_deaths_in_first_attempts_only_are_not_said_to_be_none(tmp_path):
    test = Playtest()
    for who in range(1, 9):
        test.run(who, [2.0, 3.0])
        test.run(who, [9.0], ending=0)
    sentence = found(test, tmp_path, players)["players.learning"].sentence
    assert not sentence.startswith("Nobody died") and "nothing can be said" not in sentence


def test_who_takes_part_is_told_of_the_makers_only_where_they_played(tmp_path):
    test = Playtest()
    test.run(1, [2.0])
    assert "makers" not in found(test, tmp_path, players)["players.groups"].sentence


def test_presses_of_unknown_buttons_are_not_said_to_be_of_the_same_one(tmp_path):
    kinds = {
        "begin": ("run_start", {"who": "u8 player"}),
        "push": ("press", {}),
        "over": ("run_end", {"how": "u8 ending"}),
    }
    lines = [dictionary(kinds)]
    for who in range(1, 5):
        at = 10_000 * who
        lines += [event(at, "begin", who=who), event(at + 500, "push"), event(at + 510, "push")]
        lines += [event(at + 2000, "over", how=0)]
    with open_study(tmp_path / "study.duckdb") as study:
        imported(study, tmp_path / "a.playlog", lines)
        bounce = {f.id: f for f in players.find(reader_of(study), Selection("Moth Run"))}["console.bounce"]
    assert bounce.estimate.value == 0.5 and "same button" not in bounce.sentence


def test_a_run_without_an_end_among_others_is_not_blamed_on_the_console_alone(tmp_path):
    """The console went on: the next run began without a reset. Some games log an end only at game over."""
    test = Playtest()
    for who in range(1, 5):
        test.run(who, [3.0], ending=None if who == 2 else 1)
    ends = found(test, tmp_path, trust)["trust.endings"]
    assert ends.tables["endings"].set_index("ending").loc["cut", "runs"] == 1
    assert "does not log every end" in ends.sentence


def test_what_is_counted_in_the_logs_is_sure_however_few_played(tmp_path):
    test = Playtest()
    test.run(1, [2.0])
    told = found(test, tmp_path, trust, survival)
    assert told["trust.verdict"].certainty == CERTAINTIES[0]
    assert told["survival.curve"].certainty == CERTAINTIES[2]
    for one in ("trust.damaged", "trust.endings"):
        assert "1 run" not in told[one].sentence


def test_one_number_of_players_parts_what_is_indicative_wherever_it_is_said():
    terms = (ROOT / "analysis/methods/terms.toml").read_text(encoding="utf-8")
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    json = (ROOT / "dashboard/JSON.md").read_text(encoding="utf-8")
    assert all(f"fewer than {FEW_PLAYERS} players" in one for one in (terms, json))
    assert {8: "than eight players"}[FEW_PLAYERS] in " ".join(readme.split())


def test_a_game_that_logs_no_deaths_is_not_said_to_have_had_none(tmp_path):
    """Runs with an end and nothing else: the rate of death is not 0, and what is drawn is what was finished."""
    test = Playtest()
    for who in range(1, 9):
        for new in (1, 0):
            test.event("begin", 1000, who=who, new=new)
            test.event("over", 4000, how=0 if who % 2 else None if who == 8 else 2)
    test.lines = [line for line in test.lines if line.get("how", 0) is not None]
    told = found(test, tmp_path, players, kinds=("begin", "over"))
    groups = told["players.groups"].tables["groups"]
    assert groups["rate_per_min"].isna().all()
    # Of eight runs in each group four were finished, and of one nobody knows.
    assert groups["finished"].tolist() == pytest.approx([4 / 7, 4 / 7])
    assert told["players.skill"].tables["players"]["rate_per_min"].isna().all()
    figure = figure_for(told["players.groups"], LIGHT)
    assert np.asarray(figure.data[0].x, float) == pytest.approx([100 * 4 / 7] * 2)


def test_the_commonest_cause_is_one_by_chance_in_at_most_one_playtest_of_twenty():
    """Three causes that are alike; players differ in what they die of."""
    rng, told = np.random.default_rng(3), 0
    for _ in range(150):
        player = np.repeat(np.arange(10), 12)
        own = rng.dirichlet([4.0, 4.0, 4.0], 10)
        cause = np.array([rng.choice(3, p=own[who]) for who in player], float)
        told += not _may_be_chance(cause, player, np.argsort(-np.bincount(cause.astype(int), minlength=3)))
    assert told <= 0.05 * 150 + 3 * np.sqrt(150 * 0.05 * 0.95)


@pytest.mark.parametrize("timed", [False, True])
def test_who_began_with_which_build_is_said_only_where_it_is_known(timed, tmp_path):
    """Eight play two builds; of the logs nothing tells which came first, or their sidecars do."""
    rng = np.random.default_rng(5)
    kinds = {
        "begin": ("run_start", {"who": "u8 player"}),
        "died": ("death", {}),
        "over": ("run_end", {"how": "u8 ending"}),
    }
    with open_study(tmp_path / "study.duckdb") as study:
        for day, firmware in ((1, "1.0"), (2, "2.0")):
            lines = [dictionary(kinds, firmware=firmware)]
            for who in range(1, 9):
                start, end = 60_000 * who, 60_000 * who + int(rng.uniform(2000, 9000))
                lines += [event(start, "begin", who=who), event(end, "died"), event(end, "over", how=1)]
            path = tmp_path / f"{firmware}.playlog"
            path.write_bytes(log_of(lines))
            if timed:
                recorded_at(path, f"2026-03-0{day}T10:00:00Z", (0.0, 0), (700.0, path.stat().st_size))
            imported(study, path, path.read_bytes())
        builds = {f.id: f for f in survival.find(reader_of(study), Selection("Moth Run"))}["survival.builds"]
    assert any("began with" in warning for warning in builds.warnings) == timed
    assert any("not known which" in warning for warning in builds.warnings) == (not timed)
    assert builds.estimate.low <= 0 <= builds.estimate.high and "may be chance" in builds.sentence


def test_of_groups_that_are_alike_the_least_and_the_most_differ_in_at_most_one_playtest_of_twenty():
    """Five groups, each of the same ten players: of ten pairs the two farthest apart are picked."""
    rng, told = np.random.default_rng(5), 0
    player, group = (np.repeat(a.ravel(), 3) for a in np.indices((10, 5)))
    names = np.array([f"g{n}" for n in range(5)])[group]
    died = np.ones(player.size, bool)
    for _ in range(300):
        duration = rng.exponential(5, player.size) * rng.lognormal(0, 0.3, 10)[player]
        of_groups = grouped(duration, died, player, names)[1]
        told += not lives._may_be_chance(of_groups, duration, died, player, names)
    assert told <= 0.05 * 300


def test_of_parts_that_are_alike_one_stops_people_in_at_most_one_playtest_of_twenty():
    """Ten parts, each cleared in seven of ten visits by players who are alike; the one cleared least is picked."""
    rng, told = np.random.default_rng(6), 0
    player, stage = (np.repeat(a.ravel(), 3) for a in np.indices((10, 10)))
    for _ in range(300):
        done = rng.random(player.size) < 0.7
        visit = Columns(
            {
                "stage": stage,
                "stage_kind": np.zeros(player.size, int),
                "outcome": np.where(done, "cleared", "died_out").astype(object),
                "player": player.astype(str).astype(object),
            }
        )
        rows = [
            {"stage": n, "stage_kind": 0, "name": f"stage {n}", "clear": done[stage == n].mean(), "quit_at_death": 0}
            for n in range(10)
        ]
        told += bool(_least(rows, _Played(visit))[1])
    assert told <= 0.05 * 300
