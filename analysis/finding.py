"""What the analysis hands on: one answer to one question, with all that is needed to judge it.

Dashboard, report and JSON read findings and nothing else.
"""

import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from html import escape
from typing import Any

import pandas as pd

from analysis.answers.answer import table_html
from analysis.plain import plain
from analysis.stats.estimate import FEW_PLAYERS, Estimate
from analysis.words import counted

# Of one or two players no interval by player says anything.
TOO_FEW_PLAYERS = 3
CERTAINTIES = ("solid", "an indication", "too little to tell")
_LONGEST_SUBJECT = 40
_OF_THE_LOGS = "trust"


@dataclass(frozen=True, repr=False)
class Finding:
    """One answer. It prints as `setscrew findings` does, and shows its sentence, certainty and table in a notebook.

    id: dotted, stable, e.g. "deaths.places"; `question` is the page it belongs to.
    sentence: what it says, computed from the data. `method` is a key of methods.METHODS.
    tables: name -> frame; figures draw them, exports write them. Columns of equal length will do to make one.
    facts: further named scalars a figure needs (screen size, labels).
    headline: the same in one short line without interval, for people who pass by; "" where the data show nothing that
    is worth a line. doubtful: the headline may be chance;
    untold: it says that the data cannot tell.
    subject: what tells several findings with one id apart, a target's name for one; mostly there is but one, and no
    subject.
    """

    id: str
    question: str
    title: str
    sentence: str
    players: int
    runs: int
    method: str
    estimate: Estimate | None = None
    warnings: tuple[str, ...] = ()
    tables: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    facts: Mapping[str, Any] = field(default_factory=dict)
    subject: str = ""
    headline: str = ""
    doubtful: bool = False
    untold: bool = False

    def __post_init__(self) -> None:
        frames = {name: pd.DataFrame(table) for name, table in self.tables.items()}
        object.__setattr__(self, "tables", frames)

    @property
    def key(self) -> str:
        """By it one finding is found again among all of a selection: the id, and the subject if there is one.

        Letters, digits and -._ only, whatever the subject holds: it stands in addresses and names of files.
        """
        if not self.subject:
            return self.id
        plain_part = "_".join(re.findall("[a-z0-9]+", self.subject.lower()))[:_LONGEST_SUBJECT]
        return f"{self.id}.{plain_part}-{zlib.crc32(self.subject.encode()):08x}"

    @property
    def _telling(self) -> int:
        """On how many players the answer rests. Fewer may bear on it than played: at a boss, those who came to it."""
        return min(self.players, self.estimate.players) if self.estimate and self.estimate.players else self.players

    @property
    def indicative(self) -> bool:
        """Too few players for the interval to be taken at its word; never of what is counted in the very logs."""
        return self.question != _OF_THE_LOGS and self._telling < FEW_PLAYERS

    @property
    def certainty(self) -> str:
        """How far the headline can be relied on, in the words of CERTAINTIES; nobody else has a rule of it.

        What is counted in the very logs holds of them however few played.
        """
        solid, indication, too_little = CERTAINTIES
        if self.untold:
            return too_little
        if self.question == _OF_THE_LOGS:
            return solid
        if self._telling < TOO_FEW_PLAYERS:
            return too_little
        return indication if self.indicative or self.doubtful else solid

    @property
    def basis(self) -> str:
        """What it rests on, in words."""
        size = f"{counted(self.players, 'player')}, {counted(self.runs, 'run')}"
        return size + (", indicative only" if self.indicative else "")

    def __repr__(self) -> str:
        told = [f"{self.title}: {self.sentence}", f"    [{self.id}; {self.basis}]"]
        return "\n".join(told + [f"    ! {warning}" for warning in self.warnings])

    def _repr_html_(self) -> str:
        """What a notebook shows; all texts are escaped, for names come from logs."""
        parts = [
            f"<h4>{escape(self.title)}</h4><p>{escape(self.sentence)}</p><p><small>{escape(self.basis)}</small></p>"
        ]
        parts += [f"<p>⚠ {escape(warning)}</p>" for warning in self.warnings]
        parts += [f"<p><small>{escape(name)}</small></p>{table_html(t)}" for name, t in self.tables.items()]
        return "".join(parts)

    def to_json(self) -> dict[str, Any]:
        """The finding as plain JSON values; NaN and infinity become null."""
        return {
            "id": self.id,
            "question": self.question,
            "title": self.title,
            "sentence": self.sentence,
            "headline": self.headline,
            "certainty": self.certainty,
            "players": self.players,
            "runs": self.runs,
            "method": self.method,
            "indicative": self.indicative,
            "estimate": _estimate(self.estimate),
            "warnings": list(self.warnings),
            "facts": plain(self.facts),
            "tables": plain(self.tables),
        }


def _estimate(estimate: Estimate | None) -> dict[str, Any] | None:
    if estimate is None:
        return None
    return {name: plain(getattr(estimate, name)) for name in ("value", "low", "high", "level", "unit")}
