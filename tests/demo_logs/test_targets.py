"""The demo's targets can be read, speak of the demo's games, and are what the README says they are."""

import json
import re
from pathlib import Path

import pytest

import demo_logs
from analysis.tuning.target_file import read_targets
from demo_logs.simulator.lantern import GAMES
from ingest.vocabulary import TunableRole

FOLDER = Path(demo_logs.__file__).parent
TRUTH = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
README = (FOLDER / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("game", sorted(GAMES))
def test_targets(game):
    targets = read_targets((FOLDER / f"targets_{game}.toml").read_text(encoding="utf-8"))
    assert targets.game == GAMES[game].title
    named = {*targets.changeable.allowed, *targets.changeable.ranges}
    assert named <= {*TRUTH["builds"][game]["a"], *TunableRole}
    rows = re.findall(rf"^\| {GAMES[game].title} [ab] \| (.*) \| (.*) \|$", README, re.MULTILINE)
    assert len(rows) == 2
    for outcomes, wanted in rows:
        assert [int(figure) for figure in re.findall(r"(\d+) %", wanted)] == [
            round(100 * target.wanted) for target in targets.targets
        ]
        # There is something to tune: no build is within the tolerance of all targets.
        reached = [int(figure) / 100 for figure in re.findall(r"(\d+) %", outcomes)]
        misses = [abs(r - t.wanted) - t.tolerance for r, t in zip(reached, targets.targets, strict=True)]
        assert max(misses) > 0
