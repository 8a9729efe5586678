"""The tables as Parquet in partitions, so that many classes lie in one folder and any engine reads them as one table.

    FOLDER/<table>/game_key=.../study_key=.../build_key=.../data.parquet
    FOLDER/logs/study_key=.../data.parquet        by which logs a study is known again

Keys are made of small letters, digits and dashes, whatever titles and labels hold: no engine takes one for a number or
a path, none is empty, and none is another on a disk that knows no capitals. The titles themselves are columns.
"""

import hashlib
import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path

import duckdb
import pandas as pd

from analysis.arguments import WrongArgument
from analysis.data.declared_tables import TABLES, DataTable

_MEMORY = "256MB"
_LONGEST = 20  # three of them and the folder have to stay within the 260 characters that some systems allow a path
LOGS = "logs"


def key_of(words: str, known_by: str) -> str:
    """A name for a partition: what can be read of `words`, and ten hex digits of what it is known by."""
    kept = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in words.lower())
    readable = "-".join(part for part in kept.split("-") if part)[:_LONGEST].strip("-")
    digits = hashlib.sha256(known_by.encode("utf-8", "surrogatepass")).hexdigest()[:10]
    return f"{readable or 'x'}-{digits}"


def studies_in(folder: Path) -> dict[str, tuple[str, frozenset[str]]]:
    """The studies that lie in a folder of partitions: key -> name and the keys of their logs."""
    paths = sorted((folder / LOGS).glob("study_key=*/*.parquet"))
    if not paths:
        return {}
    with duckdb.connect() as base:
        question = (
            "FROM read_parquet($paths, hive_partitioning = true) "
            "SELECT study_key, any_value(study), list(capture_key) GROUP BY study_key"
        )
        rows = base.execute(question, {"paths": [_escaped(path) for path in paths]}).fetchall()
    return {key: (name, frozenset(logs)) for key, name, logs in rows}


def place_for(folder: Path, name: str, logs: frozenset[str]) -> tuple[str, list[str]]:
    """The key under which a study goes into the folder, and what is to be said of that.

    One of the same name and most of whose logs are the same is the same study, and is replaced; one that shares none is
    another. Raises WrongArgument where it is neither.
    """
    remarks, own = [], key_of(name, "\n".join([name, *sorted(logs)]))
    for key, (other, theirs) in studies_in(folder).items():
        common = len(logs & theirs)
        if other == name and common and 2 * common >= min(len(logs), len(theirs)):
            own = key
            remarks.append(f"The study {name}, which lay there already, was replaced.")
        elif other == name and common:
            remedy = f"a study of this name is in {folder} and shares some logs with it; name this one otherwise"
            raise WrongArgument("name", name, remedy)
        elif common:
            remarks.append(f"{common} of its logs are in the study {other} there too: they count twice.")
    return own, remarks


class Partitions:
    """Writes the tables into a folder, lot by lot; rows wait in a file of DuckDB's until their table is whole.

    builds: (game, build) -> key of the build, the same in every study.
    """

    def __init__(
        self, folder: Path, study: str, study_key: str, logs: frozenset[str], builds: Mapping[tuple[str, str], str]
    ):
        self._folder, self._study, self._key = folder, study, study_key
        self._rows = folder / "waiting.duckdb"
        self._builds = list(builds.items())
        self._number = {pair: number for number, (pair, _) in enumerate(self._builds)}
        self._base = duckdb.connect(str(self._rows), config={"memory_limit": _MEMORY, "threads": 1})
        self._do("SET pandas_analyze_sample = 0")  # a text stays one, also where the first thousand are missing
        place = folder / LOGS / f"study_key={study_key}"
        place.mkdir(parents=True)
        known = pd.DataFrame({"study": study, "capture_key": sorted(logs)}, dtype=object)
        self._base.register("part", known)
        rows = (
            "FROM part SELECT study::VARCHAR AS study, capture_key::VARCHAR AS capture_key"  # also where there are none
        )
        self._do(f"COPY ({rows}) TO '{_quoted(place / 'data.parquet')}' (FORMAT parquet)")

    def _do(self, statement: str) -> duckdb.DuckDBPyConnection:
        try:
            return self._base.execute(statement)
        except duckdb.IOException as error:
            raise OSError(None, str(error)) from error

    def begin(self, table: DataTable) -> None:
        """A new table."""
        self._table = table
        columns = ", ".join(f"{column.name} {column.kind.sql}" for column in table.columns)
        self._do(f"CREATE OR REPLACE TABLE waiting (partition_number INTEGER, study VARCHAR, {columns})")

    def add(self, part: pd.DataFrame) -> None:
        """Some rows of it; columns that they lack are missing values."""
        pairs = zip(part["game"], part["build"], strict=True)
        numbered = part.assign(study=self._study, partition_number=[self._number[pair] for pair in pairs])
        self._base.register("part", numbered)
        self._do("INSERT INTO waiting BY NAME FROM part")

    def end(self) -> None:
        """The table is whole: a file for each build."""
        for (number,) in self._do("FROM waiting SELECT DISTINCT partition_number ORDER BY ALL").fetchall():
            (game, _), build_key = self._builds[number]
            keys = (f"game_key={key_of(game, game)}", f"study_key={self._key}", f"build_key={build_key}")
            place = self._folder.joinpath(self._table.name, *keys)
            place.mkdir(parents=True)
            rows = f"FROM waiting SELECT * EXCLUDE (partition_number) WHERE partition_number = {number}"
            to = f"'{_quoted(place / 'data.parquet')}' (FORMAT parquet, COMPRESSION zstd)"
            self._do(f"COPY ({rows}) TO {to}")

    def close(self) -> None:
        """Everything is written."""
        self._base.close()
        self._rows.unlink(missing_ok=True)


def put_in_place(new: Path, folder: Path, study_key: str, games: Sequence[str] | None = None) -> list[Path]:
    """Moves the partitions of one study from `new` into `folder`, in place of those it had.

    games: only those of these games. Returns the files.

    Its list of logs goes last and comes last: an export that is broken off in between is put right by the next one.
    """
    for table in (*TABLES, LOGS):
        for key in ["*"] if games is None else [key_of(game, game) for game in games]:
            for old in sorted((folder / table).glob(f"game_key={key}/study_key={study_key}")):
                shutil.rmtree(old)
        for path in sorted((new / table).glob("**/*.parquet")):
            place = folder / path.relative_to(new)
            place.parent.mkdir(parents=True, exist_ok=True)
            path.replace(place)
    return sorted(
        path for table in (*TABLES, LOGS) for path in (folder / table).glob(f"**/study_key={study_key}/**/*.parquet")
    )


def _escaped(path: Path) -> str:
    """A path of which DuckDB takes no letter for a pattern."""
    return "".join(f"[{letter}]" if letter in "*?[" else letter for letter in str(path))


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")
