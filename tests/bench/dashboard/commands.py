"""How long `setscrew findings`, `propose` and `plan` take on the demo study, as whole processes.

    python -m tests.bench.dashboard.commands [EARLIER_CHECKOUT] [ROUNDS]

With another checkout, both take turns in one run, and the table ends in the ratio of their medians: what else the
machine does hits both alike. Processor time is of the user and the system together; compiled modules are kept, as on
a user's machine. Whether both print the same JSON, but for the name of the study, is told too.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parents[3]
TARGETS = ("--game", "Soot Wardens", "--targets", str(HERE / "demo_logs" / "targets_soot_wardens.toml"))
COMMANDS = {"findings": (), "propose": TARGETS, "plan": TARGETS}


def run(checkout: Path, study: Path, command: str, kept: Path) -> tuple[float, float, bytes]:
    """Seconds by the clock, seconds of processor time, and what was printed."""
    surroundings = os.environ | {"PYTHONPYCACHEPREFIX": str(kept), "PYTHONPATH": str(checkout)}
    surroundings.pop("PYTHONDONTWRITEBYTECODE", None)
    words = [sys.executable, "-m", "dashboard.cli", command, "--study", str(study), "--json", *COMMANDS[command]]
    began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    printed = subprocess.run(words, cwd=checkout, env=surroundings, check=True, capture_output=True).stdout
    seconds, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    return seconds, used, printed.replace(str(study).encode(), b"")


def ingested(checkout: Path, study: Path) -> Path:
    """The demo logs as that checkout takes them in: the tables of a study differ between versions."""
    logs = sorted(map(str, (HERE / "demo_logs").glob("*.playlog")))
    words = [sys.executable, "-m", "dashboard.cli", "ingest", "--study", str(study), *logs]
    surroundings = os.environ | {"PYTHONPATH": str(checkout)}
    subprocess.run(words, cwd=checkout, env=surroundings, check=True, capture_output=True)
    return study


def main(words: list[str]) -> None:
    checkouts = [*(Path(word).resolve() for word in words[:1]), HERE]
    rounds = int(words[1]) if len(words) > 1 else 5
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "compiled"
        studies = {one: ingested(one, Path(folder) / f"{n}.duckdb") for n, one in enumerate(checkouts)}
        print("| command | by the clock, s | processor, s | of earlier: clock | processor | same JSON |")
        print("|---|---|---|---|---|---|")
        for command in COMMANDS:
            turns = [[run(one, studies[one], command, kept) for one in checkouts] for _ in range(rounds + 1)][1:]
            clock = [statistics.median(turn[i][0] for turn in turns) for i in range(len(checkouts))]
            processor = [statistics.median(turn[i][1] for turn in turns) for i in range(len(checkouts))]
            same = len({printed for turn in turns for _, _, printed in turn}) == 1
            seconds = (" -> ".join(f"{s:.2f}" for s in both) for both in (clock, processor))
            print(
                f"| {command} | {' | '.join(seconds)} "
                f"| {clock[-1] / clock[0]:.2f} | {processor[-1] / processor[0]:.2f} | {'yes' if same else 'no'} |",
                flush=True,
            )


if __name__ == "__main__":
    main(sys.argv[1:])
