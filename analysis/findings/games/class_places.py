"""The games of a class, each from a study of its own: their figures, and which places the data let them hold."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from analysis.findings.games.side_by_side import FIGURES, figure_values
from analysis.played_order import of_newest
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.estimate import FEW_PLAYERS, LEVEL, Estimate
from analysis.stats.players.shared_places import shared_places
from analysis.stats.players.within_player import mean_of_players
from analysis.stats.proportions import share_by_player
from analysis.words import counted, listed

Array = np.ndarray
_SHORTEST_S = 0.1  # a run that ended at once has a logarithm too
_NAMED = 4  # more games that share a place are counted, not named
_MOST_RATING = 100.0

METHOD = (
    "Every player counts once, by the mean of their own runs. All pairs of games are compared, in both directions: "
    "the larger p of Welch's test and of permuting players, corrected by Holm. A game's places run from one more than "
    "the games that are shown to lie above it, by themselves or over a third, down to where those that are shown to "
    "lie below it begin: simultaneous intervals of ranks (Al Mohamad, Goeman & van Zwet 2022, Biometrics 78:238-247; "
    "Mogstad, Romano, Shaikh & Wilhelm 2024, Rev. Econ. Stud. 91:476-518; Holm 1979, Scand. J. Stat. 6:65-70). "
    "Lengths are compared by their logarithms, and given as geometric means. Intervals of figures are by player."
)


@dataclass(frozen=True)
class Entrant:
    """A game of one study. means: figure -> one number a player, for those who have it; runs: figure -> how many.

    logs: what its study's logs are known by; remarks: what to be wary of, in sentences.
    """

    study: str
    game: str
    means: dict[str, Array]
    runs: dict[str, int]
    logs: frozenset[str]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Row:
    """A game's line: its figure, and the places it can hold."""

    study: str
    game: str
    estimate: Estimate
    first: int
    last: int


@dataclass(frozen=True)
class Placed:
    """The games by one figure, in the order of their values, which is no ranking. level: at which all places hold at
    once; without: games that have no such figure."""

    figure: str
    level: float
    rows: tuple[Row, ...]
    without: tuple[str, ...] = ()

    @property
    def leaders(self) -> tuple[Row, ...]:
        """Those that may be first."""
        return tuple(row for row in self.rows if row.first == 1)

    @property
    def sentence(self) -> str:
        """Who may be first, in one sentence."""
        what, names = FIGURES[self.figure].first, [_named(row, self.rows) for row in self.leaders]
        if len(names) == len(self.rows):
            games = "Both games" if len(names) == 2 else f"All {len(names)} games"
            return f"{games} share the first place: any of them may be it."
        if len(names) == 1:
            return f"{names[0]} is first alone: {what}."
        if len(names) > _NAMED:
            return f"{len(names)} games share the first place: {what}; the data do not tell which."
        return f"{listed(names)} share the first place: {what}; the data do not tell which."


@dataclass(frozen=True)
class ClassPlaces:
    """The games of a class. placed: by each figure that two games have; remarks: on games and files, in sentences."""

    placed: tuple[Placed, ...]
    games: int
    remarks: tuple[str, ...] = field(default=())


def entrants(reader: Reader, study: str) -> list[Entrant]:
    """The games of one study, which goes by the name `study`: the newest build, without the makers' own runs."""
    logs = frozenset(str(key) for key in reader.ask("logs_known")["capture_key"])
    return [_entrant(reader, study, str(game), logs) for game in reader.ask("study_games")["game"]]


def _entrant(reader: Reader, study: str, game: str, logs: frozenset[str]) -> Entrant:
    newest, remarks = of_newest(reader, Selection(game, newest=True)), []
    if newest.maybe_newest:
        remarks.append(f"which build is the newest is not known ({', '.join(newest.maybe_newest)}), so all count")
        newest = newest.of_every_build()
    run = reader.ask_chosen("run_ends", newest)
    untagged = int(np.sum(run["tagged"] == 0))
    if untagged:
        remarks.append(
            f"{counted(untagged, 'run')} without a tag, each taken as a player of its own, so places look surer than "
            "they are"
        )
    players = int(np.unique(run["player"]).size)
    if not players:
        remarks.append("nobody but its makers has played it")
    elif players < FEW_PLAYERS:
        remarks.append(f"only {counted(players, 'player')}")
    means, runs = {}, {}
    for name in FIGURES:
        value = figure_values(name, run)
        known = np.isfinite(value)
        if known.any():
            own = pd.Series(value[known]).groupby(run["player"][known]).mean().to_numpy(float)
            means[name], runs[name] = own, int(known.sum())
    return Entrant(study, game, means, runs, logs, tuple(remarks))


def class_places(games: Sequence[Entrant], by: str | None = None) -> ClassPlaces:
    """The games placed by every figure, or by the one that was said beforehand, which needs no allowance for others.

    A game that an earlier study has too, by a log that both hold, is left out.
    """
    kept, remarks = _apart(games)
    remarks += [f"{one.game} ({one.study}): {remark}." for one in kept for remark in one.remarks]
    names = [name for name in ([by] if by else FIGURES) if sum(name in one.means for one in kept) > 1]
    allowed = (1 - LEVEL) / max(1, len(names))
    return ClassPlaces(tuple(_placed(name, kept, 1 - allowed) for name in names), len(kept), tuple(remarks))


def _apart(games: Sequence[Entrant]) -> tuple[list[Entrant], list[str]]:
    """The games that are there once, and what is said of the others."""
    kept: list[Entrant] = []
    remarks = []
    for one in games:
        same = [other for other in kept if other.game == one.game]
        copy = next((other for other in same if other.logs & one.logs), None)
        if copy:
            shared = counted(len(copy.logs & one.logs), "log")
            remarks.append(f"{one.game}: {one.study} is left out, for it holds {shared} that {copy.study} holds too.")
            continue
        if same:
            where = listed([other.study for other in (*same, one)])
            remarks.append(f"{one.game} is the title of a game in {where}: taken as different games.")
        kept.append(one)
    return kept, remarks


def _placed(name: str, games: Sequence[Entrant], level: float) -> Placed:
    figure = FIGURES[name]
    there = [one for one in games if name in one.means]
    values = [_scaled(name, one.means[name]) for one in there]
    places = shared_places([v if figure.high else -v for v in values], level)
    rows = [
        Row(one.study, one.game, _estimate(name, one), place.first, place.last)
        for one, place in zip(there, places, strict=True)
    ]
    rows.sort(key=lambda row: (-1 if figure.high else 1) * (row.estimate.value or 0.0))
    without = tuple(f"{one.game} ({one.study})" for one in games if name not in one.means)
    return Placed(name, level, tuple(rows), without)


def _scaled(name: str, means: Array) -> Array:
    """On the scale on which games are compared."""
    return np.log(np.maximum(means, _SHORTEST_S)) if name == "length" else means


def _estimate(name: str, one: Entrant) -> Estimate:
    means, unit = one.means[name], FIGURES[name].unit
    if unit == "share":
        # Every player weighs the same, with as many runs as players have on average.
        each = np.full(means.size, one.runs[name] / means.size)
        return share_by_player(means * each, each, np.arange(means.size))
    found = mean_of_players(_scaled(name, means))
    if name == "length":
        return found.exp(unit)
    low, high = (None if end is None else min(max(end, 0.0), _MOST_RATING) for end in (found.low, found.high))
    return replace(found, low=low, high=high, unit=unit)


def _named(row: Row, rows: Sequence[Row]) -> str:
    """The game; with its file where another has the same title."""
    alone = sum(other.game == row.game for other in rows) == 1
    return row.game if alone else f"{row.game} ({row.study})"
