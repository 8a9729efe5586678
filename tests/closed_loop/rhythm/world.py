"""Simulated rhythm worlds, richer than the model that judges them: charts, hands, a console, and the log it writes.

Hands follow Wing & Kristofferson 1973 (Perception & Psychophysics 14:5-12): a timekeeper and motor delays, here with
linear phase correction (Vorberg & Schulze 2002, J. Math. Psych. 46:56-87), so errors are correlated and not normal.
On top: bursts of lapses, slips far off, tempo drift, a passage written late, fatigue along the song, learning over
attempts, harder songs, double presses, polling, latency, and players who give up when they miss too often.
"""

from dataclasses import dataclass, replace

import numpy as np

from ingest.wire.dictionary_json import from_json
from ingest.wire.encoder import Encoder

CLOCK = 1000  # ticks a second: what a student's console has


@dataclass(frozen=True)
class Song:
    number: int
    due_ms: np.ndarray
    lane: np.ndarray
    shift_ms: np.ndarray  # a passage written late: the music is there earlier
    spread: float  # factor on the player's spread
    lapse: float  # factor on the player's lapses


@dataclass(frozen=True)
class World:
    songs: tuple[Song, ...]
    bias_ms: float
    bias_sd: float
    log_spread: float
    log_spread_sd: float
    lapse: float
    lapse_sd: float  # of its logit
    beginners: float  # share of players with spread and lapses larger
    learning: float  # exponent of the attempt on the spread
    fatigue: float  # growth of the spread to the end of the song
    drift_ppm: float
    slips: float
    correction: float
    latency_ms: float
    poll_ms: float
    early_ms: int
    late_ms: int
    offset_ms: int
    quitting: float
    logs_outside: bool
    rare_notes: bool = False


@dataclass(frozen=True)
class Player:
    bias_ms: float
    spread_ms: float
    lapse: float


def draw_world(rng: np.random.Generator, logs_outside: bool = True) -> World:
    """A world at random; its window is anything from far too narrow to far too wide."""
    songs = tuple(_song(rng, number) for number in range(1, int(rng.integers(1, 4)) + 1))
    spread = float(rng.uniform(22, 55))
    return World(
        songs,
        float(rng.normal(-25, 15)),
        float(rng.uniform(6, 25)),
        float(np.log(spread)),
        float(rng.uniform(0.12, 0.4)),
        float(rng.choice([0.01, 0.03, 0.06])),
        float(rng.uniform(0.2, 0.9)),
        float(rng.choice([0, 0, 0.25])),
        float(rng.uniform(-0.2, 0.0)),
        float(rng.uniform(0, 0.3)),
        float(rng.choice([0, 0, 200, -300])),
        float(rng.choice([0.0, 0.01, 0.03])),
        float(rng.uniform(0.2, 0.8)),
        float(rng.choice([0, 10, 25, 60])),
        float(rng.choice([1, 5, 17])),
        int(rng.uniform(0.6, 2.4) * spread),
        int(rng.uniform(0.6, 2.4) * spread),
        int(rng.choice([0, 0, -20, 20])),
        float(rng.choice([0.0, 0.3])),
        logs_outside,
    )


def _song(rng: np.random.Generator, number: int) -> Song:
    beat = 60_000 / rng.uniform(85, 150)
    steps = rng.choice([0.5, 1, 1, 1, 2], int(rng.integers(60, 160)))
    due = 2000 + np.cumsum(steps * beat)
    lane = rng.integers(0, 3, len(due))
    shift = np.zeros(len(due))
    if rng.random() < 0.3:
        first = int(rng.integers(0, len(due) - 20))
        shift[first : first + int(len(due) * 0.15)] = -rng.uniform(15, 45)
    return Song(
        number, np.rint(due), lane, shift, float(np.exp(rng.normal(0, 0.12))), float(np.exp(rng.normal(0, 0.4)))
    )


def draw_player(world: World, rng: np.random.Generator) -> Player:
    worse = rng.random() < world.beginners
    logit = np.log(world.lapse / (1 - world.lapse)) + world.lapse_sd * rng.standard_normal() + 0.8 * worse
    # A little heavier than normal between players.
    scale = world.log_spread_sd * rng.standard_t(8) * np.sqrt(6 / 8) + 0.4 * worse
    return Player(
        world.bias_ms + world.bias_sd * rng.standard_normal(),
        float(np.exp(world.log_spread + scale)),
        1 / (1 + np.exp(-logit)),
    )


def taps(world: World, player: Player, song: Song, attempt: int, rng: np.random.Generator) -> np.ndarray:
    """Press times in ms as the console sees them; NaN where the player did not press."""
    n = len(song.due_ms)
    along = song.due_ms / song.due_ms[-1]
    scale = player.spread_ms * song.spread * attempt**world.learning * (1 + world.fatigue * (along - 0.5))
    # Timekeeper and motor noise in the ratio 2:1; the stationary spread of the asynchrony is set to 1.
    a, b = 1 - world.correction, rng.standard_normal((2, n + 1))
    walk, now = np.empty(n), 0.0
    variance = (2 / 3 + 2 * (1 / 3) * (1 - a)) / max(1 - a * a, 0.05) if a < 1 else 1.0
    for k in range(n):
        now = a * now + np.sqrt(2 / 3) * b[0, k] + np.sqrt(1 / 3) * (b[1, k + 1] - b[1, k])
        walk[k] = now
    error = player.bias_ms + scale * walk / np.sqrt(variance) + song.shift_ms + world.drift_ppm * song.due_ms / 1e6
    error += np.where(rng.random(n) < world.slips, rng.laplace(0, 70, n), 0.0)
    at = song.due_ms + error + world.latency_ms
    at = np.ceil((at + rng.uniform(0, world.poll_ms)) / world.poll_ms) * world.poll_ms
    # Lapses come in bursts: a missed note makes the next one more likely missed.
    missed, last = np.zeros(n, bool), False
    chance = np.clip(player.lapse * song.lapse * 0.8, 0, 0.9)
    for k, u in enumerate(rng.random(n)):
        last = u < (0.2 + 0.8 * chance if last else chance)
        missed[k] = last
    at[missed] = np.nan
    return at


def hit_share(
    world: World, early_ms: float, late_ms: float, offset_ms: float, players: int, rng: np.random.Generator
) -> np.ndarray:
    """Each new player's share of hits in the first attempt, all songs played, by the console's own judgement."""
    shares = np.empty(players)
    for i in range(players):
        person = draw_player(world, rng)
        hits = total = 0
        for song in world.songs:
            judged = np.rint(taps(world, person, song, 1, rng)) - offset_ms - song.due_ms
            hits += int(np.sum((judged >= -early_ms) & (judged <= late_ms)))
            total += len(judged)
        shares[i] = hits / total
    return shares


def hit_share_by_setting(
    world: World, settings: list[tuple[float, float, float]], players: int, seed: int
) -> np.ndarray:
    """(settings, players) the same new players under each (early, late, offset)."""
    return np.stack([hit_share(world, *setting, players, np.random.default_rng(seed)) for setting in settings])


def dictionary(world: World) -> dict[str, object]:
    window = {"min": 1, "max": 400, "step": 1, "unit": "ms"}
    return {
        "game": "Paper Drums",
        "firmware": "0.9",
        "clock": CLOCK,
        "screen": [160, 128],
        "kinds": [
            {
                "name": "begin",
                "role": "run_start",
                "fields": [
                    {"name": "who", "type": "u8", "role": "player"},
                    {"name": "first", "type": "u8", "role": "first_time"},
                ],
            },
            {"name": "over", "role": "run_end", "fields": [{"name": "how", "type": "u8", "role": "ending"}]},
            {
                "name": "song",
                "role": "stage_start",
                "fields": [
                    {"name": "place", "type": "u8", "role": "stage"},
                    {"name": "song", "type": "u8", "role": "song"},
                ],
            },
            {"name": "song_over", "role": "stage_end", "fields": [{"name": "ok", "type": "u8", "role": "cleared"}]},
            {
                "name": "due",
                "role": "note",
                "fields": [
                    {"name": "key", "type": "u8", "role": "lane"},
                    {"name": "in_ms", "type": "u16", "role": "ahead", "unit": "ticks"},
                ],
            },
            {"name": "tap", "role": "press", "fields": [{"name": "key", "type": "u8", "role": "lane"}]},
        ],
        "tunables": [
            {"name": "early", "role": "window_early", "value": world.early_ms, **window},
            {"name": "late", "role": "window_late", "value": world.late_ms, **window},
            {
                "name": "offset",
                "role": "input_offset",
                "value": world.offset_ms,
                "min": -150,
                "max": 150,
                "step": 1,
                "unit": "ms",
            },
        ],
    }


def write_log(world: World, people: list[Player], runs_each: np.ndarray, rng: np.random.Generator) -> bytes:
    """The play log of a playtest: each player's runs in turn; each run is all songs, or until it is given up."""
    declared, values = from_json(dictionary(world))
    encoder = Encoder(declared, values)
    out = [encoder.power_up()]
    now = 1000
    for who, person in enumerate(people, 1):
        for attempt in range(1, int(runs_each[who - 1]) + 1):
            quit_ = False
            out.append(encoder.event(now, "begin", {"who": who, "first": int(attempt == 1)}))
            for song in world.songs:
                events, end, quit_ = _play(world, person, song, attempt, rng)
                out.append(encoder.event(now, "song", {"place": song.number, "song": song.number}))
                out += [encoder.event(now + t, kind, fields) for t, kind, fields in events]
                now += end
                out.append(encoder.event(now, "song_over", {"ok": int(not quit_)}))
                if quit_:
                    break
            out.append(encoder.event(now, "over", {"how": 2 if quit_ else 0}))
            now += 3000
            if quit_ and rng.random() < 0.5:
                break
    out.append(encoder.flush())
    return b"".join(out)


def _play(
    world: World, person: Player, song: Song, attempt: int, rng: np.random.Generator
) -> tuple[list[tuple[int, str, dict[str, int]]], int, bool]:
    at = taps(world, person, song, attempt, rng)
    judged = np.rint(at) - world.offset_ms - song.due_ms
    hit = (judged >= -world.early_ms) & (judged <= world.late_ms)
    end, quit_ = int(song.due_ms[-1]) + 600, False
    if world.quitting:
        for k in range(20, len(hit)):
            if hit[k - 16 : k].mean() < 0.35 and rng.random() < world.quitting * 0.1:
                end, quit_ = int(song.due_ms[k]) + 100, True
                break
    events = [
        (int(d) - 500, "due", {"key": int(lane), "in_ms": 500}) for d, lane in zip(song.due_ms, song.lane, strict=True)
    ]
    for k in np.flatnonzero(~np.isnan(at)).tolist():
        if hit[k] or world.logs_outside:
            events.append((int(np.rint(at[k])), "tap", {"key": int(song.lane[k])}))
            if world.logs_outside and rng.random() < 0.01:
                events.append((int(np.rint(at[k])) + 60, "tap", {"key": int(song.lane[k])}))
    events = sorted((e for e in events if 0 <= e[0] <= end), key=lambda e: e[0])
    return events, end, quit_


def without_outside(world: World) -> World:
    """The same world on a console that logs only the presses it accepts."""
    return replace(world, logs_outside=False)
