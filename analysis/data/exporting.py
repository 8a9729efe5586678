"""A study's tables as files: read once, and handed lot by lot to whoever writes them."""

import shutil
import tempfile
from collections.abc import Callable, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Protocol

import pandas as pd

from analysis.arguments import WrongArgument
from analysis.data.csv_files import CsvFiles
from analysis.data.declared_tables import TABLES, DataTable
from analysis.data.partitions import Partitions, key_of, place_for, put_in_place
from analysis.data.reading_tables import parts
from analysis.data.workbook import Workbook
from analysis.reader import Reader

FORMATS = ("csv", "excel", "parquet")
PARQUET = "parquet"
Tell = Callable[[float, str], None]


@dataclass(frozen=True)
class Exported:
    """What was written. rows: table -> how many; remarks: what to know of it."""

    files: tuple[Path, ...]
    rows: dict[str, int]
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class Asked:
    """What to write. name: what the study is called among others; tags: players by their tags, and what is personal;
    whole: `games` are all that the study has.
    """

    name: str
    formats: Sequence[str]
    games: Sequence[str]
    makers: bool = False
    tags: bool = False
    whole: bool = True


class _Writer(Protocol):
    def begin(self, table: DataTable) -> None: ...
    def add(self, part: pd.DataFrame) -> None: ...
    def end(self) -> None: ...
    def close(self) -> None: ...


def export(reader: Reader, asked: Asked, folder: Path, tell: Tell = lambda share, words: None) -> Exported:
    """Writes the tables below `folder`, which is made when it is missing; all of them or, after an error, none.

    Raises WrongArgument where a file is there already, and OSError where it cannot be written.
    """
    workbook = f"{key_of(asked.name, '')[:-11]}.xlsx"
    ready = (CsvFiles.names() if "csv" in asked.formats else []) + ([workbook] if "excel" in asked.formats else [])
    there = [name for name in ready if (folder / name).exists()]
    if there:
        raise WrongArgument("out", str(folder), f"{there[0]} is there already; name another folder, or remove it first")
    logs = frozenset(reader.ask("logs_known")["capture_key"].tolist())
    study_key, remarks = "", list[str]()
    if PARQUET in asked.formats:
        study_key, remarks = place_for(folder / PARQUET, asked.name, logs)
    folder.mkdir(parents=True, exist_ok=True)
    work = Path(tempfile.mkdtemp(prefix=".being-written-", dir=folder))
    try:
        with ExitStack() as open_writers:
            writers: list[_Writer] = []
            words = about(reader, asked)
            if "csv" in asked.formats:
                writers.append(CsvFiles(work, words, asked.tags))
            if "excel" in asked.formats:
                writers.append(Workbook(work / workbook, words, asked.tags))
            if PARQUET in asked.formats:
                (work / PARQUET).mkdir()
                writers.append(Partitions(work / PARQUET, asked.name, study_key, logs, build_keys(reader)))
            for writer in writers:
                open_writers.enter_context(closing(writer))
            rows = _write(reader, asked, writers, tell)
        for name in ready:
            (work / name).replace(folder / name)
        files = [folder / name for name in ready]
        if PARQUET in asked.formats:
            some = None if asked.whole else asked.games
            files += put_in_place(work / PARQUET, folder / PARQUET, study_key, some)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return Exported(tuple(files), rows, tuple(remarks))


def _write(reader: Reader, asked: Asked, writers: Sequence[_Writer], tell: Tell) -> dict[str, int]:
    rows = dict.fromkeys(TABLES, 0)
    for at, table in enumerate(TABLES.values()):
        for writer in writers:
            writer.begin(table)
        for part in parts(reader, table, asked.games, asked.makers, asked.tags):
            rows[table.name] += len(part)
            tell((at + rows[table.name] / (rows[table.name] + 100_000)) / len(TABLES), f"writing {table.name}")
            for writer in writers:
                writer.add(part)
        for writer in writers:
            writer.end()
    tell(1.0, "packing")
    return rows


def build_keys(reader: Reader) -> dict[tuple[str, str], str]:
    """(game, label) -> the key of the build, which is the same in every study."""
    known = reader.ask("builds_known").frame
    return {(one.game, one.build): key_of(one.firmware or "", one.build_key) for one in known.itertuples(index=False)}


def about(reader: Reader, asked: Asked) -> list[str]:
    """What an export says of itself, line by line."""
    who = (
        "Players go by their tags. Remarks, names of logs and times are in it too: hand it only to those whom the "
        "players agreed to."
        if asked.tags
        else "Players are numbered P1, P2, ... in place of their tags, the same in all tables of this export. That "
        "makes it hard to tell who they are, not impossible: small groups and habits may give them away."
    )
    return [
        f"Setscrew {version('setscrew')}; study {asked.name}; data fingerprint {reader.fingerprint()}",
        f"Games: {', '.join(asked.games) or 'none'}",
        who,
        f"Lives, deaths and notes are of the runs that count{', the makers included' if asked.makers else ''}. The "
        "table of runs holds all, with valid, open and team to choose by.",
        "Runs of one player are alike: compare players, not rows.",
    ]
