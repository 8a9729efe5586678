"""Tin Drizzle, the rhythm game: rain drops fall on three tin roofs, in time with a tune chosen by the slide pot.

People follow the *music*; the console judges by the *chart*. The two part where the chart was typed in late (a passage
of the third tune) and where a tune's tempo was rounded (the second). Taps follow a Wing-Kristofferson model with phase
correction: a timekeeper whose error carries over to the next tap, and a motor delay that does not. On top come a
personal bias, notes let go, stray presses, wrong roofs, wider taps where notes crowd, and a slow self-correction from
run to run.
"""

from dataclasses import dataclass
from math import ceil

from demo_logs.simulator.dice import Dice, clamp
from demo_logs.simulator.people import Memory, Person
from demo_logs.simulator.play import Attempt, Play

CLOCK = 10_000
MS = CLOCK // 1000
CLEAN, LOOSE, MISSED = 0, 1, 2
DRIP_LENGTH_PX = 96
FRAME = CLOCK / 60


@dataclass(frozen=True)
class Tune:
    """A tune of our own: beats a minute, and which beats of a bar have a drop on which roof."""

    title: str
    tempo: float
    bars: int
    beats: int
    pattern: tuple[tuple[tuple[float, int], ...], ...]  # bar after bar, over and over: (beat, roof)
    drift_ppm: float = 0.0  # the music runs this much slower than the chart
    late_bars: tuple[int, int] = (0, 0)
    late_ms: float = 0.0  # the chart's notes come this much after the music there

    def notes(self) -> list[tuple[float, int, float]]:
        """(chart time in seconds, roof, how late the chart is in ms) of every note."""
        beat_s = 60 / self.tempo
        first, last = self.late_bars
        found = []
        for bar in range(self.bars):
            late = self.late_ms if first <= bar < last else 0.0
            for beat, roof in self.pattern[bar % len(self.pattern)]:
                found.append(((bar * self.beats + beat) * beat_s + late / 1000, roof, late))
        return found


TUNES = (
    Tune(
        "Gutter Waltz",
        102,
        18,
        3,
        (((0, 0), (1, 1), (2, 1)), ((0, 0), (1, 2)), ((0, 0), (1, 1), (2, 2)), ((0, 1), (1.5, 2), (2, 0))),
    ),
    Tune(
        "Five Buckets",
        126,
        16,
        5,
        (
            ((0, 0), (1, 1), (2, 2), (3, 1), (4, 1)),
            ((0, 0), (1.5, 1), (3, 2), (4, 1)),
            ((0, 0), (0, 2), (2, 1), (2.5, 1), (3, 0), (4, 2)),
        ),
        drift_ppm=800.0,
    ),
    Tune(
        "Leaky Attic",
        138,
        22,
        4,
        (
            ((0, 0), (0.5, 1), (1, 2), (2, 0), (2.5, 1), (3, 2)),
            ((0, 1), (1, 0), (1.5, 0), (2, 2), (3, 1)),
            ((0, 0), (0, 2), (0.5, 1), (1, 1), (1.5, 1), (2, 0), (2, 2), (3, 1), (3.5, 2)),
            ((0, 2), (1, 1), (2, 0), (3, 1)),
        ),
        late_bars=(10, 15),
        late_ms=32.0,
    ),
)


def hands(tune: Tune, person: Person, memory: Memory, dice: Dice) -> list[tuple[float, int]]:
    """When (seconds from the tune's start, as the buttons feel it) and on which roof the person taps."""
    carried = 0.0
    skill = person.skill_after(memory.runs)
    spread = clamp(person.tap_spread_ms - 2.0 * (skill - person.skill), 11.0, 80.0)
    bias = person.tap_bias_ms - memory.shift_ms
    before = -9.0
    taps = []
    for due, roof, late in tune.notes():
        music = (due - late / 1000) * (1 + tune.drift_ppm / 1e6)
        gap = due - before
        crowd = clamp((0.34 - gap) / 0.2, 0.0, 1.0) if gap > 0.001 else 0.6
        before = due
        carried = 0.55 * carried + dice.normal(0, 0.65 * spread)
        motor = dice.normal(0, 0.63 * spread)
        if dice.happens(person.lapse * (1 + 2.5 * crowd)):
            continue
        wrong = dice.happens(clamp(0.012 - 0.006 * skill + 0.03 * crowd, 0.001, 0.08))
        tapped = music + (bias + (carried + motor) * (1 + 0.5 * crowd)) / 1000
        taps.append((tapped, (roof + 1 + dice.below(2)) % 3 if wrong else roof))
        if dice.happens(person.stray):
            taps.append((tapped + dice.uniform(0.09, 0.4), dice.below(3)))
    return sorted(taps)


class Run(Attempt):
    """One tune played by one person on one console."""

    def go(self, first_time: bool, seed: int) -> Play:
        """Plays the run to its end. The easy tune comes first, then what the person likes."""
        person, memory, dice = self.person, self.memory, self.dice
        song = memory.runs % 3 if dice.happens(0.8) else dice.below(3)
        self.begin(first_time, seed)
        self._choose(song)
        begin = self.start + 2 * CLOCK
        self.play.log(begin, "tune_begin", tune=song + 1)
        notes = [(begin + round(due * CLOCK), roof) for due, roof, _ in TUNES[song].notes()]
        presses = self._presses(begin, TUNES[song])
        stop = self._lost_patience(notes, presses)
        hits, errors, finished = self._judge(notes, presses, stop)
        end = notes[-1][0] + CLOCK if finished else stop + CLOCK // 10
        if finished:
            self.play.log(end, "tune_over", through=1)
        self.play.log(end, "run_over", ending=0 if finished else 2, score=hits)
        self.play.events.sort(key=lambda event: event[0])
        self.play.end = end
        if errors:
            # People hear and see that they are off, and correct a little of it by the next run.
            memory.shift_ms += 0.1 * sum(errors) / len(errors) / MS
        memory.runs += 1
        self.play.summary = {
            "player": person.tag,
            "ending": "finished" if finished else "quit",
            "tune": TUNES[song].title,
            "notes": sum(due <= end for due, _ in notes),
            "hits": hits,
            "presses": len(presses),
        }
        return self.play

    def _choose(self, song: int) -> None:
        for n in range(8):
            raw = self.console.pot(700 + 1350 * song, self.dice)
            self.play.log(self.start + 500 + 1500 * n, "knob", raw=raw, which=3)

    def _presses(self, begin: int, tune: Tune) -> list[tuple[int, int]]:
        """(tick, roof) of the presses as the console reads them: late by its latency, on the grid of its polling."""
        poll = self.tunables["poll_period"] * MS
        found = []
        for tapped, roof in hands(tune, self.person, self.memory, self.dice):
            felt = begin + (tapped + self.console.latency_ms / 1000) * CLOCK
            read = ceil(felt / poll) * poll
            found.append((read, roof))
            if self.dice.happens(self.console.bounce_chance):
                found.append((read + poll, roof))
        return sorted(found)

    def _lost_patience(self, notes: list[tuple[int, int]], presses: list[tuple[int, int]]) -> int:
        """The tick at which the person gives up: after too few good taps in a row, if at all."""
        window = self.tunables["window_late_loose"] * MS
        poor = 0
        for due, roof in notes:
            good = any(r == roof and abs(t - due) <= window for t, r in presses)
            poor = 0 if good else poor + 1
            if poor >= 4 and self.dice.happens(0.10 * (1 - self.person.patience)):
                return due + CLOCK // 2
        return notes[-1][0] + CLOCK

    def _judge(
        self, notes: list[tuple[int, int]], presses: list[tuple[int, int]], stop: int
    ) -> tuple[int, list[int], bool]:
        """The console's part, frame by frame; returns hits, their errors in ticks, and whether the tune was ended."""
        t = self.tunables
        early, late = t["window_early_loose"] * MS, t["window_late_loose"] * MS
        clean_early, clean_late = t["window_early_clean"] * MS, t["window_late_clean"] * MS
        offset = t["input_offset"] * MS
        ahead = round(DRIP_LENGTH_PX / t["note_speed"] * CLOCK)
        open_notes: list[tuple[int, int]] = []
        hits, errors = 0, []
        shown = read = 0
        frame = 0
        while True:
            frame += 1
            now = self.start + 2 * CLOCK + round(frame * FRAME)
            while shown < len(notes) and notes[shown][0] - ahead <= now:
                due, roof = notes[shown]
                self.play.log(now, "drop", roof=roof, ahead=max(0, due - now))
                open_notes.append(notes[shown])
                shown += 1
            while read < len(presses) and presses[read][0] <= now:
                tick, roof = presses[read]
                read += 1
                self.play.log(now, "tap", roof=roof, ago=now - tick)
                near = [n for n in open_notes if n[1] == roof and -early <= tick - offset - n[0] <= late]
                if near:
                    note = min(near, key=lambda n: abs(tick - offset - n[0]))
                    open_notes.remove(note)
                    error = tick - offset - note[0]
                    hits += 1
                    errors.append(error)
                    grade = CLEAN if -clean_early <= error <= clean_late else LOOSE
                    self.play.log(now, "judged", grade=grade, error=error, roof=roof)
            for note in [n for n in open_notes if now - offset - n[0] > late + CLOCK // 50]:
                open_notes.remove(note)
                self.play.log(now, "judged", grade=MISSED, error=0, roof=note[1])
            if self.dice.happens(0.0008):
                self.play.log(now, "slow_frame", lasted=34 + self.dice.below(20))
            if now >= stop or (shown == len(notes) and not open_notes and read == len(presses)):
                return hits, errors, shown == len(notes) and now < stop


def rating(person: Person, summary: dict[str, object], memory: Memory, dice: Dice) -> int:
    """What the person says with the slide pot: hits please, but not too many."""
    share = int(str(summary["hits"])) / int(str(summary["notes"]))
    liked = 30 + 60 * share - 70 * max(0.0, share - 0.88) + dice.normal(6 * person.patience, 10)
    return int(clamp(liked - (15 if summary["ending"] == "quit" else 0), 0, 100))
