"""What is known of the players from outside the logs: groups, experience, ratings, as CSV files by player tag.

Nothing is taken from a file with a mistake in it: the first one is told with its line, and the study stays as it was.
"""

import csv
from collections.abc import Callable
from pathlib import Path

import duckdb

from ingest.capture.player_tag import player_tag

PLAYER_COLUMNS = ("player", "group", "team", "first_time")
RATING_COLUMNS = ("player", "game", "attempt", "rating")
MAX_LINES = 10_000
_YES_NO = {"yes": True, "1": True, "true": True, "no": False, "0": False, "false": False, "": None}

_Row = tuple[object, ...]


class BadTable(ValueError):
    """A CSV file that cannot be used; the message names file, line and remedy."""


def take_players(connection: duckdb.DuckDBPyConnection, path: Path) -> int:
    """Reads `player,group,team,first_time` (all but `player` may be left out or empty); returns how many players.

    A player's row replaces what the study held of that player. Raises BadTable and OSError.
    """
    rows = _read(path, PLAYER_COLUMNS, needed=1, row=_player)
    return _replace(connection, "players", key=("player",), rows=rows)


def take_ratings(connection: duckdb.DuckDBPyConnection, path: Path) -> int:
    """Reads `player,game,attempt,rating` (rating 0 to 100); returns how many ratings.

    A rating here goes before the one that the console logged. Raises BadTable and OSError.
    """
    rows = _read(path, RATING_COLUMNS, needed=4, row=_rating)
    return _replace(connection, "ratings", key=("player", "game", "attempt"), rows=rows)


def _player(line: dict[str, str]) -> _Row:
    group = line["group"]
    if len(group) > 40 or not group.isprintable():
        raise ValueError("a group is a word or two, at most 40 characters")
    answers = []
    for name in ("team", "first_time"):
        if line[name].lower() not in _YES_NO:
            raise ValueError(f"{name} is yes, no or empty, not {line[name][:20]!r}")
        answers.append(_YES_NO[line[name].lower()])
    return (player_tag(line["player"]), group or None, *answers)


def _rating(line: dict[str, str]) -> _Row:
    if not 1 <= len(line["game"]) <= 80:
        raise ValueError("game is the title as the log tells it, 1 to 80 characters")
    if not line["attempt"].isdecimal() or not 1 <= int(line["attempt"]) <= MAX_LINES:
        raise ValueError(f"attempt counts a player's runs of the game from 1, not {line['attempt'][:20]!r}")
    try:
        rating = float(line["rating"].replace(",", "."))
    except ValueError:
        rating = -1.0
    if not 0 <= rating <= 100:
        raise ValueError(f"rating is a number from 0 to 100, not {line['rating'][:20]!r}")
    return (player_tag(line["player"]), line["game"], int(line["attempt"]), rating)


def _read(path: Path, columns: tuple[str, ...], needed: int, row: Callable[[dict[str, str]], _Row]) -> list[_Row]:
    rows: list[_Row] = []
    # Spreadsheets save with a byte-order mark, and in many countries with semicolons.
    with path.open(encoding="utf-8-sig", newline="") as file:
        delimiter = ";" if ";" in file.readline(4096) else ","
        file.seek(0)
        reader = csv.DictReader(file, delimiter=delimiter)
        try:
            names = {(name or "").strip().lower(): name for name in reader.fieldnames or ()}
            wrong = sorted(set(names) - set(columns)) or [n for n in columns[:needed] if n not in names]
            if wrong:
                raise ValueError(f"column {wrong[0][:40]!r}: the first line must be {','.join(columns)}")
            for line in reader:
                if reader.line_num > MAX_LINES:
                    raise ValueError(f"more than {MAX_LINES} lines are no list of a class")
                rows.append(row({name: (line.get(names.get(name, "")) or "").strip() for name in columns}))
        except (ValueError, csv.Error) as error:
            raise BadTable(f"{path}, line {max(1, reader.line_num)}: {error}") from None
    return rows


def _replace(connection: duckdb.DuckDBPyConnection, table: str, key: tuple[str, ...], rows: list[_Row]) -> int:
    """Puts `rows` in place of those with the same key, all or none; of two alike in `rows` the later holds."""
    latest = {row[: len(key)]: row for row in rows}
    matches = " AND ".join(f"{name} = ?" for name in key)
    with connection.cursor() as cursor:
        cursor.begin()
        try:
            for values, row in latest.items():
                cursor.execute(f"DELETE FROM {table} WHERE {matches}", list(values))
                cursor.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(row))})", list(row))
            cursor.commit()
        except BaseException:
            cursor.rollback()
            raise
    return len(latest)
