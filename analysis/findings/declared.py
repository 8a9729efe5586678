"""What a finding is whatever the data: its id, title and method, and the columns of its tables with unit and meaning.

Each finding is declared beside the function that computes it. A table that differs from what is declared is an error;
the list of all ids and columns for readers (FINDINGS.md) is written from the declarations.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from analysis.columns import Column
from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.stats.estimate import Estimate

# Columns that many tables have.
STAGE = (Column("stage", "", "number of the stage"), Column("stage_kind", "", "0 regular, 1 boss"))
PART = (*STAGE, Column("name", "", "the part of the game in words"))
CAUSE = (Column("cause", "", "the number of the cause in the log"), Column("label", "", "its name"))


class Undeclared(Exception):
    """A finding does not hold what it was declared to hold; the message names the finding and the columns."""


@dataclass(frozen=True)
class Size:
    """What a finding rests on that has no `Basis`."""

    players: int
    runs: int
    warnings: tuple[str, ...] = ()


def estimate_columns(name: str, unit: str, meaning: str, prefix: str = "") -> tuple[Column, Column, Column]:
    """An estimate and the limits of its interval."""
    return (
        Column(name, unit, meaning),
        Column(f"{prefix}low", unit, f"lower limit of `{name}`, by player"),
        Column(f"{prefix}high", unit, f"upper limit of `{name}`, by player"),
    )


def estimate_cells(name: str, of: Estimate, prefix: str = "") -> dict[str, float | None]:
    """What stands in the columns of `estimate_columns`."""
    return {name: of.value, f"{prefix}low": of.low, f"{prefix}high": of.high}


@dataclass(frozen=True)
class Declared:
    """A finding that can be made again and again. question: a key of QUESTIONS; method: a key of METHODS.

    tables: name -> columns in order; a table may be left out where there is nothing in it. facts: further scalars.
    told_apart_by: the fact by which several findings of this id are told apart.
    """

    id: str
    question: str
    title: str
    method: str
    tables: Mapping[str, tuple[Column, ...]] = field(default_factory=dict)
    facts: tuple[Column, ...] = ()
    told_apart_by: str = ""

    def finding(
        self,
        size: Basis | Size,
        sentence: str,
        estimate: Estimate | None = None,
        tables: Mapping[str, Any] | None = None,
        facts: Mapping[str, Any] | None = None,
        **other: Any,
    ) -> Finding:
        """The finding on some data.

        tables: name -> a frame, columns of equal length, or a list of rows as mappings. other: what differs from
        `size` or the declaration (players, runs, warnings, title, method). Raises Undeclared.
        """
        made = {name: self._frame(name, table) for name, table in (tables or {}).items()}
        self._check("facts", set(facts or {}), self.facts)
        told: dict[str, Any] = {
            "title": self.title,
            "method": self.method,
            "players": size.players,
            "runs": size.runs,
            "warnings": size.warnings,
            "subject": (facts or {}).get(self.told_apart_by, ""),
        }
        return Finding(
            id=self.id,
            question=self.question,
            sentence=sentence,
            estimate=estimate,
            tables=made,
            facts=facts or {},
            **(told | other),
        )

    def _frame(self, name: str, table: Any) -> pd.DataFrame:
        if name not in self.tables:
            raise Undeclared(f"{self.id} has no table {name!r}")
        columns = self.tables[name]
        names = [column.name for column in columns]
        frame = pd.DataFrame(table) if len(table) else pd.DataFrame(columns=names)
        self._check(name, set(frame.columns), columns)
        return frame[[one for one in names if one in frame.columns]]

    def _check(self, where: str, got: set[str], columns: Iterable[Column]) -> None:
        wanted = {column.name: column.optional for column in columns}
        missing = [name for name, optional in wanted.items() if not optional and name not in got]
        more = sorted(got - set(wanted))
        if missing and (got or where != "facts"):
            raise Undeclared(f"{self.id}, {where}: {', '.join(missing)} missing")
        if more:
            raise Undeclared(f"{self.id}, {where}: {', '.join(more)} not declared")
