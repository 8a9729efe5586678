"""The next playtest: how many players, who plays what, what to tell them, when to stop."""

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from analysis.answers.answer import Answer, head

if TYPE_CHECKING:
    import pandas as pd

    from analysis.tuning.playtest_plan import Plan


@dataclass(frozen=True, repr=False)
class Planned(Answer):
    """The plan of a playtest of `game`, `runs` runs each; `full_text` is its sheet, in Markdown."""

    study: str
    fingerprint: str
    game: str
    runs: int
    plan: "Plan"

    @property
    def frame(self) -> "pd.DataFrame":
        """The schedule, one row a player: number, player (the tag to enter), builds (in order), runs (on each)."""
        import pandas as pd

        rows = [[s.number, s.player, ", then ".join(s.builds), s.runs] for s in self.plan.schedule]
        return pd.DataFrame(rows, columns=["number", "player", "builds", "runs"])

    def _keys(self) -> dict[str, Any]:
        from analysis.plain import plain

        return plain(head(self.study, self.fingerprint, self.game) | {"runs": self.runs} | asdict(self.plan))

    def to_json(self) -> dict[str, Any]:
        """The keys of `setscrew plan --json`."""
        return self._keys() | {"sheet": self.full_text()}

    def text(self) -> str:
        """What `setscrew plan` prints: how many it takes, and what so many would teach."""
        from analysis.answers.plan_sheet import first

        return "\n".join(first(self._keys()))

    def full_text(self) -> str:
        """The sheet that `setscrew plan --all` prints, in Markdown."""
        from analysis.answers.plan_sheet import sheet

        return sheet(self._keys())
