"""The kite of Soot Wardens and the person at its slide pot: what is seen, wanted, dodged and dreamt away."""

from dataclasses import dataclass
from math import sqrt

from demo_logs.simulator.dice import Dice, clamp, swing
from demo_logs.simulator.people import Person

LEFT, RIGHT, TOP, BOTTOM = 5.0, 154.0, 66.0, 120.0
FRAME_S = 1 / 30
SPEED = 105.0


@dataclass(slots=True)
class Cinder:
    """An enemy shot."""

    x: float
    y: float
    vx: float
    vy: float
    born_ms: int
    cause: int


@dataclass(slots=True)
class Moth:
    """An enemy; the boss is one with much health."""

    middle: float
    y: float
    health: float
    phase: float
    reach: float
    pace: float
    x: float = 0.0


class Kite:
    """Position in pixels, velocity in pixels a second."""

    def __init__(self, person: Person, skill: float, dice: Dice):
        self.person, self.skill, self.dice = person, skill, dice
        self.dreaming_until = 0
        self.refuge, self.refuge_until = 80.0, 0
        self.appear()

    def appear(self) -> None:
        """Puts the kite back to where every life begins."""
        self.x, self.y, self.vx, self.vy = 80.0, 108.0, 0.0, 0.0

    def flee(self, refuge: float, until_ms: int) -> None:
        """Makes the person head for a place, whatever there is to hit."""
        self.refuge, self.refuge_until = refuge, until_ms

    def move(
        self, now: int, frame: int, moths: list[Moth], cinders: list[Cinder], drops: list[tuple[float, float]]
    ) -> None:
        """One frame of flying."""
        if now > self.dreaming_until and self.dice.happens(0.010 / (1.6 + self.skill * 0.4)):
            self.dreaming_until = now + 300 + self.dice.below(350)
        wish_x = (self._goal(now, moths, drops) - self.x) * 2.2
        wish_y = (103.0 + 11.0 * swing(frame / 400 + self.person.player * 0.17) - self.y) * 1.2
        if now > self.dreaming_until:
            away_x, away_y = self._dodge(now - int(1000 * self.person.reaction_s), cinders)
            if away_x or away_y:
                # The greedy keep chasing moths under fire; the skilled let go.
                greed = clamp(0.50 - 0.28 * self.skill, 0.0, 1.0)
                wish_x, wish_y = wish_x * greed, wish_y * greed
            wish_x += away_x
            wish_y += away_y
        size = sqrt(wish_x * wish_x + wish_y * wish_y)
        if size > SPEED:
            wish_x, wish_y = wish_x * SPEED / size, wish_y * SPEED / size
        self.vx += (wish_x - self.vx) * 0.42 + self.dice.uniform(-6, 6)
        self.vy += (wish_y - self.vy) * 0.42 + self.dice.uniform(-4, 4)
        self.x = clamp(self.x + self.vx * FRAME_S, LEFT, RIGHT)
        self.y = clamp(self.y + self.vy * FRAME_S, TOP, BOTTOM)

    def _goal(self, now: int, moths: list[Moth], drops: list[tuple[float, float]]) -> float:
        if now < self.refuge_until:
            return self.refuge
        if drops and (near := min(drops, key=lambda d: abs(d[0] - self.x)))[1] > 50:
            return near[0]
        if not moths:
            return 80.0
        return min(moths, key=lambda m: abs(m.x - self.x)).x

    def _dodge(self, seen_until: int, cinders: list[Cinder]) -> tuple[float, float]:
        """Where the cinders in view push to; the farther a person plans, the earlier it moves."""
        seen = [c for c in cinders if c.born_ms <= seen_until and c.y > self.y - 75]
        if len(seen) > self.person.attention:
            seen.sort(key=lambda c: abs(c.x - self.x) + abs(c.y - self.y))
            del seen[self.person.attention :]
        horizon = clamp(0.52 + 0.20 * self.skill, 0.2, 1.2)
        comfort = clamp(7.8 + 2.0 * self.skill, 4.0, 13.0)
        lead = clamp(0.3 + 0.25 * self.skill, 0.0, 0.9)  # how much of the own motion is reckoned with
        push_x = push_y = 0.0
        for c in seen:
            rx, ry = c.x - self.x, c.y - self.y
            vx, vy = c.vx - lead * self.vx, c.vy - lead * self.vy
            when = -(rx * vx + ry * vy) / (vx * vx + vy * vy + 0.01)
            if not 0 < when < horizon:
                continue
            nearest_x, nearest_y = rx + vx * when, ry + vy * when
            miss = sqrt(nearest_x * nearest_x + nearest_y * nearest_y)
            if miss >= comfort:
                continue
            strength = 150.0 * (1 - miss / comfort) / (0.25 + when)
            if miss < 0.8:
                # Dead ahead: whichever side has more room.
                nearest_x, miss = -1.0 if self.x < 80 else 1.0, 1.0
            push_x -= nearest_x / miss * strength
            push_y -= nearest_y / miss * strength * 0.6
        return push_x, push_y
