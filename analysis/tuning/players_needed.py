"""How many more players leave how much less doubt: the one law that proposals and plans go by."""

from math import ceil

# More than a class can give.
MOST_PLAYERS = 60


def more_needed(players: int, now: float, wanted: float) -> int:
    """So many more players shrink a margin of error from `now` to `wanted` (above 0): it falls with the root of their
    number, as the standard error of any mean over players does. 0 where it is small enough.
    """
    # 1e-9: a number that is whole but for rounding is not one more.
    return max(0, ceil(players * ((now / wanted) ** 2 - 1) - 1e-9))


def players_to_know(players: int, now: float, wanted: float) -> int | None:
    """The same; None where no class could give so many."""
    more = more_needed(players, now, wanted)
    return more if more <= MOST_PLAYERS else None
