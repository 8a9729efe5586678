"""Simulated games and people, richer than the model that is judged on them. Imports nothing of analysis/.

Two families, so that what was developed on one can be confirmed on the other:

* `hazard`: a danger a second that bends with the fire rate, grows with fatigue, differs by run as well as by player,
  falls with learning that differs by player, and is uneven within a stage.
* `volley`: enemies fire volleys; each shot is dodged or not by a logistic chance of the player's skill against the
  crowd of shots and their aim; two kinds of people; bosses have hit points that the weapon's tier wears down; players
  are better at bosses or worse; people quit out of frustration that builds up over the run.

A world plays many people at once in ticks of half a second.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

TICK_S = 0.5
MOST_TICKS = 2400


@dataclass(frozen=True)
class Outcome:
    """What became of each person's attempts: arrays (attempts, people); attempts not played are False / NaN."""

    played: np.ndarray
    furthest: np.ndarray  # index of the last segment entered; number of segments when finished
    finished: np.ndarray
    events: list  # (person, attempt, time_s, kind, fields) when recorded
    alive_s: np.ndarray | None = None  # seconds alive, where the family tells them


@dataclass
class World:
    """One game with its public. settings: name -> value now; tunables as the log declares them."""

    family: str
    stages: int
    tunables: list
    truth: dict = field(default_factory=dict)
    plays: Callable[..., Outcome] = field(default_factory=lambda: play)

    @property
    def segments(self) -> list:
        return [(s, b) for s in range(1, self.stages + 1) for b in (0, 1)]

    @property
    def now(self) -> dict:
        return {t["name"]: t["value"] for t in self.tunables}


def draw_world(family: str, seed: int) -> World:
    """A world of a family."""
    rng = np.random.default_rng([seed, {"hazard": 1, "volley": 2}[family]])
    stages = int(rng.integers(2, 5))
    lives = int(rng.integers(2, 6))
    tunables = [
        {"name": "start_lives", "role": "start_lives", "value": lives, "min": 1, "max": 9, "step": 1, "unit": "lives"},
        {
            "name": "refill",
            "role": "lives_refill",
            "value": int(rng.choice([0, 0, 1, 2])),
            "min": 0,
            "max": 2,
            "step": 1,
        },
    ]
    for stage in range(1, stages + 1):
        for boss in (0, 1):
            period = int(round(rng.uniform(500, 1400) * 0.88 ** (stage - 1) / 10) * 10)
            tunables.append(
                {
                    "name": f"fire_{stage}" + ("_boss" if boss else ""),
                    "role": "fire_period",
                    "value": period,
                    "min": 100,
                    "max": 4000,
                    "step": 10,
                    "unit": "ms",
                    "scope": {"stage": stage, "stage_kind": boss},
                }
            )
    n = 2 * stages
    t: dict = {"n": n}
    t["boss"] = np.tile([0, 1], stages)
    t["stage"] = np.repeat(np.arange(1, stages + 1), 2)
    t["period"] = np.array([x["value"] for x in tunables[2:]], dtype=float)
    t["clear_s"] = np.where(t["boss"] == 1, rng.uniform(15, 40, n), rng.uniform(25, 60, n))
    t["clear_sd"] = rng.uniform(0.05, 0.35)
    t["top_tier"] = int(rng.integers(0, 4))
    t["rise"] = rng.uniform(0.01, 0.05)
    t["tier_speed"] = rng.uniform(0.0, 0.15)
    t["tier_safety"] = rng.uniform(-0.05, 0.2)
    t["skill_sd"] = rng.uniform(0.3, 0.9)
    t["learn"] = rng.uniform(0.0, 0.35)
    t["learn_sd"] = rng.uniform(0.0, 0.12)
    t["fatigue"] = rng.uniform(0.0, 0.3)
    t["stop"] = rng.uniform(0.0, 0.25)
    t["quit"] = rng.uniform(-5.5, -3.0)
    t["quit_again"] = rng.uniform(0.0, 1.0)
    t["wanted_deaths"] = rng.uniform(1.0, 4.5)
    if family == "hazard":
        t["exponent"] = rng.normal(1.0, 0.3)
        t["bend"] = rng.normal(0.0, 0.15)
        t["run_sd"] = rng.uniform(0.0, 0.3)
        t["uneven"] = rng.uniform(0.0, 0.8)
        level = np.log(t["wanted_deaths"] / n / t["clear_s"])
        t["level"] = level + np.cumsum(rng.normal(0.08, 0.2, n)) + 0.25 * t["boss"] + rng.normal(0, 0.25, n)
    else:
        t["shots"] = rng.uniform(2, 5)
        t["aimed"] = rng.uniform(0.1, 0.6, n)
        t["crowd"] = rng.uniform(0.3, 1.0)
        t["aim_effect"] = rng.uniform(0.3, 1.2)
        t["boss_skill_sd"] = rng.uniform(0.0, 0.4)
        t["beginners"] = rng.uniform(0.2, 0.7)
        t["gap"] = rng.uniform(0.3, 1.2)
        t["pace_skill"] = rng.uniform(0.0, 0.25)
        per_s = t["shots"] * 1000 / t["period"]
        t["danger"] = np.log(t["wanted_deaths"] / n / t["clear_s"] / per_s) + np.cumsum(rng.normal(0.05, 0.2, n))
    return World(family, stages, tunables, t)


def play(
    world: World,
    people: int,
    attempts: int,
    setting: Mapping[str, int],
    rng: np.random.Generator,
    record: bool = False,
    more_skilled: float = 0.0,
) -> Outcome:
    """Lets new people play. They may stop between attempts; who has finished plays on like everybody else."""
    t = world.truth
    skill = _people(world, people, rng) - more_skilled
    learn = t["learn"] + t["learn_sd"] * rng.standard_normal(people)
    boss_skill = t.get("boss_skill_sd", 0.0) * rng.standard_normal(people)
    events: list = []
    played = np.zeros((attempts, people), dtype=bool)
    furthest = np.full((attempts, people), -1)
    going = np.ones(people, dtype=bool)
    weary = np.zeros(people)
    for attempt in range(attempts):
        played[attempt] = going
        far, twice, over, length = _run(
            world, setting, skill, learn, boss_skill, weary, attempt, going, rng, events if record else None
        )
        furthest[attempt] = np.where(going, far, -1)
        weary += length
        stop = t["stop"] * np.where(twice, 1.5, 1.0)
        going = going & ~(over & (rng.random(people) < stop))
    return Outcome(played, furthest, furthest == t["n"], events)


def _people(world: World, people: int, rng: np.random.Generator) -> np.ndarray:
    t = world.truth
    if world.family == "hazard":
        return t["skill_sd"] * rng.standard_normal(people)
    beginner = rng.random(people) < t["beginners"]
    return np.where(beginner, t["gap"] / 2, -t["gap"] / 2) + 0.6 * t["skill_sd"] * rng.standard_normal(people)


class _Crowd:
    """The people of one attempt who are still in it: arrays of equal length, made shorter as people drop out."""

    def __init__(self, **columns: np.ndarray):
        self.__dict__.update(columns)

    def keep(self, mask: np.ndarray) -> None:
        for name, column in self.__dict__.items():
            self.__dict__[name] = column[mask]


def _danger(world: World, rate: np.ndarray, c: _Crowd) -> np.ndarray:
    """Deaths a second. rate: ln of each segment's fire rate against the world's first setting."""
    t = world.truth
    ratio = rate[c.segment]
    if world.family == "hazard":
        log = t["level"][c.segment] + t["exponent"] * ratio + t["bend"] * ratio**2 + c.skill + c.form
        return np.exp(log - t["tier_safety"] * c.tier) * (1 + t["uneven"] * np.cos(2 * np.pi * c.progress))
    per_s = (t["shots"] * 1000 / t["period"])[c.segment] * np.exp(ratio)
    odds = t["danger"][c.segment] + t["crowd"] * 0.6 * ratio + t["aim_effect"] * (t["aimed"][c.segment] - 0.35)
    odds = odds + c.skill + c.form + c.boss_skill * t["boss"][c.segment] - t["tier_safety"] * c.tier
    return per_s / (1 + np.exp(-odds))


def _run(world, setting, skill, learn, boss_skill, weary, attempt, who, rng, events):  # type: ignore[no-untyped-def]
    """One attempt of everybody in `who`. Returns furthest segment, died twice in the last one, over, seconds."""
    t, people, n = world.truth, len(skill), world.truth["n"]
    period = np.array([setting[x["name"]] for x in world.tunables[2:]], dtype=float)
    rate = np.log(t["period"] / period)
    form = t.get("run_sd", 0.0) * rng.standard_normal(people) - learn * np.log(attempt + 1)
    form = form + t["fatigue"] * weary / 600
    pace = np.exp(t["clear_sd"] * rng.standard_normal((people, n)) - t["clear_sd"] ** 2 / 2)
    pace = pace * np.exp(t.get("pace_skill", 0.0) * skill)[:, None]
    far, twice, length = np.zeros(people, dtype=int), np.zeros(people, dtype=bool), np.zeros(people)
    zero = np.zeros(people, dtype=int)
    c = _Crowd(
        person=np.arange(people),
        skill=skill,
        form=form,
        boss_skill=boss_skill,
        pace=pace,
        tier=zero,
        segment=zero,
        lives=np.full(people, setting["start_lives"]),
        progress=np.zeros(people),
        here=zero,
        anger=np.zeros(people),
    )
    c.keep(who)
    clock = 0.0

    def note(mask: np.ndarray, kind: str, **fields: object) -> None:
        if events is not None:
            for i in np.nonzero(mask)[0]:
                values = {k: int(v[i]) if isinstance(v, np.ndarray) else int(v) for k, v in fields.items()}
                events.append((int(c.person[i]), attempt, clock, kind, values))

    def leave(mask: np.ndarray) -> None:
        ids = c.person[mask]
        far[ids], twice[ids], length[ids] = c.segment[mask], c.here[mask] >= 2, clock

    everybody = np.ones(len(c.person), dtype=bool)
    note(everybody, "begin")
    note(everybody, "stage", number=t["stage"][c.segment], kind_=t["boss"][c.segment], lives=c.lives, tier=c.tier)
    for _ in range(MOST_TICKS):
        if not len(c.person):
            break
        clock += TICK_S
        count = len(c.person)
        chance = rng.random((3, count))
        dies = chance[0] < -np.expm1(-_danger(world, rate, c) * TICK_S)
        c.lives = c.lives - dies
        c.here = c.here + dies
        c.anger = np.where(dies, 0.7 * c.anger + 1, c.anger)
        c.tier = np.where(dies, np.maximum(c.tier - 1, 0), c.tier)
        note(dies, "died", lives=np.maximum(c.lives, 0), tier=c.tier)
        over = dies & (c.lives <= 0)
        push = t["quit_again"] * (c.anger if world.family == "volley" else np.minimum(c.here - 1, 4))
        gives_up = dies & ~over & (chance[1] < 1 / (1 + np.exp(-(t["quit"] + push))))
        note(over, "end", how=1)
        note(gives_up, "end", how=2)
        gone = over | gives_up
        rises = ~dies & (c.tier < t["top_tier"]) & (chance[2] < t["rise"] * TICK_S)
        c.tier = c.tier + rises
        note(rises, "upgrade", tier=c.tier, lives=c.lives)
        slower = np.exp(-0.1 * rate)[c.segment]
        speed = np.exp(t["tier_speed"] * c.tier) * slower
        speed = speed / (t["clear_s"][c.segment] * c.pace[np.arange(count), c.segment])
        c.progress = np.where(dies, c.progress, c.progress + TICK_S * speed)
        clears = ~gone & (c.progress >= 1)
        note(clears, "stage_over", cleared=1)
        c.segment = c.segment + clears
        c.progress = np.where(clears, 0.0, c.progress)
        wins = clears & (c.segment >= n)
        note(wins, "end", how=0)
        leave(gone | wins)
        c.here = np.where(clears, 0, c.here)
        goes_on = clears & ~wins
        new_stage = goes_on & (c.segment % 2 == 0)
        if setting["refill"] == 1:
            c.lives = c.lives + new_stage
        elif setting["refill"] == 2:
            c.lives = np.where(new_stage, np.maximum(c.lives, setting["start_lives"]), c.lives)
        at = np.minimum(c.segment, n - 1)
        note(goes_on, "stage", number=t["stage"][at], kind_=t["boss"][at], lives=c.lives, tier=c.tier)
        if (gone | wins).any():
            c.keep(~(gone | wins))
    leave(np.ones(len(c.person), dtype=bool))
    return far, twice, who & (far < n), length


def figure(
    world: World, target: Mapping, setting: Mapping[str, int], rng: np.random.Generator, people: int = 4000
) -> float:
    """The population's true figure (by playing many people; standard error about 0.8 points at 4,000)."""
    attempts = target.get("attempts", 1)
    out = world.plays(world, people, attempts, setting, rng)
    if target["outcome"] == "finish_within":
        return float(out.finished.any(axis=0).mean())
    if target["outcome"] == "finish":
        return float(out.finished[0].mean())
    return float((out.furthest[0] >= 2 * (target["stage"] - 1)).mean())
