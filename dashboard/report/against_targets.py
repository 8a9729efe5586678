"""How a game stands against its targets: what the newest build showed for each of them."""

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.findings.progress.player_values import Played, figure_of, of_first_runs, player_values
from analysis.models.targets import Aim, Target
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning.proposal import Proposal
from analysis.words import amount, counted, points

# 0.8 - 0.75 is a little more than 0.05 in binary.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Standing:
    """One target on one build. figure: in the target's unit; None where nobody played what it speaks of."""

    target: Target
    build: str
    figure: float | None
    players: int
    runs: int

    @property
    def met(self) -> bool | None:
        """Whether the figure is within the tolerance; None without a figure."""
        return None if self.figure is None else bool(self.target.miss(self.figure) <= self.target.tolerance + _ROUNDING)

    @property
    def wanted(self) -> str:
        """`about 75 %, within 5 points`."""
        aim = {Aim.AT_LEAST: "at least", Aim.AT_MOST: "at most"}.get(self.target.aim, "about")
        unit, off = self.target.unit, self.target.tolerance
        near = points(off, signed=False) if unit == "share" else amount(off, unit)
        return f"{aim} {amount(self.target.wanted, unit)}, within {near}"

    @property
    def seen(self) -> str:
        """`33 % (6 players, 6 runs)`."""
        if self.figure is None:
            return "nobody played what it speaks of"
        return f"{amount(self.figure, self.target.unit)} ({self.basis})"

    @property
    def basis(self) -> str:
        """`6 players, 6 runs`."""
        return f"{counted(self.players, 'player')}, {counted(self.runs, 'run')}"

    @property
    def verdict(self) -> str:
        """`met`, `missed by 42 points`, or a dash's worth of words."""
        if self.figure is None:
            return "open"
        if self.met:
            return "within tolerance"
        off = float(self.target.miss(self.figure))
        return (
            f"missed by {points(off, signed=False) if self.target.unit == 'share' else amount(off, self.target.unit)}"
        )


def standings(
    reader: Reader, selection: Selection, targets: Sequence[Target], build: str, proposals: Sequence[Proposal] = ()
) -> tuple[Standing, ...]:
    """Each target on `build`: as a proposal for that build observed it, or counted by the same rules."""
    seen = {one.target: one for one in proposals[0].targets} if proposals and proposals[0].build == build else {}
    data = Played(reader)
    found = []
    for target in targets:
        if target.name in seen:
            one = seen[target.name]
            found.append(Standing(target, build, one.observed, one.observed_players, one.observed_runs))
        else:
            found.append(_counted(data, selection, target, build))
    return tuple(found)


def _counted(data: Played, selection: Selection, target: Target, build: str) -> Standing:
    values = player_values(data, selection, of_first_runs(target), build)
    if values is None or not len(values.value):
        return Standing(target, build, None, 0, 0)
    return Standing(target, build, figure_of(target, values), len(values.value), int(values.runs.sum()))
