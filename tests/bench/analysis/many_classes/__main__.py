"""What many classes cost, and whether two engines answer alike.

    python -m pip install -e .[bench] -c constraints.txt
    python -m tests.bench.analysis.many_classes FOLDER [--classes 200] [--played 12] [--rounds 3]

Some classes are played by the simulator, ingested and exported; the others are drawn from the people of these and
written as Parquet by the same writer, for ingesting 200 would only repeat what 12 say. A folder that has classes
already is asked as it is. Exit code 1 where the engines differ. analysis/data/DATA.md has what was measured.
"""

import argparse
import resource
import statistics
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.analysis.many_classes.classes import Cost, drawn, firmwares, played
from tests.bench.analysis.many_classes.questions import by_duckdb, by_frames, differences


def make(lake: Path, classes: int, real: int) -> None:
    """Fills the folder and prints what a class costs."""
    cost, rows = Cost(), dict[str, int]()
    with tempfile.TemporaryDirectory() as scratch:
        made = firmwares(Path(scratch))
        sources = [played(number, made, lake, cost) for number in range(real)]
    for name, amount in cost.counts.items():
        print(f"{name}: {amount / real:,.0f} a class")
    for name, seconds in cost.seconds.items():
        print(f"{name}: {seconds / real:.2f} CPU seconds a class")
    began = time.process_time()
    for number in range(real, classes):
        for name, more in drawn(number, sources, lake).items():
            rows[name] = rows.get(name, 0) + more
    print(f"{classes - real} classes drawn, {time.process_time() - began:.0f} CPU seconds; rows: {rows}")


def ask(lake: Path, rounds: int) -> int:
    """Asks both in turn; prints the median seconds of each."""
    import dask
    import dask.dataframe
    from dask.distributed import Client, LocalCluster

    dask.config.set({"dataframe.convert-string": False})
    files = list((lake / "parquet").rglob("*.parquet"))
    print(f"{len(files)} files, {sum(file.stat().st_size for file in files) / 1e6:.1f} MB")
    took: dict[str, list[float]] = {"DuckDB": [], "Dask": []}
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster):
        for _ in range(rounds):
            began = time.perf_counter()
            one = by_duckdb(lake)
            took["DuckDB"].append(time.perf_counter() - began)
            began = time.perf_counter()
            other = by_frames(lake, dask.dataframe)
            took["Dask"].append(time.perf_counter() - began)
    for name, seconds in took.items():
        print(f"{name}: median {statistics.median(seconds):.2f} s of {', '.join(f'{s:.2f}' for s in seconds)}")
    print(f"peak memory of this process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    for name, answer in one.items():
        print(f"{name}: {len(answer)} rows")
    wrong = differences(one, other)
    print("\n".join(wrong) or "The answers are the same.")
    return 1 if wrong else 0


def main() -> int:
    """The exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.analysis.many_classes")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--classes", type=int, default=200)
    parser.add_argument("--played", type=int, default=12)
    parser.add_argument("--rounds", type=int, default=3)
    given = parser.parse_args()
    if not (given.folder / "parquet").exists():
        make(given.folder, given.classes, given.played)
    return ask(given.folder, given.rounds)


if __name__ == "__main__":
    sys.exit(main())
