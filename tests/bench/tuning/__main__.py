"""How long fitting, proposing and a slider's move take at class size: `python -m tests.bench.tuning`.

Times are of this process's own work (CPU seconds), so that a busy machine tells the same; goals: fit and propose 5 s,
a slider's move 0.1 s.
"""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from analysis.reader import Reader
from analysis.selection import Selection
from analysis.tuning.target_file import read_targets
from analysis.tuning.whatif import outcome_map, predict
from analysis.tuning_answers.tuning_answer import fit_game, propose_game
from ingest.study.store import import_log, open_study
from tests.closed_loop.tuning.logs import write_log
from tests.closed_loop.tuning.worlds import draw_world, play

TARGETS = {
    "reach stage 2": '[[target]]\noutcome="reach_stage"\nstage=2\nwanted=0.6\n',
    "finish": '[[target]]\noutcome="finish"\nwanted=0.4\n',
    "finish within 3": '[[target]]\noutcome="finish_within"\nattempts=3\nwanted=0.5\n',
    "two targets": '[[target]]\noutcome="reach_stage"\nstage=2\nwanted=0.7\n[[target]]\noutcome="finish"\nwanted=0.3\n',
}


def timed(work: Callable[[], object], times: int = 1) -> float:
    """Median CPU seconds of `work`."""
    taken = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return float(np.median(taken))


def main() -> None:
    """One world of four stages with bosses (8 segments, 10 levers), 24 players, 3 runs each."""
    world = next(w for w in (draw_world("hazard", n) for n in range(100)) if w.stages == 4)
    with tempfile.TemporaryDirectory() as folder, open_study(Path(folder) / "s.duckdb") as study:
        log = Path(folder) / "a.playlog"
        write_log(log, world, world.now, play(world, 24, 3, world.now, np.random.default_rng(1), record=True))
        import_log(study, log)
        reader, selection = Reader(study.connection), Selection("Soot Drift")
        for name, text in TARGETS.items():
            targets = read_targets(text)
            model = fit_game(reader, selection, targets)[0][0]
            fire = model.tunables[2].name
            move = timed(lambda: predict(model, {fire: 700}, targets.targets), 15)  # noqa: B023
            fit = timed(lambda: fit_game(reader, selection, targets), 3)  # noqa: B023
            whole = timed(lambda: propose_game(reader, selection, targets))  # noqa: B023
            grid = timed(lambda: outcome_map(model, targets.targets[0], "start_lives", fire))  # noqa: B023
            print(
                f"{name:16} fit {fit:5.2f} s, fit and propose {whole:5.2f} s (goal 5), "
                f"slider {1000 * move:4.0f} ms (goal 100), map {grid:4.1f} s"
            )


if __name__ == "__main__":
    main()
