"""A third family of simulated games and people: uneven play. Imports nothing of analysis/.

What the other two families lack, each drawn anew for each world:

* deaths more regular than chance would have them: half of the games are courses with hazards at fixed places, so that
  people die at the same place after the same time; in the other half the danger builds up from each new life on (the
  time to a death is gamma with a shape of 1.5 to 5);
* people who tire: danger grows with the time played, and so does the chance that they play no more;
* people who give up the sooner the oftener they have failed.

`draw_regular` draws the same games with deaths that are more regular still: half have one or two places in each segment
that are met once, with a player's own chance to die there; in the others the time to a death is Weibull's, with a shape
of 3.

A world plays many people at once, one segment after the other.
"""

from collections.abc import Mapping
from math import gamma

import numpy as np

from tests.closed_loop.tuning.worlds import Outcome, World

MOST_LOOPS = 60


def draw_course(seed: int) -> World:
    """A world whose tunables are those of the other families."""
    rng = np.random.default_rng([seed, 3])
    stages = int(rng.integers(2, 5))
    n = 2 * stages
    lives, refill = int(rng.integers(2, 6)), int(rng.choice([0, 0, 1, 2]))
    tunables = [
        {"name": "start_lives", "role": "start_lives", "value": lives, "min": 1, "max": 9, "step": 1, "unit": "lives"},
        {"name": "refill", "role": "lives_refill", "value": refill, "min": 0, "max": 2, "step": 1},
    ]
    for stage in range(1, stages + 1):
        for boss in (0, 1):
            tunables.append(
                {
                    "name": f"fire_{stage}" + ("_boss" if boss else ""),
                    "role": "fire_period",
                    "value": int(round(rng.uniform(500, 1400) / 10) * 10),
                    "min": 100,
                    "max": 4000,
                    "step": 10,
                    "unit": "ms",
                    "scope": {"stage": stage, "stage_kind": boss},
                }
            )
    t: dict = {"n": n, "boss": np.tile([0, 1], stages), "stage": np.repeat(np.arange(1, stages + 1), 2)}
    t["period"] = np.array([x["value"] for x in tunables[2:]], dtype=float)
    t["clear_s"] = np.where(t["boss"] == 1, rng.uniform(15, 40, n), rng.uniform(25, 60, n))
    t["clear_sd"] = rng.uniform(0.03, 0.2)
    t["skill_sd"] = rng.uniform(0.3, 0.9)
    t["learn"], t["learn_sd"] = rng.uniform(0.0, 0.5), rng.uniform(0.0, 0.12)
    t["fatigue"] = rng.uniform(0.0, 0.4)  # ln danger by ten minutes of play
    t["stop"] = rng.uniform(-4.0, -1.5)  # logit of giving up after a first failure
    t["stop_again"] = rng.uniform(0.0, 1.2)  # more with each failure before
    t["stop_weary"] = rng.uniform(0.0, 0.6)  # more by ten minutes of play
    t["quit"] = rng.uniform(-5.5, -3.0)
    t["exponent"] = rng.normal(0.95, 0.3)
    deaths = rng.uniform(1.0, 4.5) / n * np.exp(np.cumsum(rng.normal(0.06, 0.2, n)) + 0.2 * t["boss"])
    t["fixed"] = bool(rng.random() < 0.5)
    if t["fixed"]:
        gates = [int(g) for g in rng.integers(1, 5, n)]
        t["place"] = [np.sort(rng.uniform(0.1, 0.95, g)) for g in gates]
        own = [np.minimum(d / g, 0.7) for d, g in zip(deaths, gates, strict=True)]
        t["gate"] = [np.log(p / (1 - p)) + rng.normal(0, 0.7, g) for p, g in zip(own, gates, strict=True)]
        t["retry"] = bool(rng.random() < 0.5)  # a place where one died is to be passed again
        t["known"] = rng.uniform(-0.3, 0.8)  # safer, on the logit scale, once one has died there in this run
    else:
        t["shape"] = rng.uniform(1.5, 5.0)
        t["level"] = np.log(deaths / t["clear_s"])
    return World("course", stages, tunables, t, play_course)


def draw_regular(seed: int) -> World:
    """A world of regular deaths: two seeds of places, two of waiting times, by turns."""
    world, rng = draw_course(seed), np.random.default_rng([seed, 4])
    t = world.truth
    n, t["fixed"] = t["n"], seed // 2 % 2 == 0
    # Whoever meets each danger once dies less often than the rates of `draw_course` say.
    deaths = rng.uniform(2.0, 5.0) / n * np.exp(np.cumsum(rng.normal(0.06, 0.2, n)) + 0.2 * t["boss"])
    if t["fixed"]:
        gates = [int(g) for g in rng.integers(1, 3, n)]
        t["place"] = [np.sort(rng.uniform(0.1, 0.95, g)) for g in gates]
        own = [np.minimum(d / g, 0.8) for d, g in zip(deaths, gates, strict=True)]
        t["gate"] = [np.full(g, np.log(p / (1 - p))) for p, g in zip(own, gates, strict=True)]
        t["retry"], t["known"] = False, 0.0
    else:
        t["shape"], t["weibull"] = 3.0, True
        t["level"] = np.log(deaths * 1.6 / t["clear_s"])
    return world


def play_course(
    world: World,
    people: int,
    attempts: int,
    setting: Mapping[str, int],
    rng: np.random.Generator,
    record: bool = False,
    more_skilled: float = 0.0,
) -> Outcome:
    """Lets new people play up to `attempts` runs each; who has finished plays on like everybody else."""
    t = world.truth
    skill = t["skill_sd"] * rng.standard_normal(people) - more_skilled
    learn = t["learn"] + t["learn_sd"] * rng.standard_normal(people)
    furthest, alive = np.full((attempts, people), -1), np.full((attempts, people), np.nan)
    played = np.zeros((attempts, people), dtype=bool)
    going, failures, weary = np.ones(people, dtype=bool), np.zeros(people), np.zeros(people)
    events: list = []
    for attempt in range(attempts):
        played[attempt] = going
        danger = skill - learn * np.log(attempt + 1) + t["fatigue"] * weary / 600
        run = _Run(world, setting, danger, going, attempt, rng, events if record else None)
        run.play()
        furthest[attempt, going], alive[attempt, going] = run.far[going], run.clock[going]
        weary += np.where(going, run.clock, 0.0)
        failed = going & (run.far < t["n"])
        failures += failed
        wish = t["stop"] + t["stop_again"] * (failures - 1) + t["stop_weary"] * weary / 600
        going = going & ~(failed & (rng.random(people) < 1 / (1 + np.exp(-wish))))
    return Outcome(played, furthest, furthest == t["n"], events, alive)


class _Run:
    """One attempt of everybody who plays it."""

    def __init__(self, world, setting, danger, who, attempt, rng, events):  # type: ignore[no-untyped-def]
        people, self.t, self.setting = len(danger), world.truth, setting
        period = np.array([setting[x["name"]] for x in world.tunables[2:]], dtype=float)
        self.rate = np.log(self.t["period"] / period)
        self.danger, self.attempt, self.rng, self.events = danger, attempt, rng, events
        self.still, self.lives = who.copy(), np.full(people, setting["start_lives"])
        self.far, self.clock, self.anger = np.zeros(people, dtype=int), np.zeros(people), np.zeros(people)

    def note(self, who: np.ndarray, kind: str, **fields: object) -> None:
        if self.events is not None:
            for i in np.nonzero(who)[0]:
                values = {k: int(v[i]) if isinstance(v, np.ndarray) else int(v) for k, v in fields.items()}  # type: ignore[call-overload]
                self.events.append((int(i), self.attempt, float(self.clock[i]), kind, values))

    def play(self) -> None:
        t = self.t
        self.note(self.still, "begin")
        for j in range(t["n"]):
            self.far[self.still] = j
            if j and not t["boss"][j]:
                refill, start = self.setting["refill"], self.setting["start_lives"]
                more = self.lives + 1 if refill == 1 else np.maximum(self.lives, start)
                self.lives = np.where(self.still & (refill > 0), more, self.lives)
            self.note(self.still, "stage", number=t["stage"][j], kind_=t["boss"][j], lives=self.lives, tier=0)
            pace = np.exp(t["clear_sd"] * self.rng.standard_normal(len(self.lives)) + 0.1 * self.rate[j])
            (self._gates if t["fixed"] else self._renewal)(j, t["clear_s"][j] * pace)
            self.note(self.still, "stage_over", cleared=1)
        self.far[self.still] = t["n"]
        self.note(self.still, "end", how=0)

    def die(self, dies: np.ndarray) -> None:
        """A life less; who has none left or loses heart is out."""
        self.lives = self.lives - dies
        self.anger = np.where(dies, 0.7 * self.anger + 1, self.anger)
        self.note(dies, "died", lives=np.maximum(self.lives, 0), tier=0)
        over = dies & (self.lives <= 0)
        loses_heart = self.rng.random(len(dies)) < 1 / (1 + np.exp(-(self.t["quit"] + 0.3 * self.anger)))
        quits = dies & ~over & loses_heart
        self.note(over, "end", how=1)
        self.note(quits, "end", how=2)
        self.still = self.still & ~over & ~quits

    def _gates(self, j: int, length: np.ndarray) -> None:
        t, at = self.t, 0.0
        for place, level in zip(t["place"][j], t["gate"][j], strict=True):
            self.clock = np.where(self.still, self.clock + (place - at) * length, self.clock)
            at, facing, known = place, self.still.copy(), np.zeros(len(length))
            for _ in range(MOST_LOOPS):
                odds = level + self.danger + t["exponent"] * self.rate[j] - known
                dies = facing & (self.rng.random(len(length)) < 1 / (1 + np.exp(-odds)))
                self.die(dies)
                facing = dies & self.still & t["retry"]
                if not facing.any():
                    break
                known = np.where(facing, t["known"], known)
                self.clock = np.where(facing, self.clock + 0.05 * length, self.clock)
        self.clock = np.where(self.still, self.clock + (1 - at) * length, self.clock)

    def _renewal(self, j: int, length: np.ndarray) -> None:
        t = self.t
        even = t["shape"] if t.get("weibull") else 1.0  # danger multiplies Weibull's hazard, and gamma's pace
        mean_s = np.exp(-t["level"][j] - (self.danger + t["exponent"] * self.rate[j]) / even)
        left, inside = length.copy(), self.still.copy()
        for _ in range(MOST_LOOPS):
            if t.get("weibull"):
                wait = self.rng.weibull(t["shape"], len(left)) * mean_s / gamma(1 + 1 / t["shape"])
            else:
                wait = self.rng.gamma(t["shape"], mean_s / t["shape"])
            self.clock = np.where(inside, self.clock + np.minimum(wait, left), self.clock)
            left = left - wait
            dies = inside & (left > 0)
            self.die(dies)
            inside = dies & self.still
            if not inside.any():
                break
