"""What every demo game shares: events leave a world as (tick, kind, values), and a console has its own flaws."""

from dataclasses import dataclass, field

from demo_logs.simulator.dice import Dice, clamp
from demo_logs.simulator.people import Memory, Person

Values = dict[str, int]
Event = tuple[int, str, Values]


@dataclass(frozen=True)
class Console:
    """One Lantern. Its flaws are constant and known to the truth file only."""

    number: int
    latency_ms: float = 0.0  # a press reaches the game this much late
    pot_noise: float = 1.5  # raw counts of 4096
    bounce_chance: float = 0.0  # a press is seen twice

    def pot(self, raw: float, dice: Dice) -> int:
        """What the slide pot reads where it stands at `raw`."""
        return int(clamp(raw + dice.normal(0, self.pot_noise), 0, 4095))


@dataclass
class Play:
    """One run as it was played: the events of the log, and what the truth file keeps of it."""

    events: list[Event] = field(default_factory=list)
    end: int = 0  # tick
    summary: dict[str, object] = field(default_factory=dict)

    def log(self, tick: int, kind: str, **values: int) -> None:
        """Adds one event."""
        self.events.append((tick, kind, values))


@dataclass(eq=False)
class Attempt:
    """What a run of any game begins with: a person at a console, from the tick `start` on. Each game plays its own."""

    tunables: dict[str, int]
    person: Person
    memory: Memory
    console: Console
    dice: Dice
    start: int
    play: Play = field(default_factory=Play, init=False)

    def __post_init__(self) -> None:
        """What a game's run begins with besides."""

    def begin(self, first_time: bool, seed: int, **state: int) -> None:
        """Logs the run's start, with what the game says of its state then."""
        who = {"player": self.person.player, "team": int(self.person.team)}
        self.play.log(self.start, "run_begin", **who, first_time=int(first_time), seed=seed, **state)
