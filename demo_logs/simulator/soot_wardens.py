"""Soot Wardens, the staged shooter: three chimneys, each a climb and a boss.

Story: the lamplighters' kite carries clean oil up three chimneys; soot moths drop cinders on it. A real bullet world
at 30 frames a second: a player sees a cinder only after a reaction time, keeps few of them in view, dodges along the
closest approach, and is drawn to the moths it wants to hit. The corner trap of the second boss is the nasty spot.
"""

from math import sqrt

from demo_logs.simulator.dice import Dice, clamp, swing
from demo_logs.simulator.kite import FRAME_S, LEFT, RIGHT, Cinder, Kite, Moth
from demo_logs.simulator.people import Memory, Person
from demo_logs.simulator.play import Attempt, Play

WIDTH, HEIGHT = 160, 128
HIT_PX = 3.6
STRAY, AIMED, JET = 1, 2, 3
FINISHED, GAME_OVER, QUIT = 0, 1, 2
QUOTA = (12, 14, 16)
MOTH_HEALTH = (2.0, 2.5, 3.0)
BOSS_HEALTH = (30.0, 28.0, 38.0)
CINDER_SPEED = (52.0, 58.0, 64.0)
TOP_TIER = 3
SAFE_AFTER_SPAWN_S = 1.2


class Run(Attempt):
    """One attempt of one person on one console; `play` is what came of it."""

    def __post_init__(self) -> None:
        self.frame = 0
        self.stood_ms = 0  # time lost to slow frames
        self.lives, self.tier, self.score = self.tunables["start_lives"], 0, 0
        self.skill = self.person.skill_after(self.memory.runs)
        self.kite = Kite(self.person, self.skill, self.dice)
        self.alive = False
        self.safe_until = 0
        self.deaths_here = 0
        self.back_at = 0
        self.cinders: list[Cinder] = []
        self.moths: list[Moth] = []
        self.bolts: list[tuple[float, float]] = []
        self.drops: list[tuple[float, float]] = []
        self.flashes: list[int] = []
        self.jets: list[tuple[int, float]] = []
        self.ending = FINISHED

    @property
    def now(self) -> int:
        """Milliseconds of the console's clock."""
        return self.start + self.stood_ms + self.frame * 1000 // 30

    def log(self, kind: str, **values: int) -> None:
        self.play.log(self.now, kind, **values)

    # The course of a run

    def go(self, first_time: bool, seed: int) -> Play:
        """Plays the run to its end."""
        self.begin(first_time, seed, lives=self.lives, tier=self.tier)
        self._rest()
        reached = (1, 0)
        for stage in (1, 2, 3):
            if stage > 1:
                self._refill()
            for boss in (0, 1):
                reached = (stage, boss)
                if not self._part(stage, boss):
                    self.memory.ended_at(f"{stage}/{boss}")
                    return self._over(reached)
        self.memory.ended_at("finished")
        return self._over(reached)

    def _rest(self) -> None:
        """The slide pot lies still on the title screen: what it reads then is its noise."""
        raw = 1400 + 60 * self.dice.below(20)
        for _ in range(10):
            self.frame += 3
            self.log("knob", raw=self.console.pot(raw, self.dice), which=0)

    def _refill(self) -> None:
        policy = self.tunables["lives_refill"]
        full = self.tunables["start_lives"]
        if policy == 1:
            self.lives += 1
        elif policy == 2:
            self.lives = max(self.lives, full)

    def _over(self, reached: tuple[int, int]) -> Play:
        self.memory.runs += 1
        self.log("run_over", ending=self.ending, score=min(self.score, 65534))
        self.play.end = self.now
        stage, boss = reached
        self.play.summary = {
            "player": self.person.tag,
            "ending": ("finished", "game_over", "quit")[self.ending],
            "stage": stage,
            "boss": boss,
            "parts": 2 * (stage - 1) + boss,
            "deaths": sum(kind == "burnt" for _, kind, _ in self.play.events),
            "skill": round(self.skill, 3),
        }
        return self.play

    def _part(self, stage: int, boss: int) -> bool:
        """One part of a stage; True when it was cleared."""
        self.log("part_begin", stage=stage, part=boss, lives=self.lives, tier=self.tier)
        self.cinders.clear()
        self.moths.clear()
        self.bolts.clear()
        self.jets.clear()
        self.alive, self.safe_until = True, self.now + 600
        self.deaths_here = 0
        begin = self.frame
        shots = 0
        killed = 0
        spawned = 0
        next_fire = self.now + 1500
        next_moth = self.now
        next_bolt = self.now + 200
        quota = 1 if boss else QUOTA[stage - 1]
        period = self.tunables[f"fire_period_{'boss' if boss else 'climb'}_{stage}"]
        while killed < quota:
            self.frame += 1
            now = self.now
            elapsed_s = (self.frame - begin) * FRAME_S
            if spawned < quota and now >= next_moth and len(self.moths) < 4:
                self.moths.append(self._moth(stage, boss))
                spawned += 1
                next_moth = now + 900
            if now >= next_fire and self.moths:
                # Within a part the pressure rises too: down to three quarters of the period after half a minute.
                next_fire = now + max(90, int(period * (1 - 0.25 * min(1.0, elapsed_s / 30))))
                shots += 1
                self._fire(stage, boss, shots)
            self._effects()
            self._move_world(elapsed_s)
            if self.alive:
                self.kite.move(self.now, self.frame, self.moths, self.cinders, self.drops)
                if now >= next_bolt and self.moths:
                    next_bolt = now + 300
                    self.bolts.append((self.kite.x, self.kite.y - 6))
                    self.log("fire", x=int(self.kite.x), y=int(self.kite.y) - 6)
                killed += self._strike(stage, boss)
                self._collect()
                if not self._survive(stage, boss):
                    return False
            elif now >= self.back_at:
                self.alive, self.safe_until = True, now + int(1000 * SAFE_AFTER_SPAWN_S)
                self.kite.appear()
                self.log("back", lives=self.lives, tier=self.tier)
            self._sample()
        self.log("part_over", cleared=1)
        self.score += 500 if boss else 100
        self.frame += 45
        return True

    # The world

    def _moth(self, stage: int, boss: int) -> Moth:
        if boss:
            return Moth(80.0, 24.0, BOSS_HEALTH[stage - 1], 0.0, 34.0 + 6 * stage, 0.10 + 0.03 * stage, 80.0)
        reach = self.dice.uniform(14, 34)
        return Moth(
            self.dice.uniform(20 + reach, 140 - reach),
            self.dice.uniform(14, 40),
            MOTH_HEALTH[stage - 1],
            self.dice.uniform(),
            reach,
            self.dice.uniform(0.16, 0.30) + 0.03 * stage,
        )

    def _fire(self, stage: int, boss: int, shots: int) -> None:
        moth = self.moths[self.dice.below(len(self.moths))]
        speed = CINDER_SPEED[stage - 1]
        if boss and stage == 2 and shots % 5 == 3:
            self._curtain()
            return
        if boss and stage == 3 and shots % 4 == 2:
            for vx in (-40.0, -20.0, 0.0, 20.0, 40.0):
                self._cinder(moth.x, moth.y, vx, speed * 0.85, STRAY)
            return
        fan = (-14.0, 14.0) if boss and shots % 3 == 0 else (0.0,)
        aimed = self.dice.happens(self.tunables["aimed_share"] / 100)
        for spread in fan:
            if aimed:
                dx, dy = self.kite.x - moth.x, self.kite.y - moth.y
                distance = max(1.0, sqrt(dx * dx + dy * dy))
                self._cinder(moth.x, moth.y, dx / distance * speed * 1.15 + spread, dy / distance * speed * 1.15, AIMED)
            else:
                self._cinder(moth.x, moth.y, self.dice.uniform(-22, 22) + spread, speed, STRAY)

    def _curtain(self) -> None:
        """Boss 2: a curtain that leaves a narrow way on the left and the inviting right corner; then a jet into it."""
        for column in range(8):
            self._cinder(20.0 + 14 * column, 18.0, 0.0, 60.0, STRAY)
        knows = self.memory.deaths_at.get("corner", 0) * 0.6 + 0.5 * self.skill > 1.0
        self.kite.flee(9.0 if knows and self.kite.x < 100 else 144.0, self.now + 1750)
        self.jets += [(self.now + 1050 + 160 * n, self.dice.uniform(136, 152)) for n in range(3)]
        # Four flashes in half a second: more than anybody should be shown.
        self.flashes += [self.now + 150 * n for n in range(4)]

    def _cinder(self, x: float, y: float, vx: float, vy: float, cause: int) -> None:
        self.cinders.append(Cinder(x, y, vx, vy, self.now, cause))
        self.log("cinder", x=int(clamp(x, 0, 159)), y=int(clamp(y, 0, 127)), aimed=int(cause == AIMED))

    def _effects(self) -> None:
        now = self.now
        while self.flashes and self.flashes[0] <= now:
            self.flashes.pop(0)
            self.log("blink")
        while self.jets and self.jets[0][0] <= now:
            # From a vent close above: hardly time to react.
            self._cinder(self.jets.pop(0)[1], 62.0, 0.0, 190.0, JET)
        if self.dice.happens(0.002 if len(self.cinders) < 11 else 0.03):
            lost = 20 + self.dice.below(45)
            self.stood_ms += lost
            self.log("slow_frame", lasted=lost + 33)
        if self.dice.happens(0.00012):
            self._pause(3000 + self.dice.below(6000))

    def _pause(self, lasts_ms: int) -> None:
        """Somebody asks something: the game stands still, and so do the ages of the cinders."""
        self.log("halt")
        self.stood_ms += lasts_ms
        for cinder in self.cinders:
            cinder.born_ms += lasts_ms
        self.log("go_on")

    def _move_world(self, elapsed_s: float) -> None:
        for moth in self.moths:
            moth.x = moth.middle + moth.reach * swing(moth.phase + moth.pace * elapsed_s)
        for cinder in self.cinders:
            cinder.x += cinder.vx * FRAME_S
            cinder.y += cinder.vy * FRAME_S
        self.cinders = [c for c in self.cinders if c.y < HEIGHT and -4 < c.x < WIDTH + 4]
        self.bolts = [(x, y - 170 * FRAME_S) for x, y in self.bolts if y > 4]
        self.drops = [(x, y + 34 * FRAME_S) for x, y in self.drops if y < HEIGHT]

    # Hits and deaths

    def _strike(self, stage: int, boss: int) -> int:
        """Own bolts against moths; returns how many fell."""
        killed = 0
        damage = 1.0 + 0.45 * self.tier
        half = 13.0 if boss else 6.0
        left = []
        for x, y in self.bolts:
            hit = next((m for m in self.moths if abs(m.x - x) < half and abs(m.y - y) < 7), None)
            if hit is None:
                left.append((x, y))
                continue
            hit.health -= damage
            self.log("struck", x=int(clamp(hit.x, 0, 159)), y=int(hit.y))
            if boss and self.tier < TOP_TIER and self.dice.happens(self.tunables["pickup_rate"] / 400):
                self.drops.append((hit.x, hit.y))
            if hit.health <= 0:
                self.moths.remove(hit)
                killed += 1
                self.score += 50 if boss else 10
                if not boss and self.dice.happens(self.tunables["pickup_rate"] / 100):
                    self.drops.append((hit.x, hit.y))
        self.bolts = left
        return killed

    def _collect(self) -> None:
        for drop in self.drops:
            if abs(drop[0] - self.kite.x) < 7 and abs(drop[1] - self.kite.y) < 7:
                self.drops.remove(drop)
                self.tier = min(TOP_TIER, self.tier + 1)
                self.log("oil", tier=self.tier, x=int(self.kite.x), y=int(self.kite.y))
                break

    def _survive(self, stage: int, boss: int) -> bool:
        """False when the run is over: no life left, or the player puts the console down."""
        if self.now < self.safe_until:
            return True
        fatal = next(
            (c for c in self.cinders if abs(c.x - self.kite.x) < HIT_PX and abs(c.y - self.kite.y) < HIT_PX), None
        )
        if fatal is None:
            return True
        self.cinders.remove(fatal)
        self.lives -= 1
        if not self.tunables["tiers_survive"]:
            self.tier = max(0, self.tier - 1)
        self.alive, self.back_at = False, self.now + 700
        place = f"{stage}/{boss}"
        here = self.memory.died_at(place)
        if fatal.cause == JET:
            self.memory.died_at("corner")
        self.log(
            "burnt",
            x=int(self.kite.x),
            y=int(self.kite.y),
            cause=fatal.cause,
            lives=self.lives,
            tier=self.tier,
            shot_ago=min(65534, self.now - fatal.born_ms),
        )
        # One death is part of the game; a second at the same boss, run after run, is what makes people leave.
        self.deaths_here += 1
        impatience = 1 - self.person.patience
        fed_up = 0.01 + 0.02 * impatience * min(here, 4)
        if self.deaths_here >= 2:
            fed_up += 0.25 * impatience * (1 + self.memory.stuck)
        if self.lives <= 0:
            self.ending = GAME_OVER
        elif self.dice.happens(min(0.5, fed_up)):
            self.ending = QUIT
        else:
            return True
        self.frame += 20
        if self.ending == GAME_OVER:
            self.log("part_over", cleared=0)
        return False

    def _sample(self) -> None:
        if self.alive and self.frame % 3 == 0:
            self.log("where", x=int(self.kite.x), y=int(self.kite.y))
        if self.frame % 20 == 0:
            place = (self.kite.x - LEFT) / (RIGHT - LEFT) * 4095
            self.log("knob", raw=self.console.pot(place, self.dice), which=0)


def rating(person: Person, summary: dict[str, object], memory: Memory, dice: Dice) -> int:
    """What the person says with the slide pot: progress pleases, being stuck does not, and tastes differ."""
    steps = int(str(summary["parts"]))
    deaths = int(str(summary["deaths"]))
    liked = 42 + 8 * steps - 0.5 * steps * steps - 9 * memory.stuck - 1.5 * deaths
    return int(clamp(liked + dice.normal(8 * person.patience, 11), 0, 100))
