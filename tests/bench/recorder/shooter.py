"""A realistic stream of a staged shooter's events, for the byte and instruction budget and for the wire faults.

A small physical game at 60 frames a second, not random bytes: the player follows a slide potentiometer, enemies
move, shots fly until they hit. `shooter_log.h` says the same dictionary to the C compiler; a test compares the two.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import Any

from ingest.wire.dictionary import Dictionary
from ingest.wire.dictionary_json import from_json

Event = tuple[int, str, dict[str, int]]  # ticks (ms), kind, fields

WIDTH, HEIGHT = 160, 128
FRAMES_PER_SECOND = 60


def _kind(name: str, role: str, *fields: str) -> dict[str, Any]:
    """A kind from its fields, each "type name role unit" where the last two may be missing."""
    keys = ("type", "name", "role", "unit")
    return {"name": name, "role": role, "fields": [dict(zip(keys, f.split(), strict=False)) for f in fields]}


_XY = ("u8 x x px", "u8 y y px")
SHOOTER: dict[str, Any] = {
    "game": "Comet Orchard",
    "firmware": "2.1",
    "clock": 1000,
    "screen": [WIDTH, HEIGHT],
    "kinds": [
        _kind("start", "run_start", "u8 player player", "u8 lives lives", "u32 seed seed"),
        _kind("over", "run_end", "u8 how ending", "u32 points score"),
        _kind("stage", "stage_start", "u8 number stage", "u8 boss stage_kind", "u8 tier tier"),
        _kind("cleared", "stage_end", "u8 through cleared"),
        _kind("died", "death", *_XY, "u8 cause cause", "u8 lives lives", "u16 shot_ago shot_ago"),
        _kind("again", "spawn", "u8 lives lives"),
        _kind("upgrade", "pickup", *_XY, "u8 tier tier"),
        _kind("fired", "shot", *_XY),
        _kind("enemy_fired", "enemy_shot", *_XY, "u8 aimed aimed"),
        _kind("struck", "hit", *_XY),
        _kind("at", "position", *_XY),
    ],
    "tunables": [
        {"name": name, "role": role, "value": value, "min": low, "max": high, "step": step, "unit": unit}
        for name, role, value, low, high, step, unit in (
            ("lives", "start_lives", 3, 1, 9, 1, "lives"),
            ("enemy_period", "fire_period", 900, 200, 3000, 50, "ms"),
            ("aimed", "aimed_share", 40, 0, 100, 5, "percent"),
        )
    ],
}
SHOOTER["kinds"][4]["fields"][2]["labels"] = {"1": "bullet", "2": "crash"}


def dictionary() -> tuple[Dictionary, list[int]]:
    """The game's dictionary and the values of its tunables."""
    return from_json(SHOOTER)


@dataclass
class _Body:
    x: float
    y: float
    dx: float = 0.0
    dy: float = 0.0
    wait: int = 0  # frames until it fires
    born: int = 0
    strength: int = 1


@dataclass
class _Play:
    """One power-up: runs one after the other until the time is over."""

    dice: random.Random
    end_ms: int
    first_stage: int
    frame: int = 60
    busy_ms: float = 0.0  # how far into its frame the game has come
    events: list[Event] = field(default_factory=list)
    last_ms: int = 0

    def log(self, kind: str, **fields: int) -> None:
        self.last_ms = max(self.last_ms, int(self.frame * 1000 / FRAMES_PER_SECOND + self.busy_ms))
        self.events.append((self.last_ms, kind, fields))

    def log_at(self, kind: str, body: _Body, **fields: int) -> None:
        x, y = (max(0, min(limit - 1, round(v))) for v, limit in ((body.x, WIDTH), (body.y, HEIGHT)))
        self.log(kind, x=x, y=y, **fields)

    @property
    def over(self) -> bool:
        return self.frame * 1000 // FRAMES_PER_SECOND >= self.end_ms

    def run(self, player: int) -> None:
        tier, points, ending = 0, 0, 0
        self.log("start", player=player, lives=3, seed=self.dice.getrandbits(32))
        for stage in range(self.first_stage, self.first_stage + 3):
            lives = 3  # refilled at each stage
            for boss in (0, 1):
                self.log("stage", number=stage, boss=boss, tier=tier)
                lives, tier, gained = _Fight(self, stage, bool(boss), lives, tier).fight()
                points += gained
                self.log("cleared", through=int(lives > 0))
                self.frame += 60
                if not lives:
                    break
            if not lives:
                ending = 1
                break
        self.log("over", how=ending, points=points)
        self.frame += self.dice.randrange(120, 420)


class _Fight:
    """One stage's regular part or its boss."""

    def __init__(self, play: _Play, stage: int, boss: bool, lives: int, tier: int):
        self.play, self.dice, self.stage, self.boss, self.lives, self.tier = (play, play.dice, stage, boss, lives, tier)
        self.skill = 0.95
        self.points = 0
        self.me = _Body(WIDTH / 2, HEIGHT - 16)
        self.aim = (self.me.x, self.me.y)
        self.enemies = [_Body(WIDTH / 2, 16, 0.7, wait=60, strength=30 + 10 * stage)] if boss else []
        self.mine: list[_Body] = []
        self.theirs: list[_Body] = []
        self.cool = 0

    def fight(self) -> tuple[int, int, int]:
        play, until = self.play, self.play.frame + FRAMES_PER_SECOND * 20
        while play.frame < until and self.lives and not play.over and not (self.boss and not self.enemies):
            play.frame += 1
            play.busy_ms = self.dice.uniform(0, 0.5)
            self.steer()
            self.enemies_act()
            # The more there is on the screen, the later in its frame the game logs what follows.
            play.busy_ms += 0.08 * (len(self.enemies) + len(self.mine) + len(self.theirs))
            self.fire()
            self.fly()
            if play.frame % 6 == 0:
                play.log_at("at", self.me)
        return self.lives, self.tier, self.points

    def steer(self) -> None:
        """The slide potentiometer moves x at once, with the converter's noise; buttons move y a pixel a frame."""
        dice, me = self.dice, self.me
        if dice.random() < 0.04:
            self.aim = (dice.uniform(8, WIDTH - 8), dice.uniform(HEIGHT / 2, HEIGHT - 8))
        threat = next((s for s in self.theirs if 0 < me.y - s.y < 30 and abs(s.x - me.x) < 8), None)
        if threat and dice.random() < self.skill:
            self.aim = (me.x + (24 if threat.x < me.x else -24), self.aim[1])
        me.x += max(-2.5, min(2.5, (self.aim[0] - me.x) * 0.15)) + dice.gauss(0, 0.4)
        me.y += max(-1.0, min(1.0, self.aim[1] - me.y))

    def enemies_act(self) -> None:
        dice, me = self.dice, self.me
        if not self.boss and len(self.enemies) < 3 + 2 * self.stage and dice.random() < 0.1:
            self.enemies.append(
                _Body(dice.uniform(8, WIDTH - 8), 0, dice.uniform(-0.8, 0.8), 0.25, dice.randrange(20, 60))
            )
        for e in self.enemies:
            e.x, e.y, e.wait = e.x + e.dx, e.y + e.dy, e.wait - 1
            if not 4 < e.x < WIDTH - 4:
                e.dx = -e.dx
            if e.wait > 0:
                continue
            e.wait = round((60 - 10 * self.stage) * dice.uniform(0.8, 1.3))
            aimed = dice.random() < 0.4
            steep = (me.x - e.x) / max(20.0, me.y - e.y) * 1.5 if aimed else dice.uniform(-0.5, 0.5)
            for fan in range(-2, 3) if self.boss else (0,):  # a boss fires a fan of five
                self.theirs.append(_Body(e.x + 3 * fan, e.y, steep + 0.4 * fan, 1.5, born=self.play.frame))
                self.play.log_at("enemy_fired", self.theirs[-1], aimed=int(aimed))

    def fire(self) -> None:
        """The fire button is held down; each tier adds a gun."""
        self.cool -= 1
        if self.cool <= 0:
            self.cool = 12
            for gun in range(self.tier + 1):
                self.mine.append(_Body(self.me.x + 4 * gun - 2 * self.tier, self.me.y - 6, 0, -3))
                self.play.log_at("fired", self.mine[-1])

    def fly(self) -> None:
        play, me = self.play, self.me
        for shot in self.mine + self.theirs:
            shot.x, shot.y = shot.x + shot.dx, shot.y + shot.dy
        for shot in list(self.mine):
            struck = next((e for e in self.enemies if abs(e.x - shot.x) < 7 and abs(e.y - shot.y) < 6), None)
            if struck:
                self.mine.remove(shot)
                self.points += 10 * self.stage
                struck.strength -= 1
                play.log_at("struck", struck)
                if not struck.strength:
                    self.enemies.remove(struck)
                    if self.dice.random() < 0.08 and self.tier < 3:
                        self.tier += 1
                        play.log_at("upgrade", me, tier=self.tier)
        deadly = next((s for s in self.theirs if abs(s.x - me.x) < 1.6 and abs(s.y - me.y) < 1.6), None)
        if deadly:
            self.lives, self.tier = self.lives - 1, max(0, self.tier - 1)
            ago = (play.frame - deadly.born) * 1000 // FRAMES_PER_SECOND
            play.log_at("died", me, cause=1, lives=self.lives, shot_ago=ago)
            self.theirs.clear()
            play.frame += 45
            if self.lives:
                play.log("again", lives=self.lives)
        self.mine = [s for s in self.mine if s.y > 0]
        self.theirs = [s for s in self.theirs if s.y < HEIGHT and 0 <= s.x < WIDTH]
        self.enemies = [e for e in self.enemies if e.y < HEIGHT]


def stream(minutes: float = 10.0, seed: int = 1, first_stage: int = 1) -> list[Event]:
    """Events of one power-up of about that many minutes, in the order of time."""
    play = _Play(random.Random(seed), round(minutes * 60_000), first_stage)
    player = 0
    while not play.over:
        player = player % 12 + 1
        play.run(player)
    return play.events
