"""One Puff, one shot at a time: a candle slides along a shelf, and one puff must put it out as it passes the wick mark.

A run ends with the first miss, or after twenty candles. Each candle put out makes the next a little faster. Hitting a
moving target is timing: the error in time grows with speed beyond what distance alone explains, and with boredom.
"""

from demo_logs.simulator.dice import Dice, clamp
from demo_logs.simulator.people import Memory, Person
from demo_logs.simulator.play import Attempt, Play

CLOCK = 1_000_000
CANDLES = 20


class Run(Attempt):
    """One attempt of one person."""

    def go(self, first_time: bool, seed: int) -> Play:
        """Plays the run to its end."""
        person, dice = self.person, self.dice
        self.now = self.start
        self.begin(first_time, seed)
        skill = person.skill_after(self.memory.runs)
        out = 0
        speed = float(self.tunables["candle_speed"])
        while out < CANDLES:
            passes = 1 + dice.below(2)
            self.now += int(CLOCK * (passes * 150 / speed + dice.uniform(0.1, 0.5)))
            spread = clamp(26 - 4.0 * skill, 10, 60) * (1 + (speed / 320) * (speed / 320))
            if dice.happens(person.lapse * (0.5 + out / 15)):
                spread *= 3.5
            late_ms = person.tap_bias_ms * 0.5 + self.console.latency_ms + dice.normal(0, spread)
            error = round(late_ms * speed / 1000)
            hit = abs(error) <= self.tunables["wick_width"]
            self.now += int(CLOCK * 0.02)
            self.play.log(self.now, "puff", out=int(hit), off=int(clamp(error, -128, 127)), speed=int(speed))
            if not hit:
                break
            out += 1
            speed *= 1 + self.tunables["speed_gain"] / 100
        self.now += CLOCK
        ending = 0 if out == CANDLES else 1
        self.play.log(self.now, "run_over", ending=ending, score=out)
        self.play.end = self.now
        self.memory.runs += 1
        self.play.summary = {"player": person.tag, "ending": ("finished", "game_over")[ending], "streak": out}
        return self.play


def rating(person: Person, summary: dict[str, object], memory: Memory, dice: Dice) -> int:
    """What the person says with the slide pot."""
    streak = int(str(summary["streak"]))
    return int(clamp(35 + 5 * streak - 0.12 * streak * streak + dice.normal(8 * person.patience, 12), 0, 100))
