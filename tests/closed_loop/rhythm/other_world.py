"""Rhythm worlds that break what the model takes: far presses, no law of players it knows, difficulty by tempo.

Errors are Student's t with 4 degrees of freedom, or normal with one in twenty far off; the spread is log-normal over
players (sd 0.2 to 0.5), notes left out are 2 to 15 % by player, whatever the spread; fast notes are harder, songs
differ, practice and fatigue act, and players have from one to six runs. Nothing here is taken from `analysis/`.
"""

from dataclasses import dataclass

import numpy as np

from ingest.wire.dictionary_json import from_json
from ingest.wire.encoder import Encoder
from tests.closed_loop.rhythm.world import dictionary

GAP_MS = 500.0  # between notes of common difficulty
LAWS = ("t4", "wide", "anywhere")  # "wide": one in twenty with four times the spread; "anywhere": within 250 ms


@dataclass(frozen=True)
class Song:
    number: int
    due_ms: np.ndarray
    lane: np.ndarray
    hard: np.ndarray  # 1 at GAP_MS, more where notes follow faster
    late_ms: float
    spread: float  # factors on the player's spread and the odds of leaving a note out
    odds: float


@dataclass(frozen=True)
class World:
    songs: tuple[Song, ...]
    law: str
    centre_ms: float
    bias_sd: float
    spread_ms: float
    spread_sd: float  # of its logarithm
    harder: float  # exponents of difficulty and of the attempt
    learning: float
    fatigue: float  # growth of the spread to the end of a run
    few_runs: float  # chance of stopping after each run
    early_ms: int
    late_ms: int
    offset_ms: int


@dataclass(frozen=True)
class Person:
    bias_ms: float
    spread_ms: float
    left_out: float


def draw_world(seed: int) -> World:
    """The world of a seed."""
    rng = np.random.default_rng([seed, 1])
    window = int(rng.integers(30, 81))
    return World(
        tuple(_song(rng, number) for number in range(1, int(rng.integers(1, 5)) + 1)),
        str(rng.choice(LAWS)),
        float(rng.uniform(-40, 40)),
        float(rng.uniform(10, 25)),
        float(rng.uniform(18, 45)),
        float(rng.uniform(0.2, 0.5)),
        float(rng.uniform(0, 0.5)),
        float(rng.uniform(0, 0.25)),
        float(rng.uniform(0, 0.3)),
        float(rng.uniform(0.2, 0.7)),
        window,
        window,
        int(rng.choice([0, 0, -15, 15])),
    )


def _song(rng: np.random.Generator, number: int) -> Song:
    notes, beat = int(rng.integers(20, 81)), GAP_MS * np.exp(rng.normal(0, 0.2))
    gaps = beat * rng.choice([0.5, 1, 1, 1, 2], notes)
    return Song(
        number,
        np.rint(2000 + np.cumsum(gaps)),
        rng.integers(0, 3, notes),
        GAP_MS / gaps,
        float(rng.normal(0, 6)),
        float(np.exp(rng.normal(0, 0.15))),
        float(np.exp(rng.normal(0, 0.4))),
    )


def draw_person(world: World, rng: np.random.Generator) -> Person:
    return Person(
        world.centre_ms + world.bias_sd * rng.standard_normal(),
        world.spread_ms * float(np.exp(world.spread_sd * rng.standard_normal())),
        float(np.exp(rng.uniform(np.log(0.02), np.log(0.15)))),
    )


def presses(
    world: World, person: Person, song: Song, attempt: int, along: float, rng: np.random.Generator
) -> np.ndarray:
    """Press times in ms since the song began; NaN where a note was left out. along: how much of the run is over."""
    n = len(song.due_ms)
    scale = person.spread_ms * song.spread * song.hard**world.harder
    scale = scale * attempt**-world.learning * (1 + world.fatigue * along)
    far = rng.random(n) < 0.05
    error = {
        "t4": scale * rng.standard_t(4, n),
        "wide": scale * np.where(far, 4, 1) * rng.standard_normal(n),
        "anywhere": np.where(far, rng.uniform(-250, 250, n), scale * rng.standard_normal(n)),
    }[world.law]
    odds = person.left_out / (1 - person.left_out) * song.odds * song.hard ** (2 * world.harder)
    odds = odds * attempt**-world.learning
    out = rng.random(n) < odds / (1 + odds)
    return np.where(out, np.nan, np.rint(song.due_ms + person.bias_ms + song.late_ms + error))


def hit_shares(
    world: World, people: list[Person], attempts: list[int], settings: list[tuple[int, int, int]], seed: int
) -> np.ndarray:
    """(settings, people) the share of notes that each hits in the run of that attempt, under (early, late, offset)."""
    rng, shares = np.random.default_rng([seed, 2]), np.empty((len(settings), len(people)))
    for i, (person, attempt) in enumerate(zip(people, attempts, strict=True)):
        played = [
            presses(world, person, song, attempt, k / len(world.songs), rng) - song.due_ms
            for k, song in enumerate(world.songs)
        ]
        judged = [np.concatenate(played) - offset for _, _, offset in settings]
        shares[:, i] = [
            np.mean((j >= -early) & (j <= late)) for j, (early, late, _) in zip(judged, settings, strict=True)
        ]
    return shares


def playtest(world: World, players: int, seed: int) -> tuple[list[Person], list[int]]:
    """The players of a playtest and their numbers of runs."""
    rng = np.random.default_rng([seed, 3])
    people = [draw_person(world, rng) for _ in range(players)]
    return people, [int(min(6, rng.geometric(world.few_runs))) for _ in people]


def write_log(world: World, people: list[Person], runs: list[int], all_presses: bool, seed: int) -> bytes:
    """The play log; the presses are the same whether all or only hits are logged."""
    rng = np.random.default_rng([seed, 4])
    declared, values = from_json(dictionary(world))  # type: ignore[arg-type]
    encoder = Encoder(declared, values)
    out, now = [encoder.power_up()], 1000
    for who, (person, count) in enumerate(zip(people, runs, strict=True), 1):
        for attempt in range(1, count + 1):
            out.append(encoder.event(now, "begin", {"who": who, "first": int(attempt == 1)}))
            for k, song in enumerate(world.songs):
                at = presses(world, person, song, attempt, k / len(world.songs), rng)
                out.append(encoder.event(now, "song", {"place": song.number, "song": song.number}))
                judged = at - world.offset_ms - song.due_ms
                hit = (judged >= -world.early_ms) & (judged <= world.late_ms)
                events = [
                    (int(due) - 500, "due", {"key": int(lane), "in_ms": 500})
                    for due, lane in zip(song.due_ms, song.lane, strict=True)
                ]
                logged = np.flatnonzero(~np.isnan(at) if all_presses else hit)
                events += [(int(at[n]), "tap", {"key": int(song.lane[n])}) for n in logged]
                for t, kind, fields in sorted(events, key=lambda e: e[0]):
                    out.append(encoder.event(now + t, kind, fields))
                now += int(song.due_ms[-1]) + 600
                out.append(encoder.event(now, "song_over", {"ok": 1}))
            out.append(encoder.event(now, "over", {"how": 0}))
            now += 3000
    out.append(encoder.flush())
    return b"".join(out)
