"""Which runs a question is asked of: the one filter that every finding, page and export obeys."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Selection:
    """A choice of runs. None and empty mean "all"; the makers' own runs are left out unless asked for."""

    game: str
    builds: tuple[str, ...] = ()
    stage: int | None = None
    stage_kind: int | None = None
    players: tuple[str, ...] = ()
    groups: tuple[str, ...] = ()
    first_attempt: int | None = None
    last_attempt: int | None = None
    include_team: bool = False

    def parameters(self) -> dict[str, object]:
        """The values that queries/chosen_runs.sql is asked with."""
        return {
            "game": self.game,
            "builds": list(self.builds) or None,
            "players": list(self.players) or None,
            "groups": list(self.groups) or None,
            "first_attempt": self.first_attempt,
            "last_attempt": self.last_attempt,
            "include_team": self.include_team,
        }
