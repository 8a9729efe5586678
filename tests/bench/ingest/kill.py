"""kill -9 during ingest, at random moments: the study opens, nothing is half there, running it again finishes the job.

python -m tests.bench.ingest.kill KILLS [SEED]
"""

import hashlib
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from ingest.study.store import open_study
from tests.ingest.logs import Play, damage


def logs_in(folder: Path, count: int, runs: int) -> dict[str, int]:
    """Writes some logs; SHA-256 -> bytes."""
    made = {}
    for number in range(count):
        log = Play(number, runs=runs).log()
        log = damage(log, random.Random(number), 3) if number % 3 == 0 else log
        (folder / f"{number:03d}.playlog").write_bytes(log)
        made[hashlib.sha256(log).hexdigest()] = len(log)
    return made


def whole(study: Path, logs: dict[str, int]) -> int:
    """How many captures the study holds; raises AssertionError where one is not whole."""
    if not study.exists():
        return 0
    with open_study(study) as opened:
        ask = opened.connection.execute
        captures = ask("SELECT sha256, bytes, capture_id, events FROM captures").fetchall()
        tables = [row[0] for row in ask("SELECT DISTINCT table_name FROM kinds").fetchall()]
        there: dict[int, int] = {}
        for table in tables:
            joined = f"{table} e LEFT JOIN power_ups p ON p.power_up_id = e._power_up"
            counted = f"SELECT capture_id, count(*) FROM {joined} GROUP BY capture_id"
            for capture_id, events in ask(counted).fetchall():
                there[capture_id] = there.get(capture_id, 0) + events
        for sha256, size, capture_id, events in captures:
            assert logs[sha256] == size
            assert there.get(capture_id, 0) == events
        assert set(there) <= {row[2] for row in captures}, "events without a capture"
        assert len({row[0] for row in captures}) == len(captures), "a capture twice"
        for table in ("all_runs", "power_ups", "damage"):
            strays = f"SELECT count(*) FROM {table} WHERE capture_id NOT IN (SELECT capture_id FROM captures)"
            assert ask(strays).fetchall() == [(0,)], table
        for table in ("stages", "lives", "spells", "places"):
            strays = f"SELECT count(*) FROM {table} WHERE run_id NOT IN (SELECT run_id FROM all_runs)"
            assert ask(strays).fetchall() == [(0,)], table
    return len(captures)


def kill_often(kills: int, seed: int, logs: int = 12, runs: int = 40) -> dict[str, int]:
    """Kills that many times; returns how many came while it was at work, and at what states of the study."""
    dice = random.Random(seed)
    counts = {"kills": 0, "while at work": 0, "finished": 0, "partly done": 0}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made = logs_in(folder, logs, runs)
        study = folder / "study.duckdb"
        command = [sys.executable, "-m", "dashboard.cli", "ingest", "--study", str(study), str(folder)]
        begun = time.monotonic()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        usual = time.monotonic() - begun
        assert whole(study, made) == len(made)
        study.unlink()
        while counts["kills"] < kills:
            process = subprocess.Popen(command, stdout=subprocess.PIPE)
            # Half of the kills once the first log is in, so that they fall into the work and not into the start.
            if dice.random() < 0.5:
                assert process.stdout is not None
                process.stdout.readline()
            time.sleep(dice.random() * usual * 0.5)
            counts["kills"] += 1
            counts["while at work"] += process.poll() is None
            process.kill()
            process.communicate()
            done = whole(study, made)
            counts["partly done"] += 0 < done < len(made)
            if done == len(made):
                counts["finished"] += 1
                study.unlink()
            if counts["kills"] % 10 == 0:
                print(counts, flush=True)
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        assert whole(study, made) == len(made)
    return counts


if __name__ == "__main__":
    print(kill_often(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1))
