"""The sidecars of the demo logs: when each recording began, so that it is known which build was played first."""

import json
from pathlib import Path

# Days of March, a week between two builds; `next_playtest` plays on the days after.
DAY = {"a": 6, "b": 13}
NEXT_DAY = 20
_HOUR = {"crate_loft": 12, "one_puff": 13, "soot_wardens": 14, "tin_drizzle": 15}


def write_sidecar(log: Path, game: str, day: int, console: int) -> None:
    """Writes the sidecar of the log at `log`: one game after the other, the consoles of one game side by side."""
    line = {
        "capture": 1,
        "started": f"2026-03-{day:02d}T{_HOUR[game]:02d}:30:{console:02d}.000+00:00",
        "source": f"Lantern {console}",
    }
    path = log.with_suffix(".capture.jsonl")
    path.write_text(json.dumps(line) + "\n", encoding="utf-8", newline="\n")
