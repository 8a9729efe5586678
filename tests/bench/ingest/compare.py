"""Ingest against DuckDB's own read_csv of the same events, and against a plain Python loop.

    python -m tests.bench.ingest.compare [EVENTS [ROUNDS]]

Each round is measured side by side, one after the other, in one process; the ratio counts, not the seconds. The text
has one line an event, with run and stage already on it (ingest must find those itself); read_csv is given the types.
It is split into the same tables, with the same NULLs, in two ways: as one writes it down, and with everything that was
found to make read_csv faster. CPU/wall says how many cores each kept busy.
"""

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import duckdb

from ingest.study.store import INGEST_MEMORY_MB, import_log, open_study
from tests import reference
from tests.bench.ingest.stream import write_stream

Split = list[tuple[str, str, list[tuple[str, str]]]]  # table, kind, its columns with their SQL types


def measured(work: Callable[[], None]) -> tuple[float, float]:
    """(wall, CPU) seconds."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


def ingest(log: Path, study: Path) -> None:
    """The product, as `setscrew ingest` does it: decode, assemble, load, checkpoint."""
    study.unlink(missing_ok=True)
    with open_study(study, memory_mb=INGEST_MEMORY_MB) as opened:
        import_log(opened, log)


def write_text(study: Path, text: Path) -> Split:
    """Writes the events of a study as one CSV in the order of time; says how to split them again."""
    with open_study(study, read_only=True) as opened:
        ask = opened.connection.execute
        split: Split = []
        for table, kind in ask("SELECT table_name, kind FROM kinds ORDER BY number").fetchall():
            columns = [(name, type_) for name, type_, *_ in ask(f"DESCRIBE {table}").fetchall()]
            split.append((table, kind, columns))
        most = max(len(columns) for _, _, columns in split)
        parts = []
        for table, kind, columns in split:
            values = [f'"{name}"::BIGINT' for name, _ in columns] + ["NULL"] * (most - len(columns))
            parts.append(
                f"SELECT '{kind}' AS kind, "
                + ", ".join(f"{v} AS c{i}" for i, v in enumerate(values))
                + f" FROM {table}"
            )
        ask(f"COPY ({' UNION ALL '.join(parts)} ORDER BY c0, c3) TO '{text}' (HEADER)")
    return split


def read_text(text: Path, database: Path, split: Split) -> None:
    """DuckDB's way: read once into a temporary table, split by kind, checkpoint."""
    database.unlink(missing_ok=True)
    with duckdb.connect(str(database)) as connection:
        most = max(len(columns) for _, _, columns in split)
        types = ", ".join(["'kind': 'VARCHAR'", *(f"'c{i}': 'BIGINT'" for i in range(most))])
        connection.execute("BEGIN")
        connection.execute("CREATE SCHEMA events")
        connection.execute(f"CREATE TEMP TABLE raw AS FROM read_csv('{text}', header = true, columns = {{{types}}})")
        for table, kind, columns in split:
            made = ", ".join(f'c{i}::{type_} AS "{name}"' for i, (name, type_) in enumerate(columns))
            connection.execute(f"CREATE TABLE {table} AS SELECT {made} FROM raw WHERE kind = '{kind}'")
        connection.execute("DROP TABLE raw")
        connection.execute("COMMIT")


def read_text_tuned(text: Path, database: Path, split: Split, study: Path) -> None:
    """The same at its best: kinds as an enumeration, narrow numbers, the dialect told, the study's own tables."""
    database.unlink(missing_ok=True)
    with duckdb.connect(str(study), read_only=True) as opened:
        asked = "SELECT sql FROM duckdb_tables() WHERE schema_name = 'events'"
        tables = [row[0] for row in opened.execute(asked).fetchall()]
    kinds = ", ".join(f"'{kind}'" for _, kind, _ in split)
    columns: list[set[str]] = [set() for _ in range(max(len(columns) for _, _, columns in split))]
    for _, _, own in split:
        for column, (_, type_) in zip(columns, own, strict=False):
            column.add(type_)
    wide = {"BIGINT", "UINTEGER"}
    types = ["'kind': 'event_kind'"]
    types += [f"'c{i}': '{'BIGINT' if found & wide else 'INTEGER'}'" for i, found in enumerate(columns)]
    with duckdb.connect(str(database)) as connection:
        connection.execute(f"CREATE TYPE event_kind AS ENUM ({kinds})")
        connection.execute("BEGIN")
        connection.execute("CREATE SCHEMA events")
        connection.execute(
            f"CREATE TEMP TABLE raw AS FROM read_csv('{text}', header = true, columns = {{{', '.join(types)}}}, "
            "auto_detect = false, delim = ',', quote = '', escape = '')"
        )
        for table in tables:
            connection.execute(table)
        for table, kind, own in split:
            made = ", ".join(f"c{i}::{type_}" for i, (_, type_) in enumerate(own))
            connection.execute(f"INSERT INTO {table} SELECT {made} FROM raw WHERE kind = '{kind}'")
        connection.execute("DROP TABLE raw")
        connection.execute("COMMIT")


def same_events(study: Path, database: Path, split: Split) -> None:
    """Both ways must have loaded the same, or the comparison means nothing."""
    with duckdb.connect(str(study), read_only=True) as one, duckdb.connect(str(database), read_only=True) as other:
        for table, _, columns in split:
            sums = ", ".join(f'count("{name}"), sum("{name}")' for name, _ in columns)
            asked = f"SELECT count(*), {sums} FROM {table}"
            assert one.execute(asked).fetchall() == other.execute(asked).fetchall(), table


def plain_loop(log: Path, events: int) -> float:
    """Seconds of wall time an event of the plain decoder on the first `events` or so of the log, loading included."""
    with log.open("rb") as file:
        data = file.read(8 * events)
    wall = time.perf_counter()
    found = reference.decode(data).events
    by_kind: dict[str, list[tuple[int, ...]]] = {}
    for event in found:
        by_kind.setdefault(event.kind, []).append((event.power_up, event.tick, *event.fields.values()))
    with duckdb.connect() as connection:
        for kind, rows in by_kind.items():
            connection.execute(f"CREATE TABLE k_{kind} ({', '.join(f'c{i} BIGINT' for i in range(len(rows[0])))})")
            with connection.appender(f"k_{kind}") as appender:
                appender.append_rows(rows)
    return (time.perf_counter() - wall) / len(found)


def main(events: int, rounds: int) -> dict[str, float]:
    """Prints each round and the medians; returns the medians of the ratios."""
    with tempfile.TemporaryDirectory() as folder:
        log, study, text, database = (Path(folder) / name for name in ("l.playlog", "s.duckdb", "t.csv", "d.duckdb"))
        write_stream(log, events)
        ingest(log, study)
        split = write_text(study, text)
        for read in (lambda: read_text(text, database, split), lambda: read_text_tuned(text, database, split, study)):
            read()
            same_events(study, database, split)
        with duckdb.connect(str(study), read_only=True) as opened:
            ((events,),) = opened.execute("SELECT sum(events) FROM captures").fetchall()
        print(
            f"{events} events, log {log.stat().st_size / events:.1f} bytes an event, text "
            f"{text.stat().st_size / events:.1f}, study {study.stat().st_size / events:.1f}"
        )
        ratios: dict[str, list[float]] = {}
        for _ in range(rounds):
            ours = measured(lambda: ingest(log, study))
            others = {
                "read_csv": measured(lambda: read_text(text, database, split)),
                "read_csv tuned": measured(lambda: read_text_tuned(text, database, split, study)),
            }
            told = [f"ingest {ours[0]:.2f} s (CPU/wall {ours[1] / ours[0]:.2f})"]
            for name, (wall, cpu) in others.items():
                told.append(
                    f"{name} {wall:.2f} s (CPU/wall {cpu / wall:.2f}): ratio {wall / ours[0]:.2f}, "
                    f"of CPU time {cpu / ours[1]:.2f}"
                )
                ratios.setdefault(f"{name}, wall", []).append(wall / ours[0])
                ratios.setdefault(f"{name}, CPU", []).append(cpu / ours[1])
            loop = plain_loop(log, 20_000) * events
            ratios.setdefault("plain loop, wall", []).append(loop / ours[0])
            print("; ".join(told) + f"; plain loop {loop / ours[0]:.1f}", flush=True)
    medians = {name: statistics.median(found) for name, found in ratios.items()}
    print("median ratios:", "; ".join(f"{name} {ratio:.2f}" for name, ratio in medians.items()))
    return medians


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5_000_000, int(sys.argv[2]) if len(sys.argv) > 2 else 5)
