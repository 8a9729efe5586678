"""The four demo games side by side: how to play one run of each, and what its player says afterwards."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from demo_logs.simulator import crate_loft, one_puff, soot_wardens, tin_drizzle
from demo_logs.simulator.dice import Dice
from demo_logs.simulator.people import Memory, Person
from demo_logs.simulator.play import Console, Play


class Run(Protocol):
    """One attempt that can be played."""

    def go(self, first_time: bool, seed: int) -> Play: ...


@dataclass(frozen=True)
class Game:
    """One demo game. `run` starts an attempt: (tunables, person, memory, console, dice, start tick)."""

    name: str
    title: str
    clock_hz: int
    run: Callable[[dict[str, int], Person, Memory, Console, Dice, int], Run]
    rating: Callable[[Person, dict[str, object], Memory, Dice], int]


GAMES = {
    game.name: game
    for game in (
        Game("soot_wardens", "Soot Wardens", 1000, soot_wardens.Run, soot_wardens.rating),
        Game("tin_drizzle", "Tin Drizzle", tin_drizzle.CLOCK, tin_drizzle.Run, tin_drizzle.rating),
        Game("crate_loft", "Crate Loft", 1000, crate_loft.Run, crate_loft.rating),
        Game("one_puff", "One Puff", one_puff.CLOCK, one_puff.Run, one_puff.rating),
    )
}
