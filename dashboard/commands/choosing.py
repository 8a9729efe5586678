"""The words of a command line that choose runs, the same for every command that reads findings."""

import argparse
from dataclasses import asdict
from typing import Any

from analysis.selection import Selection
from dashboard.filters import attempts_from, stage_from


def add_selection_arguments(parser: argparse.ArgumentParser) -> None:
    """Adds the study and the filter."""
    parser.add_argument("--study", required=True, metavar="FILE", help="the study, a DuckDB file")
    which = parser.add_argument_group("which runs")
    which.add_argument("--game", metavar="TITLE", help="one game; otherwise every game of the study in turn")
    which.add_argument(
        "--build", action="append", default=[], metavar="LABEL", help="only this build; may be repeated"
    )
    which.add_argument("--stage", metavar="N", help="only stage N; 2r is its regular part, 2b its boss")
    which.add_argument(
        "--player", action="append", default=[], metavar="TAG", help="only this player; may be repeated"
    )
    which.add_argument(
        "--group", action="append", default=[], metavar="NAME", help="only this group of players"
    )
    which.add_argument(
        "--attempts", metavar="A-B", help="only the A-th to B-th attempts of each player: 1-1, 1-3, 2-"
    )
    which.add_argument("--makers", action="store_true", help="the makers' own runs count too")


def selections(arguments: argparse.Namespace, games: tuple[str, ...]) -> list[Selection]:
    """One selection a game. Raises ValueError with what to do about it."""
    if arguments.game is not None and arguments.game not in games:
        known = ", ".join(games) or "none"
        raise ValueError(f"The study holds no game “{arguments.game}”. Its games: {known}.")
    stage, kind = stage_from(arguments.stage or "")
    if arguments.stage and stage is None:
        raise ValueError(
            f"--stage {arguments.stage}: write a number, or a number with r (regular part) or b (boss)."
        )
    first, last = attempts_from(arguments.attempts or "")
    if arguments.attempts and first is None and last is None:
        raise ValueError(f"--attempts {arguments.attempts}: write 1-3, 2- or 1.")
    return [
        Selection(
            game=game,
            builds=tuple(arguments.build),
            stage=stage,
            stage_kind=kind,
            players=tuple(arguments.player),
            groups=tuple(arguments.group),
            first_attempt=first,
            last_attempt=last,
            include_team=arguments.makers,
        )
        for game in ([arguments.game] if arguments.game is not None else games)
    ]


def as_json(selection: Selection) -> dict[str, Any]:
    """A selection as JSON values."""
    return {
        name: list(value) if isinstance(value, tuple) else value for name, value in asdict(selection).items()
    }
