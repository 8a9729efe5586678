"""What every demo game shares: events leave a world as (tick, kind, values), and a console has its own flaws."""

from dataclasses import dataclass, field

Values = dict[str, int]
Event = tuple[int, str, Values]


@dataclass(frozen=True)
class Console:
    """One Lantern. Its flaws are constant and known to the truth file only."""

    number: int
    latency_ms: float = 0.0  # a press reaches the game this much late
    pot_noise: float = 1.5  # raw counts of 4096
    bounce_chance: float = 0.0  # a press is seen twice


@dataclass
class Play:
    """One run as it was played: the events of the log, and what the truth file keeps of it."""

    events: list[Event] = field(default_factory=list)
    end: int = 0  # tick
    summary: dict[str, object] = field(default_factory=dict)

    def log(self, tick: int, kind: str, **values: int) -> None:
        """Adds one event."""
        self.events.append((tick, kind, values))
