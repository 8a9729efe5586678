"""Falling blocks, single shots, and tunables whose effect nothing knows, each from a log to a proposal."""

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from scipy.special import expit

from analysis.models.audience import LIKE_TESTERS
from analysis.models.data import ENDINGS
from analysis.models.observed import observed_staged
from analysis.models.staged_games.simulate import more_players
from analysis.models.staged_games.staged import fit_staged
from analysis.models.staged_games.staged_words import most_deaths
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning.target_file import read_targets
from analysis.tuning_answers.staged_data import load_staged
from analysis.tuning_answers.tuning_answer import fit_game, propose_game, under_other_assumptions
from ingest.encode import encode_lines
from ingest.study.store import import_log, open_study
from ingest.vocabulary import Recruitment


def study_of(lines, tmp_path, name):
    log = tmp_path / f"{name}.playlog"
    log.write_bytes(b"".join(encode_lines(json.dumps(line) for line in lines)))
    with open_study(tmp_path / "s.duckdb") as study:
        import_log(study, log)
    return tmp_path / "s.duckdb"


def ask(study, game, targets):
    """Proposals; the people of these games are drawn from the audience, and the targets say so."""
    drawn = replace(read_targets(targets), testers=Recruitment.AUDIENCE)
    with open_study(study, read_only=True) as opened:
        return propose_game(Reader(opened.connection), Selection(game), drawn)


def kind(name, role, *fields):
    return {"name": name, "role": role, "fields": [{"name": f, "type": "u8", "role": f} for f in fields]}


def shots(speed, players, rng, first=1, level=1.0, slope=-2.5, at=80):
    """Each player: three runs of 15 shots; logit p = level + u + slope ln(speed / at)."""
    head = {
        "game": "Kettle Toss",
        "firmware": "1",
        "clock": 1000,
        "screen": [160, 128],
        "kinds": [
            kind("begin", "run_start", "player"),
            kind("toss", "trial", "success", "speed"),
            kind("end", "run_end", "ending"),
        ],
        "tunables": [
            {"name": "pace", "role": "target_speed", "value": speed, "min": 20, "max": 200, "step": 5, "unit": "px_s"}
        ],
    }
    lines, t = [{"dictionary": head}], 1000
    for player in range(players):
        u = 0.5 * rng.standard_normal()
        for _ in range(3):
            lines.append({"t": t, "kind": "begin", "player": first + player})
            for _ in range(15):
                t += 900
                hit = rng.random() < expit(level + u + slope * np.log(speed / at))
                lines.append({"t": t, "kind": "toss", "success": int(hit), "speed": speed})
            t += 500
            lines.append({"t": t, "kind": "end", "ending": 0})
    return lines


def test_single_shots_two_speeds_teach_the_slope(tmp_path):
    rng = np.random.default_rng(1)
    study_of(shots(80, 14, rng), tmp_path, "a")
    study = study_of(shots(120, 14, rng, first=20), tmp_path, "b")
    answer = ask(study, "Kettle Toss", '[[target]]\noutcome="hit_share"\nwanted=0.73\n')
    best = answer.proposals[0]
    (change,) = best.changes
    # logit 0.73 = 1.0: the truth is 80 px_s, where a median player has level 1.0.
    assert change.now == 120 and 70 <= change.proposed <= 90 and change.proposed % 5 == 0
    assert best.advice == "change" and "data" in best.carried_by["pace"]
    said = best.targets[0].now
    assert said.low95 < expit(1 - 2.5 * np.log(1.5)) < said.high95


def test_assumptions_about_the_speed_matter_where_one_speed_was_played(tmp_path):
    study = study_of(shots(80, 14, np.random.default_rng(1)), tmp_path, "a")
    targets = read_targets('[[target]]\noutcome="hit_share"\nwanted=0.5\n')
    with open_study(study, read_only=True) as opened:
        reader, selection = Reader(opened.connection), Selection("Kettle Toss")
        answer = propose_game(reader, selection, targets)
        rows = under_other_assumptions(answer, targets)
    plain, half, loose, *_ = rows
    assert answer.proposals[0].changes and plain.then.value < plain.now.value - 0.05
    # Speed that matters half as much takes half as much away; a looser prior makes a wider interval.
    assert half.now.value - half.then.value < 0.7 * (plain.now.value - plain.then.value)
    assert loose.then.high80 - loose.then.low80 > plain.then.high80 - plain.then.low80


def test_a_streaks_chance_is_the_product_of_its_shots(tmp_path):
    """With one skill for all and no learning, P(streak >= n) = p^n."""
    rng = np.random.default_rng(2)
    study = study_of(shots(80, 40, rng, slope=0.0, level=1.5), tmp_path, "a")
    text = '[[target]]\noutcome="streak"\nlength=4\nwanted=0.4\n[[target]]\noutcome="streak"\nwanted=4\n'
    with open_study(study, read_only=True) as opened:
        fitted, _ = fit_game(Reader(opened.connection), Selection("Kettle Toss"), read_targets(text))
    model, targets = fitted[0].for_audience(LIKE_TESTERS), read_targets(text).targets
    skills = np.random.default_rng(3).standard_normal(200_000)
    draw = 3
    p = expit(model.posterior.beta[draw, 0] + model.posterior.sigma[draw] * skills)
    share, median = model.figures({}, targets)[:, draw]
    assert share == pytest.approx((p**4).mean(), abs=0.01)
    lengths = np.random.default_rng(4).geometric(1 - p) - 1
    assert abs(median - np.median(lengths)) <= 1


def blocks(interval, players, rng, first=1, leave=0.0):
    """Levels 1 to 8 of 30 s each; the pile overflows at a hazard that goes with the blocks' speed.

    leave: quits a second.
    """
    head = {
        "game": "Attic Pile",
        "firmware": "1",
        "clock": 1000,
        "screen": [160, 128],
        "kinds": [
            kind("begin", "run_start", "player", "level"),
            kind("up", "level", "level"),
            kind("full", "death", "level"),
            kind("end", "run_end", "ending"),
        ],
        "tunables": [
            {
                "name": f"drop_{n}",
                "role": "drop_interval",
                "value": interval // n,
                "min": 20,
                "max": 3000,
                "step": 10,
                "unit": "ms",
                "scope": {"level": n},
            }
            for n in range(1, 9)
        ],
    }
    lines, t = [{"dictionary": head}], 1000.0
    for player in range(players):
        u = 0.4 * rng.standard_normal()
        for attempt in range(2):
            lines.append({"t": int(t), "kind": "begin", "player": first + player, "level": 1})
            for level in range(1, 9):
                wait = rng.exponential(1 / (0.003 * level * 1000 / interval * np.exp(u) * (1 + attempt) ** -0.1))
                bored = rng.exponential(1 / leave) if leave else np.inf
                t += 1000 * min(wait, bored, 30)
                if bored < min(wait, 30):
                    break
                if wait < 30:
                    lines.append({"t": int(t), "kind": "full", "level": level})
                    break
                if level < 8:
                    lines.append({"t": int(t), "kind": "up", "level": level + 1})
            lines.append({"t": int(t), "kind": "end", "ending": 2 if bored < min(wait, 30) else 1 if wait < 30 else 0})
            t += 2000
    return lines


def test_falling_blocks_slower_blocks_reach_higher(tmp_path):
    rng = np.random.default_rng(5)
    study = study_of(blocks(700, 16, rng), tmp_path, "a")
    answer = ask(study, "Attic Pile", '[[target]]\noutcome="level_reached"\nlevel=6\nwanted=0.7\n')
    best = answer.proposals[0]
    assert {c.role for c in best.changes} == {"drop_interval"}
    assert all(c.proposed > c.now for c in best.changes)
    assert best.targets[0].proposed.value > best.targets[0].now.value
    median = ask(study, "Attic Pile", '[[target]]\noutcome="level_reached"\nwanted=5\n').proposals[0]
    assert median.targets[0].unit == "levels"
    assert 1 <= median.targets[0].now.value <= 8.5
    survive = ask(study, "Attic Pile", '[[target]]\noutcome="survive"\nseconds=60\nwanted=0.7\n').proposals[0]
    seen = survive.targets[0].observed
    assert survive.targets[0].now.low95 <= seen <= survive.targets[0].now.high95


def test_who_quits_without_dying_does_not_get_further(tmp_path):
    """Many leave out of boredom: the share that is predicted to reach a level is the share that did."""
    study = study_of(blocks(1500, 60, np.random.default_rng(9), leave=0.008), tmp_path, "a")
    with open_study(study, read_only=True) as opened:
        data = load_staged(Reader(opened.connection), Selection("Attic Pile"))
    quits = int((data.runs.ending == ENDINGS.index("quit")).sum())
    assert data.counts.leaves == quits > 40 and data.counts.quits.sum() == 0
    model = fit_staged(data)
    for level in (3, 5, 7):
        wish = f'[[target]]\noutcome="level_reached"\nlevel={level}\nwanted=0.5\n'
        target = read_targets(wish).targets[0]
        said = float(np.median(model.figures({}, [target])[0]))
        # Without the quits it would be higher by a factor of exp(0.008 x 30 s) a level.
        assert said == pytest.approx(observed_staged(data, target).figure, abs=0.08)
    assert np.median(model.leave) == pytest.approx(0.008, rel=0.3)
    again = more_players(model, 0, 40, 2, np.random.default_rng(1))
    assert again.counts.leaves > data.counts.leaves + 15


def test_an_unknown_tunable_gets_a_plain_line_between_builds_and_is_called_so(tmp_path):
    rng = np.random.default_rng(6)

    def runs(gravity, share, first):
        head = {
            "game": "Well Dive",
            "firmware": "1",
            "clock": 1000,
            "screen": [160, 128],
            "kinds": [kind("begin", "run_start", "player"), kind("hurt", "death"), kind("end", "run_end", "ending")],
            "tunables": [{"name": "gravity", "value": gravity, "min": 1, "max": 20, "unit": "px"}],
        }
        lines, t = [{"dictionary": head}], 1000
        for player in range(24):
            won = rng.random() < share
            lines += [{"t": t, "kind": "begin", "player": first + player}]
            if not won:
                lines += [{"t": t + 20_000, "kind": "hurt"}]
            lines += [{"t": t + 20_000, "kind": "end", "ending": 0 if won else 1}]
            t += 25_000
        return lines

    study_of(runs(4, 0.85, 1), tmp_path, "a")
    study = study_of(runs(12, 0.2, 40), tmp_path, "b")
    text = '[[target]]\noutcome="finish"\nwanted=0.55\n'
    answer = ask(study, "Well Dive", text)
    line = next(p for p in answer.proposals if p.method == "tuning.between_builds")
    (change,) = line.changes
    assert change.tunable == "gravity" and 5 <= change.proposed <= 11
    assert "plain" in line.carried_by["gravity"]
    assert any("plain dose-response" in said for said in line.assumptions)
    rows = [r for r in under_other_assumptions(answer, read_targets(text)) if "gravity" in r.assumption]
    plain, loose, flat = rows
    assert plain.then.value == pytest.approx(line.targets[0].proposed.value, abs=0.02)
    steps = [row.then.value - row.now.value for row in (flat, plain, loose)]
    assert 0.1 < steps[0] + 0.05 < steps[1] < steps[2]


def in_stages(game, lives):
    """The dictionary of a game in stages that logs neither causes nor places."""
    return {
        "game": game,
        "firmware": "1",
        "clock": 1000,
        "screen": [160, 128],
        "kinds": [
            kind("begin", "run_start", "player"),
            kind("stage", "stage_start", "stage"),
            kind("over", "stage_end", "cleared"),
            kind("fell", "death"),
            kind("end", "run_end", "ending"),
        ],
        "tunables": [{"name": "lives", "role": "start_lives", "value": lives, "min": 1, "max": 9}],
    }


def test_a_stage_that_begins_anew_after_each_death_is_noticed(tmp_path):
    """One stage of 30 s, three lives, each from the start: P(finish) = 1 - (1 - exp(-0.9))^3 = 0.79."""
    rng = np.random.default_rng(7)
    head = in_stages("Ladder Rush", 3)
    lines, t = [{"dictionary": head}], 1000.0
    for player in range(30):
        for _ in range(2):
            lines.append({"t": int(t), "kind": "begin", "player": player + 1})
            won = False
            for _ in range(3):
                lines.append({"t": int(t), "kind": "stage", "stage": 1})
                wait = rng.exponential(1 / 0.03)
                t += 1000 * min(wait, 30)
                won = wait >= 30
                lines.append({"t": int(t), "kind": "over" if won else "fell"} | ({"cleared": 1} if won else {}))
                if won:
                    break
                t += 1000
            lines.append({"t": int(t), "kind": "end", "ending": 0 if won else 1})
            t += 2000
    study = study_of(lines, tmp_path, "a")
    with open_study(study, read_only=True) as opened:
        data = load_staged(Reader(opened.connection), Selection("Ladder Rush"))
    assert data.restarts
    answer = ask(study, "Ladder Rush", '[[target]]\noutcome="finish"\nwanted=0.6\n')
    now = answer.proposals[0].targets[0].now
    assert now.low95 < 0.79 < now.high95
    assert now.value == pytest.approx(0.79, abs=0.1)
    assert answer.proposals[0].changes[0].proposed == 2  # 1 - (1 - exp(-0.9))^2 = 0.65


def drizzle_of_pins(players, rng, before, after, stage_s=30.0, lives=4):
    """Three runs each through two stages, all people alike; deaths a second before and after a first one in a stage."""
    head = in_stages("Pin Drizzle", lives)
    lines, t, finished = [{"dictionary": head}], 1000.0, 0
    for player in [player for player in range(players) for _ in range(3)]:
        lines.append({"t": int(t), "kind": "begin", "player": player + 1})
        left = lives
        for stage in (1, 2):
            lines.append({"t": int(t), "kind": "stage", "stage": stage})
            rest, danger = stage_s, before
            while left and rest > 0:
                wait = rng.exponential(1 / danger)
                t += 1000 * min(wait, rest)
                rest -= wait
                if rest > 0:
                    left, danger = left - 1, after
                    lines.append({"t": int(t), "kind": "fell"})
            if not left:
                break
            lines.append({"t": int(t), "kind": "over", "cleared": 1})
        finished += left > 0
        lines.append({"t": int(t), "kind": "end", "ending": 0 if left else 1})
        t += 2000
    return lines, finished / (3 * players)


def test_where_one_death_follows_another_the_prediction_knows_it(tmp_path):
    """Rare first deaths, each followed by many: a danger that is even over the stage would be far off.

    The same people's runs are the truth. They are alike, so that no difference between people explains the clusters.
    """
    lines, finished = drizzle_of_pins(100, np.random.default_rng(4), 0.012, 0.12)
    study = study_of(lines, tmp_path, "a")
    with open_study(study, read_only=True) as opened:
        data = load_staged(Reader(opened.connection), Selection("Pin Drizzle"))
    cells = data.cells
    rate = [cells.deaths[cells.again == again].sum() / cells.alive_s[cells.again == again].sum() for again in (0, 1)]
    assert rate == pytest.approx([0.012, 0.12], rel=0.15)
    model = fit_staged(data)
    factor = np.exp(model.hazard.effect("again"))
    assert 5 < np.mean(factor) < 11
    [target] = read_targets('[[target]]\noutcome = "finish"\nwanted = 0.8\n').targets
    said = model.figures({}, [target])[0].mean()
    assert said == pytest.approx(finished, abs=0.04)
    cells.again[:], cells.age[:] = False, 1.0
    assert fit_staged(data).figures({}, [target])[0].mean() > finished + 0.06


def test_the_worst_visit_of_ten():
    """Where a death changes nothing, the Poisson quantile; else what 100,000 visits show that were drawn one by one."""
    for mean in (0.0, 0.1, 0.5, 1.0, 3.0, 12.0):
        assert most_deaths(mean, 1.0) == stats.poisson.ppf(0.9, mean)
    rng = np.random.default_rng(8)
    for rate, again in ((0.8, 3.0), (2.5, 0.4)):
        first = rng.exponential(1 / rate, 100_000)
        deaths = np.where(first < 1, 1 + rng.poisson(again * rate * np.maximum(1 - first, 0)), 0)
        worst = np.quantile(deaths, 0.9, method="inverted_cdf")
        assert most_deaths(float(deaths.mean()), again) == worst
