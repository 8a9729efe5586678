"""The playtests of the demo: which console stood at which table, with which build, and who sat down there."""

from dataclasses import dataclass

from demo_logs.simulator.native import Board
from demo_logs.simulator.people import Person, person
from demo_logs.simulator.play import Console

LANTERN_1 = Console(1, pot_noise=2.0)
LANTERN_2 = Console(2, pot_noise=24.0, bounce_chance=0.03)
LANTERN_3 = Console(3, latency_ms=20.0, pot_noise=4.0)

A_BOARD = Board()
TEAM = (17, 18)
BEGINNERS = (21, 22, 23, 24, 25, 26)
# They had tried the games at the club's open evening, before any log.
TRIED_BEFORE = (9, 10)


@dataclass(frozen=True)
class Damage:
    """What a bad cable and a late start did to the bytes after they had left the console."""

    late_start: int = 0  # bytes before the capture began
    flipped: int = 0  # bytes with one bit turned
    lost: int = 0  # places where some bytes are missing
    cut_end: int = 0  # bytes missing at the end


@dataclass(frozen=True)
class Session:
    """One console, one table, one build: the players pass the console on.

    reset_in: the run in which it resets. on_since_s: how long it had been on when the recording began.
    """

    name: str
    game: str
    build: str
    console: Console
    players: tuple[int, ...]
    runs: int
    board: Board = A_BOARD
    reset_in: int | None = None
    on_since_s: int = 0
    damage: Damage | None = None


# In the order of time, which is also that of their names: a study that reads them sorted counts attempts rightly.
SESSIONS = (
    Session("crate_loft_a_table1", "crate_loft", "a", LANTERN_1, (1, 2, 3, 4, 5, 6, 7, 17), 3),
    Session("crate_loft_a_table2", "crate_loft", "a", LANTERN_3, (8, 9, 10, 11, 12), 3),
    Session("crate_loft_b_table1", "crate_loft", "b", LANTERN_1, (5, 6, 7, 8, 13, 14, 15, 16), 3),
    Session("one_puff_a_table1", "one_puff", "a", LANTERN_1, (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 18), 5),
    # Its 32-bit microseconds wrap 95 s after the recording began.
    Session("one_puff_b_table1", "one_puff", "b", LANTERN_1, (7, 8, 9, 10, 13, 14, 15, 16, 19, 20), 5, on_since_s=4200),
    Session("soot_wardens_a_table1", "soot_wardens", "a", LANTERN_1, (1, 2, 3, 4, 5, 17), 4),
    Session("soot_wardens_a_table2", "soot_wardens", "a", LANTERN_2, (6, 7, 8, 9, 10, 18), 4, reset_in=9),
    Session(
        "soot_wardens_a_table3",
        "soot_wardens",
        "a",
        LANTERN_3,
        (11, 12),
        4,
        board=Board(ring=512, fifo=4),
        damage=Damage(late_start=700, flipped=14, lost=4, cut_end=2500),
    ),
    Session("soot_wardens_b_table1", "soot_wardens", "b", LANTERN_1, (5, 6, 7, 13, 14, 15), 4),
    Session("soot_wardens_b_table2", "soot_wardens", "b", LANTERN_2, (9, 10, 16, 19, 20), 4),
    Session("tin_drizzle_a_table1", "tin_drizzle", "a", LANTERN_1, (1, 2, 3, 4, 5, 6, 17), 6),
    Session("tin_drizzle_a_table2", "tin_drizzle", "a", LANTERN_2, BEGINNERS, 4),
    Session("tin_drizzle_a_table3", "tin_drizzle", "a", LANTERN_3, (7, 8, 9, 10, 11, 12), 6),
    Session("tin_drizzle_b_table1", "tin_drizzle", "b", LANTERN_1, (4, 5, 6, 7, 13, 14, 15, 16), 6),
    Session("tin_drizzle_b_table3", "tin_drizzle", "b", LANTERN_3, (8, 9, 19, 20), 6),
)


def people() -> dict[int, Person]:
    """Everybody who plays, by number."""
    everybody = sorted({player for session in SESSIONS for player in session.players})
    return {n: person(n, "beginners" if n in BEGINNERS else "class", team=n in TEAM) for n in everybody}
