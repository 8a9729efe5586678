"""What a column of a table is: its name, unit and meaning."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Column:
    """A column of a table, or a single fact. unit: "" for texts and counts, "share" for shares of one.

    optional: it is left out where the data have nothing to say of it.
    """

    name: str
    unit: str
    meaning: str
    optional: bool = False
