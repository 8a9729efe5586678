"""Ingest against DuckDB's own read_csv of the same events, and against a plain Python loop.

    python -m tests.bench.ingest.compare [EVENTS [PAIRS]]

Each pair is measured side by side, one after the other, in one process; the ratio counts, not the seconds. The text has
one line an event, with run and stage already on it (ingest must find those itself), and column types given to read_csv.
It is split into the same tables, with the same NULLs. CPU/wall says how many cores each kept busy.
"""

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import duckdb

from ingest.store import INGEST_MEMORY_MB, import_log, open_study
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
        connection.execute(
            f"CREATE TEMP TABLE raw AS FROM read_csv('{text}', header = true, columns = {{{types}}})"
        )
        for table, kind, columns in split:
            made = ", ".join(f'c{i}::{type_} AS "{name}"' for i, (name, type_) in enumerate(columns))
            connection.execute(f"CREATE TABLE {table} AS SELECT {made} FROM raw WHERE kind = '{kind}'")
        connection.execute("DROP TABLE raw")
        connection.execute("COMMIT")


def same_events(study: Path, database: Path, split: Split) -> None:
    """Both ways must have loaded the same, or the comparison means nothing."""
    with (
        duckdb.connect(str(study), read_only=True) as one,
        duckdb.connect(str(database), read_only=True) as other,
    ):
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
            connection.execute(
                f"CREATE TABLE k_{kind} ({', '.join(f'c{i} BIGINT' for i in range(len(rows[0])))})"
            )
            with connection.appender(f"k_{kind}") as appender:
                appender.append_rows(rows)
    return (time.perf_counter() - wall) / len(found)


def main(events: int, pairs: int) -> dict[str, float]:
    """Prints each pair and the medians; returns the medians of the ratios."""
    with tempfile.TemporaryDirectory() as folder:
        log, study, text, database = (
            Path(folder) / name for name in ("l.playlog", "s.duckdb", "t.csv", "d.duckdb")
        )
        write_stream(log, events)
        ingest(log, study)
        split = write_text(study, text)
        read_text(text, database, split)
        same_events(study, database, split)
        with duckdb.connect(str(study), read_only=True) as opened:
            ((events,),) = opened.execute("SELECT sum(events) FROM captures").fetchall()
        print(f"{events} events, log {log.stat().st_size / events:.1f} bytes an event, text "
              f"{text.stat().st_size / events:.1f}, study {study.stat().st_size / events:.1f}")  # fmt: skip
        ratios, cpu_ratios, loop_ratios = [], [], []
        for _ in range(pairs):
            text_wall, text_cpu = measured(lambda: read_text(text, database, split))
            wall, cpu = measured(lambda: ingest(log, study))
            loop = plain_loop(log, 20_000) * events
            ratios.append(text_wall / wall)
            cpu_ratios.append(text_cpu / cpu)
            loop_ratios.append(loop / wall)
            print(f"ingest {wall:.2f} s (CPU/wall {cpu / wall:.2f}), read_csv {text_wall:.2f} s (CPU/wall "
                  f"{text_cpu / text_wall:.2f}): ratio {text_wall / wall:.2f}, of CPU time {text_cpu / cpu:.2f}; "
                  f"plain loop {loop / wall:.1f}")  # fmt: skip
    medians = {
        name: statistics.median(found)
        for name, found in (("wall", ratios), ("CPU", cpu_ratios), ("plain loop", loop_ratios))
    }
    print("median ratios:", ", ".join(f"{name} {ratio:.2f}" for name, ratio in medians.items()))
    return medians


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5_000_000, int(sys.argv[2]) if len(sys.argv) > 2 else 5)
