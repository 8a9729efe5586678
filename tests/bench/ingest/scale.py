"""How cost grows with the size of a study: ingest, bytes, memory, first findings of every page.

    python -m tests.bench.ingest.scale FOLDER [EVENTS ...] > scale.jsonl
    python -m tests.bench.ingest.scale --plot scale.jsonl growth.svg

Each size is ingested by a process of its own, whose peak memory counts; one JSON line for each goes to standard output.
"""

import json
import math
import subprocess
import sys
import time
from pathlib import Path

from analysis.findings import QUESTIONS
from analysis.reader import Reader
from analysis.selection import Selection
from ingest.study.store import INGEST_MEMORY_MB, import_log, open_study
from tests.bench.ingest.stream import write_stream
from tests.bench.peak import peak_mb


def ingest(log: Path, study: Path) -> dict[str, float]:
    """One import; seconds, bytes and the process's peak memory in MB."""
    study.unlink(missing_ok=True)
    wall, cpu = time.perf_counter(), time.process_time()
    with open_study(study, memory_mb=INGEST_MEMORY_MB) as opened:
        result = import_log(opened, log)
    return {
        "events": result.events,
        "wall_s": time.perf_counter() - wall,
        "cpu_s": time.process_time() - cpu,
        "log_bytes": log.stat().st_size,
        "study_bytes": study.stat().st_size,
        "peak_mb": peak_mb(),
    }


def findings(study: Path) -> dict[str, tuple[float, float]]:
    """Seconds (wall, CPU) that each question takes, the second time it is asked."""
    taken = {}
    with open_study(study, read_only=True) as opened:
        reader = Reader(opened.connection)
        for asked in QUESTIONS.values():
            try:
                asked.find(reader, Selection("Moth Run"))
                wall, cpu = time.perf_counter(), time.process_time()
                asked.find(reader, Selection("Moth Run"))
                taken[asked.id] = (time.perf_counter() - wall, time.process_time() - cpu)
            except Exception as error:  # one broken page must not hide the figures of the others
                print(asked.id, repr(error)[:200], file=sys.stderr)
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


def plot(lines: list[str]) -> str:
    """CPU seconds by million events, both axes logarithmic, as SVG: ingest and each question."""
    rows = [json.loads(line) for line in lines if line.startswith("{")]
    series = {"ingest": [(row["events"] / 1e6, row["cpu_s"]) for row in rows]}
    for question in rows[0]["findings"]:
        series[question] = [(row["events"] / 1e6, row["findings"][question][1]) for row in rows]

    def place(million: float, seconds: float) -> tuple[float, float]:
        return 60 + 170 * (math.log10(million) + 0.5), 320 - 70 * (math.log10(max(seconds, 0.01)) + 2)

    out = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 620 370" font-family="sans-serif" font-size="12">',
        '<rect width="620" height="370" fill="white"/>',
    ]
    for million in (0.5, 5, 50):
        x, _ = place(million, 1)
        out.append(f'<line x1="{x:.0f}" y1="40" x2="{x:.0f}" y2="320" stroke="#ddd"/>')
        out.append(f'<text x="{x:.0f}" y="338" text-anchor="middle">{million:g}</text>')
    for seconds in (0.01, 0.1, 1, 10, 100):
        _, y = place(1, seconds)
        out.append(f'<line x1="60" y1="{y:.0f}" x2="470" y2="{y:.0f}" stroke="#ddd"/>')
        out.append(f'<text x="54" y="{y + 4:.0f}" text-anchor="end">{seconds:g}</text>')
    out.append('<text x="265" y="358" text-anchor="middle">million events in the study</text>')
    out.append('<text x="60" y="26">CPU seconds: ingest, and the second time each question is asked</text>')
    colours = ("#000000", "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#777777")
    beneath = 0.0
    for (name, points), colour in sorted(zip(series.items(), colours, strict=False), key=lambda s: -s[0][1][-1][1]):
        path = " ".join("{:.1f},{:.1f}".format(*place(*point)) for point in points)
        x, y = place(*points[-1])
        beneath = max(beneath + 14, y + 4)
        out.append(f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2"/>')
        out.append(f'<text x="{x + 8:.0f}" y="{beneath:.0f}" fill="{colour}">{name}</text>')
    return "\n".join([*out, "</svg>"]) + "\n"


if __name__ == "__main__":
    if sys.argv[1] == "--plot":
        Path(sys.argv[3]).write_text(plot(Path(sys.argv[2]).read_text(encoding="utf-8").splitlines()), encoding="utf-8")
    elif sys.argv[1] == "--one":
        print(json.dumps(ingest(Path(sys.argv[2]), Path(sys.argv[3]))))
    else:
        main(Path(sys.argv[1]), [int(word) for word in sys.argv[2:]] or [500_000, 5_000_000, 50_000_000])
