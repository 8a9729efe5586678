"""The simulated people: what they can do, how they learn, when they have had enough."""

from dataclasses import dataclass, field

from demo_logs.simulator.dice import Dice, clamp


@dataclass(frozen=True)
class Person:
    """One player. Standard units: skill in standard deviations of the class, times in seconds or milliseconds."""

    player: int
    group: str
    team: bool
    skill: float
    learning: float  # skill gained by long practice
    reaction_s: float
    attention: int  # shots kept in view at once
    patience: float  # 0 leaves early, 1 stays
    tap_bias_ms: float  # negative: before the beat
    tap_spread_ms: float
    lapse: float  # share of notes not played at all
    stray: float  # extra presses a note

    @property
    def tag(self) -> str:
        """The player tag as the study shows it."""
        return f"P{self.player:02d}"

    def skill_after(self, runs: int) -> float:
        """Skill after `runs` attempts at one game: quick gains first, then a plateau."""
        return self.skill + self.learning * runs / (runs + 2.0)


def person(player: int, group: str = "class", team: bool = False, stream: str = "people") -> Person:
    """Draws one person. Beginners tap wider and let more notes go; the makers know their game."""
    dice = Dice(stream, player)
    skill = clamp(dice.normal(), -2.2, 2.2)
    if team:
        skill = 1.5 + 0.3 * skill
    beginner = group == "beginners"
    if beginner:
        skill -= 0.8
    return Person(
        player=player,
        group=group,
        team=team,
        skill=round(skill, 3),
        learning=round(clamp(dice.normal(1.6, 0.5), 0.2, 2.8), 3),
        reaction_s=round(clamp(dice.normal(0.31 - 0.022 * skill, 0.03), 0.2, 0.48), 3),
        attention=int(clamp(round(4 + 1.1 * skill + dice.normal(0, 0.6)), 2, 8)),
        patience=round(clamp(dice.normal(0.62, 0.22), 0.05, 0.98), 3),
        tap_bias_ms=round(dice.normal(-24, 10), 1),
        tap_spread_ms=round(clamp(dice.normal(29 - 4.5 * skill, 4) + (12 if beginner else 0), 13, 70), 1),
        lapse=round(clamp(dice.normal(0.035 - 0.012 * skill, 0.012), 0.003, 0.14) + (0.05 if beginner else 0), 4),
        stray=round(clamp(dice.normal(0.03 - 0.008 * skill, 0.012), 0.0, 0.09), 4),
    )


@dataclass
class Memory:
    """What a person brings along to the next attempt at one game."""

    runs: int = 0
    deaths_at: dict[str, int] = field(default_factory=dict)  # place -> deaths there so far
    stuck: int = 0  # runs in a row that ended at the same place
    last_end: str = ""
    shift_ms: float = 0.0  # how far the person has corrected its own taps

    def died_at(self, place: str) -> int:
        """Counts a death; returns how many there have been at this place."""
        self.deaths_at[place] = self.deaths_at.get(place, 0) + 1
        return self.deaths_at[place]

    def ended_at(self, place: str) -> None:
        """Counts a lost run; two in a row at one place are frustrating."""
        self.stuck = self.stuck + 1 if place == self.last_end else 0
        self.last_end = place
