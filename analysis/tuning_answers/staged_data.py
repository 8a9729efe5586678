"""A game played in segments with lives, from the study: runs, time alive, visits and small counts."""

from collections.abc import Iterable

import numpy as np

from analysis.game_kind import read_kind
from analysis.models.data import ENDINGS, Build, Cells, Counts, Runs, Segment, StagedData, Visits
from analysis.models.staged_games.ages import AGES, by_age, usual_s
from analysis.models.staged_games.giving_up import MOST_FAILURES
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.tuning_answers.tuning_data import NothingToTune, experience_of, played_runs, present, whole_numbers
from ingest.vocabulary import EventRole

MOST_TIERS = 6
MOST_SEGMENTS = 60
# Alive for so long since the last death: who quits within is taken to quit because of it.
AT_A_DEATH_S = 3.0


def load_staged(
    reader: Reader, selection: Selection, build: str | None = None, runs_each: int | None = None
) -> StagedData:
    """A game played in segments with lives, from the runs of `selection`. Raises NothingToTune.

    build: label of the build to change; None: that of the last run. runs_each: runs each player was asked for.
    """
    runs, players, player, builds, build_index, current = played_runs(reader, selection, build)
    spells = reader.ask_chosen("tuning_spells", selection)
    by_level = read_kind(reader, selection).by_level
    row_of_run = {int(run): n for n, run in enumerate(runs["run_id"])}
    known = np.array([int(run) in row_of_run for run in spells["run_id"]], dtype=bool)
    if by_level:
        number, boss = whole_numbers(spells["level"], 0), np.zeros(len(known), dtype=int)
    else:
        known &= present(spells["stage"])
        number, boss = whole_numbers(spells["stage"], 1), whole_numbers(spells["stage_kind"], 0)
    if not known.any():
        raise NothingToTune(
            f"no run of {selection.game!r} has time alive in a stage: log an event with the role stage_start "
            "inside each run, or correct the role of the event that begins one (setscrew roles)"
        )
    spells = spells.where(known)
    number, boss = number[known], boss[known]
    finished = bool((runs["ending"] == "finished").any())
    segments = _segments(zip(number.tolist(), boss.tolist(), strict=True), by_level, finished, builds)
    place = {(s.number, s.boss): n for n, s in enumerate(segments)}
    segment = np.array([place.get((a, b), len(segments) - 1) for a, b in zip(number, boss, strict=True)], dtype=int)
    run = np.array([row_of_run[int(r)] for r in spells["run_id"]], dtype=int)
    tier = np.clip(whole_numbers(spells["tier"], 0), 0, MOST_TIERS - 1)
    alive_s = np.maximum(np.asarray(spells["alive_us"], dtype=float), 0) / 1e6
    died = spells["ended_by"] == "death"
    attempt = runs["attempt"].astype(int)
    experienced = experience_of(runs, player)
    again = _died_here(run, segment, died)
    visits = _visits(player, build_index, run, segment, tier, alive_s, spells, by_level, runs)
    usual = usual_s(visits, len(segments))
    age_s = _age_s(run, segment, spells, by_level, alive_s, died)
    cells = _cells(
        player, attempt, build_index, experienced, run, segment, tier, again, alive_s, died, age_s, usual[segment]
    )
    if not len(cells.deaths):
        raise NothingToTune(
            f"no run of {selection.game!r} has any time alive: each lasts 0 s between its start, its deaths and its "
            "end. Check the times that the console logs, and which events have the roles run_start, spawn, death and "
            "run_end (setscrew roles)"
        )
    ending = np.array([ENDINGS.index(e) for e in runs["ending"]], dtype=int)
    repeated = _died_twice(run, died, again, len(ending))
    table = Runs(
        player=player,
        attempt=attempt,
        build=build_index,
        ending=ending,
        furthest=_furthest(run, segment, len(ending)),
        alive_s=np.asarray(runs["alive_us"], dtype=float) / 1e6,
        deaths=runs["deaths"].astype(int),
        experienced=experienced,
        last=_last(player),
        died_twice_here=repeated,
        damaged=runs["damaged"].astype(bool),
    )
    roles = {str(role) for role in reader.ask_chosen("roles", selection)["role"]}
    over = table.deaths[ending == ENDINGS.index("game_over")]
    start = tier[np.unique(run, return_index=True)[1]]
    return StagedData(
        game=selection.game,
        segments=segments,
        players=players,
        builds=tuple(builds.values()),
        current=current,
        runs=table,
        cells=cells,
        visits=visits,
        counts=_counts(run, segment, tier, alive_s, died, again, table, len(segments), runs_each),
        start_tier=int(np.bincount(start).argmax()),
        tiers=int(tier.max()) + 1,
        finish_known=finished,
        lives_seen=int(np.bincount(np.maximum(over, 1)).argmax()) if len(over) else 1,
        restarts=not by_level and _restarts(run, segment, died, spells),
        # The songs of a rhythm game are all stage 1.
        more_stages=EventRole.STAGE_START in roles and EventRole.NOTE not in roles and not finished,
        ends_logged=EventRole.RUN_END in roles,
        usual_s=usual,
    )


def _segments(
    seen: Iterable[tuple[int, int]], by_level: bool, finished: bool, builds: dict[int, Build]
) -> tuple[Segment, ...]:
    """What was seen, and, while nobody has finished, what the tunables' scopes say is still to come."""
    pairs = set(seen)
    if not finished:
        last = max(pairs)
        for tunable in (t for b in builds.values() for t in b.tunables):
            number = tunable.level if by_level else tunable.stage
            kind = 0 if by_level else tunable.stage_kind or 0
            if number is not None and (number, kind) > last:
                pairs.add((number, kind))
    return tuple(Segment(number, boss, by_level) for number, boss in sorted(pairs)[:MOST_SEGMENTS])


def _cells(
    player: np.ndarray,
    attempt: np.ndarray,
    build: np.ndarray,
    experienced: np.ndarray,
    run: np.ndarray,
    segment: np.ndarray,
    tier: np.ndarray,
    again: np.ndarray,
    alive_s: np.ndarray,
    died: np.ndarray,
    age_s: np.ndarray,
    usual: np.ndarray,
) -> Cells:
    spell, age, time = by_age(age_s / usual, (age_s + alive_s) / usual)
    ends = np.append(spell[1:] != spell[:-1], True)
    own = run[spell]
    keys = np.column_stack(
        [player[own], attempt[own], build[own], segment[spell], tier[spell], experienced[own], again[spell], age]
    )
    unique, inverse = np.unique(keys, axis=0, return_inverse=True)
    inverse = inverse.ravel()
    time = np.bincount(inverse, time * usual[spell], minlength=len(unique))
    deaths = np.bincount(inverse, died[spell] & ends, minlength=len(unique))
    keep = time > 0
    who, which, built, where, at_tier, veteran, after, age = unique[keep].T
    return Cells(
        who, which, built, where, at_tier, veteran.astype(bool), after.astype(bool), time[keep], deaths[keep], AGES[age]
    )


def _age_s(
    run: np.ndarray, segment: np.ndarray, spells: Columns, by_level: bool, alive_s: np.ndarray, died: np.ndarray
) -> np.ndarray:
    """How old the life is when each spell begins: alive since the visit's start, or since the last death in it."""
    mark = segment if by_level else spells["stage_id"].astype(int)
    new = np.concatenate([[True], (run[1:] != run[:-1]) | (mark[1:] != mark[:-1]) | died[:-1]])
    before = np.cumsum(alive_s) - alive_s
    return np.maximum(before - before[new][np.cumsum(new) - 1], 0.0)


def _died_here(run: np.ndarray, segment: np.ndarray, died: np.ndarray) -> np.ndarray:
    """Of each spell: was the last death of its run before it in the same segment?"""
    here = np.zeros(len(run), dtype=bool)
    last: dict[int, int] = {}
    for n, (who, where, dies) in enumerate(zip(run.tolist(), segment.tolist(), died.tolist(), strict=True)):
        here[n] = last.get(who) == where
        if dies:
            last[who] = where
    return here


def _visits(
    player: np.ndarray,
    build: np.ndarray,
    run: np.ndarray,
    segment: np.ndarray,
    tier: np.ndarray,
    alive_s: np.ndarray,
    spells: Columns,
    by_level: bool,
    runs: Columns,
) -> Visits:
    mark = segment if by_level else spells["stage_id"].astype(int)
    new = np.concatenate([[True], (run[1:] != run[:-1]) | (mark[1:] != mark[:-1])])
    visit = np.cumsum(new) - 1
    first = np.nonzero(new)[0]
    time = np.bincount(visit, alive_s)
    tiers = np.bincount(visit, alive_s * tier) / np.maximum(time, 1e-12)
    last_of_run = np.concatenate([run[first][1:] != run[first][:-1], [True]])
    later = np.concatenate([segment[first][1:] > segment[first][:-1], [False]]) & ~last_of_run
    finished = (runs["ending"] == "finished")[run[first]] & last_of_run
    said = np.zeros(len(first), dtype=bool)
    if not by_level:
        said = np.array([value is not None and value == value and bool(value) for value in spells["cleared"][first]])
    return Visits(player[run[first]], build[run[first]], segment[first], tiers, time, said | later | finished)


def _furthest(run: np.ndarray, segment: np.ndarray, runs: int) -> np.ndarray:
    furthest = np.zeros(runs, dtype=int)
    np.maximum.at(furthest, run, segment)
    return furthest


def _last(player: np.ndarray) -> np.ndarray:
    last = np.zeros(len(player), dtype=bool)
    last[[int(np.nonzero(player == p)[0][-1]) for p in np.unique(player)]] = True
    return last


def _died_twice(run: np.ndarray, died: np.ndarray, again: np.ndarray, runs: int) -> np.ndarray:
    """Were the last two deaths of each run in one segment?"""
    twice = np.zeros(runs, dtype=bool)
    twice[run[died]] = again[died]  # of the deaths of a run the last one stays
    return twice


def _restarts(run: np.ndarray, segment: np.ndarray, died: np.ndarray, spells: Columns) -> bool:
    """Does the stage mostly begin anew (as a visit of its own) after a death that does not end the run?"""
    visit = spells["stage_id"].astype(int)
    same_run = run[1:] == run[:-1]
    returns = int((same_run & (segment[1:] == segment[:-1]) & (visit[1:] != visit[:-1])).sum())
    going_on = int((same_run & died[:-1]).sum())
    return returns > 0.5 * going_on


def _counts(
    run: np.ndarray,
    segment: np.ndarray,
    tier: np.ndarray,
    alive_s: np.ndarray,
    died: np.ndarray,
    again: np.ndarray,
    runs: Runs,
    segments: int,
    runs_each: int | None,
) -> Counts:
    follows = np.concatenate([run[1:] == run[:-1], [False]])
    next_tier = np.concatenate([tier[1:], [0]])
    rose = follows & ~died & (next_tier > tier)
    below_top = tier < tier.max()
    costly = follows & died & (tier > 0)
    over, quit_ = ENDINGS.index("game_over"), ENDINGS.index("quit")
    final = np.zeros(len(run), dtype=bool)
    last_death: dict[int, int] = {int(run[n]): int(n) for n in np.nonzero(died)[0]}
    quits, chances, leaves = np.zeros(2), np.zeros(2), 0.0
    since_s = np.zeros(len(runs.ending))
    for n in range(len(run)):
        since_s[run[n]] = 0.0 if died[n] else since_s[run[n]] + alive_s[n]
    for n, ending in enumerate(runs.ending):
        if ending == over and n in last_death:
            final[last_death[n]] = True
        if ending == quit_ and n in last_death and since_s[n] <= AT_A_DEATH_S:
            quits[int(again[last_death[n]])] += 1
        elif ending == quit_:
            leaves += 1
    for kind in (0, 1):
        chances[kind] += (died & ~final & (again == bool(kind))).sum()
    stops, stop_chances = _stops(runs, runs_each)
    return Counts(
        rises=np.bincount(segment[rose], minlength=segments).astype(float),
        rise_s=np.bincount(segment[below_top], alive_s[below_top], minlength=segments),
        tier_kept=(int((costly & (next_tier >= tier)).sum()), int(costly.sum())),
        quits=quits,
        quit_chances=chances,
        stops=stops,
        stop_chances=stop_chances,
        leaves=leaves,
        alive_s=float(alive_s.sum()),
    )


def _stops(runs: Runs, runs_each: int | None) -> tuple[np.ndarray, np.ndarray]:
    """Players who played no more after a run that did not finish, though there was time for more."""
    played = np.bincount(runs.player)
    asked = runs_each or int(played.max())
    stops, chances = np.zeros((2, MOST_FAILURES)), np.zeros((2, MOST_FAILURES))
    rank, failures = np.zeros(runs.count, dtype=int), np.zeros(runs.count, dtype=int)
    failed = (runs.ending != ENDINGS.index("finished")) & (runs.ending != ENDINGS.index("cut"))
    for player in range(len(played)):
        own = np.nonzero(runs.player == player)[0]
        rank[own] = np.arange(1, len(own) + 1)
        failures[own] = np.cumsum(failed[own])
    could = failed & (rank < asked)
    where = (runs.died_twice_here.astype(int)[could], np.minimum(failures, MOST_FAILURES)[could] - 1)
    np.add.at(chances, where, 1)
    np.add.at(stops, where, runs.last[could])
    return stops, chances
