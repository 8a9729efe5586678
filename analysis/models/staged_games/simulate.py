"""Plays new people under one posterior draw of the fitted model, to see what a playtest would teach."""

from dataclasses import dataclass, replace

import numpy as np

from analysis.models.data import Cells, Counts, StagedData, Visits
from analysis.models.setting import rules
from analysis.models.staged_games.ages import AGES, by_age
from analysis.models.staged_games.chain import Course
from analysis.models.staged_games.course import course_of
from analysis.models.staged_games.giving_up import MOST_FAILURES
from analysis.models.staged_games.staged import StagedModel


@dataclass
class _Tally:
    """What one person's runs add to the data, row by row."""

    cells: dict[tuple[int, int, int, int, bool, int], list[float]]
    visits: list[tuple[int, int, float, float, bool]]
    rises: np.ndarray
    rise_s: np.ndarray
    quits: np.ndarray
    quit_chances: np.ndarray
    stops: np.ndarray
    stop_chances: np.ndarray
    leaves: np.ndarray  # (1,)


def more_players(model: StagedModel, draw: int, players: int, runs: int, rng: np.random.Generator) -> StagedData:
    """The study's data with `players` new people added, who play `runs` runs each on the present build.

    draw: which posterior draw is taken for the truth.
    """
    data = model.data
    segments = len(data.segments)
    stops = (2, MOST_FAILURES)
    tally = _Tally({}, [], *(np.zeros(n) for n in (segments, segments, 2, 2, stops, stops, 1)))
    rule = rules(model.tunables, data.segments, {}, data.lives_seen)
    first = len(data.players)
    for number in range(players):
        skill = float(rng.standard_normal())
        failures = 0
        for attempt in range(1, runs + 1):
            course = course_of(model, rule, attempt, np.array([draw]), np.array([skill]))
            over, twice, finished = _run(course, first + number, attempt, tally, rng, data)
            if not finished and attempt < runs:
                failures += 1
                kind = (int(twice), min(failures, MOST_FAILURES) - 1)
                tally.stop_chances[kind] += over
                if over and rng.random() < model.stops.chance(failures, twice)[draw]:
                    tally.stops[kind] += 1
                    break
    return _joined(data, tally, players)


def _run(
    course: Course, player: int, attempt: int, tally: _Tally, rng: np.random.Generator, data: StagedData
) -> tuple[bool, bool, bool]:
    """One run: (game over, died twice in its last segment, finished)."""
    lives, tier, tiers = course.start_lives, course.start_tier, data.tiers
    power = 1 + float(course.age[0])
    for j in range(len(course.death)):
        if course.refill[j] == 1:
            lives += 1
        elif course.refill[j] == 2:
            lives = max(lives, course.start_lives)
        pace = float(np.exp(course.spread[0] * rng.standard_normal() - course.spread[0] ** 2 / 2))
        left, here, in_visit, tier_time, age = 1.0, 0, 0.0, 0.0, 0.0
        usual = float(data.usual_s[min(j, len(data.usual_s) - 1)])
        while True:
            clear_s = float(course.clear_s[j, tier, 0]) * pace
            # Of a life from end to end, all of which is so dangerous as its age to this power.
            deaths = clear_s * float(course.death[j, tier, 0]) * (float(course.again[0]) if here else 1.0)
            to_death = ((age**power + rng.exponential(1 / max(deaths, 1e-12))) ** (1 / power) - age) * clear_s
            rise = float(course.rise[j, 0]) if tier + 1 < tiers else 0.0
            leave = float(course.leave[0])
            to_other = rng.exponential(1 / max(rise + leave, 1e-12))
            spent = min(to_death, to_other, left * clear_s)
            through = spent >= left * clear_s
            begun = age * clear_s / usual
            for _, of, time in zip(*by_age(np.array([begun]), np.array([begun + spent / usual])), strict=True):
                cell = tally.cells.setdefault((player, attempt, j, tier, here > 0, int(of)), [0.0, 0.0])
                cell[0] += float(time) * usual
            in_visit += spent
            tier_time += spent * tier
            if tier + 1 < tiers:
                tally.rise_s[j] += spent
            if through:
                tally.visits.append((player, j, tier_time / in_visit, in_visit, True))
                break
            left, age = left - spent / clear_s, age + spent / clear_s
            rises = to_other < to_death and rng.random() * (rise + leave) < rise
            if to_other < to_death and not rises:
                tally.leaves[0] += 1
                tally.visits.append((player, j, tier_time / in_visit, in_visit, False))
                return False, here >= 2, False
            if rises:
                tally.rises[j] += 1
                tier += 1
                continue
            cell[1] += 1
            age = 0.0
            again, here, lives = here > 0, here + 1, lives - 1
            if tier and rng.random() >= course.keep_tier[0]:
                tier -= 1
            quits = lives > 0 and rng.random() < (course.quit_again if again else course.quit_first)[0]
            if lives > 0:
                tally.quit_chances[int(again)] += 1
                tally.quits[int(again)] += quits
            if course.restarts:
                tally.visits.append((player, j, tier_time / in_visit, in_visit, False))
                left, in_visit, tier_time = 1.0, 0.0, 0.0
                if lives <= 0 or quits:
                    return lives <= 0, here >= 2, False
            elif lives <= 0 or quits:
                tally.visits.append((player, j, tier_time / in_visit, in_visit, False))
                return lives <= 0, here >= 2, False
    return False, False, True


def _joined(data: StagedData, tally: _Tally, players: int) -> StagedData:
    build = data.current
    cells = [(p, a, build, j, k, False, d, *v, AGES[n]) for (p, a, j, k, d, n), v in tally.cells.items() if v[0] > 0]
    old, seen, counts = data.cells, data.visits, data.counts

    def joined(column: np.ndarray, new: list) -> np.ndarray:
        return np.concatenate([column, np.array(new, dtype=column.dtype)])

    names = ("player", "attempt", "build", "segment", "tier", "experienced", "again", "alive_s", "deaths", "age")
    merged = Cells(*(joined(getattr(old, n), [row[i] for row in cells]) for i, n in enumerate(names)))
    visits = [(p, build, j, tier, alive, cleared) for p, j, tier, alive, cleared in tally.visits]
    columns = ("player", "build", "segment", "tier", "alive_s", "cleared")
    passed = Visits(*(joined(getattr(seen, n), [row[i] for row in visits]) for i, n in enumerate(columns)))
    return replace(
        data,
        players=(*data.players, *(f"new {n}" for n in range(players))),
        cells=merged,
        visits=passed,
        counts=Counts(
            counts.rises + tally.rises,
            counts.rise_s + tally.rise_s,
            counts.tier_kept,
            counts.quits + tally.quits,
            counts.quit_chances + tally.quit_chances,
            counts.stops + tally.stops,
            counts.stop_chances + tally.stop_chances,
            counts.leaves + float(tally.leaves[0]),
            counts.alive_s + sum(v[0] for v in tally.cells.values()),
        ),
    )
