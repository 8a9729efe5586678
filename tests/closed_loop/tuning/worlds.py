"""Simulated games and people, richer than the model that is judged on them. Imports nothing of analysis/.

Two families, so that what was developed on one can be confirmed on the other:

* `hazard`: a danger a second that bends with the fire rate, grows with fatigue, differs by run as well as by player,
  falls with learning that differs by player, and is uneven within a stage.
* `volley`: enemies fire volleys; each shot is dodged or not by a logistic chance of the player's skill against the
  crowd of shots and their aim; two kinds of people; bosses have hit points that the weapon's tier wears down; players
  are better at bosses or worse; people quit out of frustration that builds up over the run.

A world plays many people at once in ticks of half a second.
"""

from collections.abc import Mapping
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


@dataclass
class World:
    """One game with its public. settings: name -> value now; tunables as the log declares them."""

    family: str
    stages: int
    tunables: list
    truth: dict = field(default_factory=dict)

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
            "name": "refill", "role": "lives_refill", "value": int(rng.choice([0, 0, 1, 2])), "min": 0, "max": 2,
            "step": 1,
        },
    ]
    for stage in range(1, stages + 1):
        for boss in (0, 1):
            period = int(round(rng.uniform(500, 1400) * 0.88 ** (stage - 1) / 10) * 10)
            tunables.append(
                {
                    "name": f"fire_{stage}" + ("_boss" if boss else ""), "role": "fire_period", "value": period,
                    "min": 100, "max": 4000, "step": 10, "unit": "ms",
                    "scope": {"stage": stage, "stage_kind": boss},
                }
            )  # fmt: skip
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


def _danger(world, setting, segment, tier, skill, boss_skill, form, progress):  # noqa: ANN001, ANN202
    """Deaths a second."""
    t = world.truth
    period = np.array([setting[x["name"]] for x in world.tunables[2:]], dtype=float)
    rate = np.log(t["period"] / period)[segment]
    if world.family == "hazard":
        log = t["level"][segment] + t["exponent"] * rate + t["bend"] * rate**2 + skill + form
        log = log - t["tier_safety"] * tier
        return np.exp(log) * (1 + t["uneven"] * np.cos(2 * np.pi * progress))
    per_s = (t["shots"] * 1000 / period)[segment]
    crowd = t["crowd"] * np.log(per_s / (t["shots"] * 1000 / t["period"])[segment])
    aim = t["aim_effect"] * (t["aimed"][segment] - 0.35)
    odds = t["danger"][segment] + crowd * 0.6 + aim + skill + form + boss_skill * t["boss"][segment]
    odds = odds - t["tier_safety"] * tier
    return per_s / (1 + np.exp(-odds))


def _run(world, setting, skill, learn, boss_skill, weary, attempt, who, rng, events):  # noqa: ANN001, ANN202
    """One attempt of everybody in `who`. Returns furthest segment, died twice in the last one, over, seconds."""
    t, people = world.truth, len(skill)
    n = t["n"]
    lives = np.full(people, setting["start_lives"])
    tier = np.zeros(people, dtype=int)
    segment = np.zeros(people, dtype=int)
    progress = np.zeros(people)
    here = np.zeros(people, dtype=int)
    anger = np.zeros(people)
    alive = who.copy()
    quitted = np.zeros(people, dtype=bool)
    clock = np.zeros(people)
    form = t.get("run_sd", 0.0) * rng.standard_normal(people) - learn * np.log(attempt + 1)
    form = form + t["fatigue"] * weary / 600
    pace = np.exp(t["clear_sd"] * rng.standard_normal((people, n)) - t["clear_sd"] ** 2 / 2)
    pace = pace * np.exp(t.get("pace_skill", 0.0) * skill)[:, None]
    row = np.arange(people)

    def note(mask, kind, **fields):  # noqa: ANN001, ANN003, ANN202
        if events is not None:
            for p in np.nonzero(mask)[0]:
                values = {k: int(v[p]) if isinstance(v, np.ndarray) else int(v) for k, v in fields.items()}
                events.append((int(p), attempt, float(clock[p]), kind, values))

    note(alive, "begin")
    note(alive, "stage", number=t["stage"][segment], kind_=t["boss"][segment], lives=lives, tier=tier)
    for _ in range(MOST_TICKS):
        if not alive.any():
            break
        seg = np.minimum(segment, n - 1)
        danger = _danger(world, setting, seg, tier, skill, boss_skill, form, progress)
        clock = np.where(alive, clock + TICK_S, clock)
        dies = alive & (rng.random(people) < -np.expm1(-danger * TICK_S))
        lives = lives - dies
        here = here + dies
        anger = np.where(dies, 0.7 * anger + 1, anger)
        tier = np.where(dies, np.maximum(tier - 1, 0), tier)
        note(dies, "died", lives=np.maximum(lives, 0), tier=tier)
        over = dies & (lives <= 0)
        push = t["quit_again"] * (anger if world.family == "volley" else np.minimum(here - 1, 4))
        gives_up = dies & ~over & (rng.random(people) < 1 / (1 + np.exp(-(t["quit"] + push))))
        quitted |= gives_up
        note(over, "end", how=1)
        note(gives_up, "end", how=2)
        alive &= ~(over | gives_up)
        rises = alive & ~dies & (tier < t["top_tier"]) & (rng.random(people) < t["rise"] * TICK_S)
        tier = tier + rises
        note(rises, "upgrade", tier=tier, lives=lives)
        period = np.array([setting[x["name"]] for x in world.tunables[2:]], dtype=float)
        slower = (period / t["period"]) ** 0.1
        speed = np.exp(t["tier_speed"] * tier) * slower[seg] / (t["clear_s"][seg] * pace[row, seg])
        progress = np.where(alive & ~dies, progress + TICK_S * speed, progress)
        clears = alive & (progress >= 1)
        note(clears, "stage_over", cleared=1)
        segment = segment + clears
        progress = np.where(clears, 0.0, progress)
        here = np.where(clears, 0, here)
        wins = clears & (segment >= n)
        note(wins, "end", how=0)
        alive &= ~wins
        goes_on = clears & ~wins
        new_stage = goes_on & (segment % 2 == 0)
        if setting["refill"] == 1:
            lives = lives + new_stage
        elif setting["refill"] == 2:
            lives = np.where(new_stage, np.maximum(lives, setting["start_lives"]), lives)
        at = np.minimum(segment, n - 1)
        note(goes_on, "stage", number=t["stage"][at], kind_=t["boss"][at], lives=lives, tier=tier)
    return np.where(segment >= n, n, segment), here >= 2, who & (segment < n), clock


def figure(world: World, target: Mapping, setting: Mapping[str, int], rng: np.random.Generator, people: int = 4000) -> float:
    """The population's true figure (by playing many people; standard error about 0.8 points at 4,000)."""
    attempts = target.get("attempts", 1)
    out = play(world, people, attempts, setting, rng)
    if target["outcome"] == "finish_within":
        return float(out.finished.any(axis=0).mean())
    if target["outcome"] == "finish":
        return float(out.finished[0].mean())
    return float((out.furthest[0] >= 2 * (target["stage"] - 1)).mean())
