"""How cost grows with the size of a study: ingest, bytes, memory, first findings of every page.

    python -m tests.bench.ingest.scale FOLDER [EVENTS ...]

Each size is ingested by a process of its own, whose peak memory counts; the table goes to standard output.
"""

import json
import resource
import subprocess
import sys
import time
from pathlib import Path

from analysis.findings import FINDERS
from analysis.reader import Reader
from analysis.selection import Selection
from ingest.store import INGEST_MEMORY_MB, import_log, open_study
from tests.bench.ingest.stream import write_stream


def ingest(log: Path, study: Path) -> dict[str, float]:
    """One import; seconds, bytes and the process's peak memory in MB."""
    study.unlink(missing_ok=True)
    wall, cpu = time.perf_counter(), time.process_time()
    with open_study(study, memory_mb=INGEST_MEMORY_MB) as opened:
        result = import_log(opened, log)
    return {
        "events": result.events, "wall_s": time.perf_counter() - wall, "cpu_s": time.process_time() - cpu,
        "log_bytes": log.stat().st_size, "study_bytes": study.stat().st_size,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }  # fmt: skip


def findings(study: Path) -> dict[str, tuple[float, float]]:
    """Seconds (wall, CPU) that each question takes, the second time it is asked."""
    taken = {}
    with open_study(study, read_only=True) as opened:
        reader = Reader(opened.connection)
        for question, find in FINDERS.items():
            try:
                find(reader, Selection("Moth Run"))
                wall, cpu = time.perf_counter(), time.process_time()
                find(reader, Selection("Moth Run"))
                taken[question] = (time.perf_counter() - wall, time.process_time() - cpu)
            except Exception as error:  # one broken page must not hide the figures of the others
                print(question, repr(error)[:200], file=sys.stderr)
    return taken


def main(folder: Path, sizes: list[int]) -> None:
    """Measures every size and prints one JSON line for each."""
    for events in sizes:
        log, study = folder / f"scale_{events}.playlog", folder / f"scale_{events}.duckdb"
        if not log.exists():
            write_stream(log, events)
        child = [sys.executable, "-m", "tests.bench.ingest.scale", "--one", str(log), str(study)]
        measured = json.loads(subprocess.run(child, check=True, stdout=subprocess.PIPE).stdout)
        measured["findings"] = findings(study)
        print(json.dumps(measured), flush=True)


if __name__ == "__main__":
    if sys.argv[1] == "--one":
        print(json.dumps(ingest(Path(sys.argv[2]), Path(sys.argv[3]))))
    else:
        main(Path(sys.argv[1]), [int(word) for word in sys.argv[2:]] or [500_000, 5_000_000, 50_000_000])
