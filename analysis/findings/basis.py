"""What the findings of one selection rest on: runs, players, and what to be wary of."""

from dataclasses import dataclass

import numpy as np

from analysis.finding import Finding
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.words import counted

# What is given up so many seconds after a death is given up because of it. A convention, no source.
SOON_S = 10.0


@dataclass(frozen=True)
class Basis:
    """The chosen runs (columns of queries/run_ends.sql, at least run_id and player), the roles their games declare,
    and shared warnings.
    """

    run: Columns
    roles: frozenset[str]
    warnings: tuple[str, ...]

    @property
    def runs(self) -> int:
        return int(self.run["run_id"].size)

    @property
    def players(self) -> int:
        return int(np.unique(self.run["player"]).size)

    @property
    def size(self) -> str:
        """`34 runs of 12 players`."""
        return f"{counted(self.runs, 'run')} of {counted(self.players, 'player')}"


def read_basis(reader: Reader, selection: Selection) -> Basis:
    """The basis of all findings on `selection`."""
    run = reader.ask_chosen("run_ends", selection)
    warnings = []
    damaged, mixed = int(np.sum(run["damaged"] == 1)), int(np.sum(run["mixed_build"] == 1))
    untagged = int(np.sum(run["tagged"] == 0))
    if damaged:
        warnings.append(f"{counted(damaged, 'run')} lost packets or events: deaths and time may be missing there.")
    if mixed:
        warnings.append(f"In {counted(mixed, 'run')} a tunable changed while the run went on.")
    if untagged:
        warnings.append(
            f"{counted(untagged, 'run')} without a player tag: each is counted as a player of its own, on a first "
            "attempt, so intervals are too narrow if one person played several."
        )
    behind = reader.ask("roles_behind", game=selection.game)["name"].size
    if behind:
        warnings.append(
            f"The runs of {counted(behind, 'log')} were built before a role was corrected: ingest the logs again."
        )
    roles = frozenset(str(role) for role in reader.ask_chosen("roles", selection)["role"])
    return Basis(run, roles, tuple(warnings))


def nothing(question: str, sentence: str, basis: Basis | None = None) -> Finding:
    """The finding of a question that cannot be asked of these runs, with the reason."""
    return Finding(
        id=f"{question}.none",
        question=question,
        title="Nothing to show",
        sentence=sentence,
        players=basis.players if basis else 0,
        runs=basis.runs if basis else 0,
        method="count",
        warnings=basis.warnings if basis else (),
    )


NO_RUNS = "No runs are chosen: ingest a play log of this game, or widen the selection."
