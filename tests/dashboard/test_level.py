"""The confidence level stands in one place: changed there, every interval, sentence and figure follows."""

import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

# Loads the module of the level with another one before anything else imports it, then asks every question.
AT_ANOTHER_LEVEL = r"""
import json, sys, types
from importlib.util import find_spec
from pathlib import Path

NAME = "analysis.stats.estimate"
path = Path(find_spec(NAME).origin)
source = path.read_text(encoding="utf-8")
changed = source.replace("\nLEVEL = 0.95", f"\nLEVEL = {sys.argv[2]}")
assert source.count("\nLEVEL = 0.95") == 1
module = types.ModuleType(NAME)
module.__file__ = str(path)
sys.modules[NAME] = module
exec(compile(changed, str(path), "exec"), module.__dict__)

from analysis.findings import QUESTIONS
from analysis.reader import Reader
from analysis.selection import Selection
from dashboard.figures import figure_for
from dashboard.figures.palette import LIGHT
from ingest.study.store import open_study

answers = {}
with open_study(Path(sys.argv[1])) as study:
    for game in ("Soot Wardens", "Tin Drizzle"):
        for find in (question.find for question in QUESTIONS.values()):
            for finding in find(Reader(study.connection), Selection(game)):
                figure = figure_for(finding, LIGHT)
                told = finding.to_json() | {"tables": None, "drawn": figure and figure.to_json()}
                answers[f"{game}: {finding.id}"] = told
print(json.dumps(answers))
"""


def asked(study: Path, level: float) -> dict:
    done = subprocess.run(
        [sys.executable, "-c", AT_ANOTHER_LEVEL, str(study), str(level)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_one_constant_changes_every_interval_and_every_sentence(demo_study):
    usual, wider = asked(demo_study, 0.95), asked(demo_study, 0.99)
    assert usual.keys() == wider.keys() and len(usual) > 40
    said = json.dumps(wider, ensure_ascii=False)
    assert "99 % interval" in said and "95 %" not in said
    grown = []
    for name, finding in usual.items():
        one, other = finding["estimate"], wider[name]["estimate"]
        if one is None or one["low"] is None or one["high"] is None:
            continue
        assert one["level"] == 0.95 and other["level"] == 0.99, name
        if other["low"] is not None and other["high"] is not None:
            grown.append((other["high"] - other["low"]) - (one["high"] - one["low"]))
    # A median of whole numbers may keep its limits.
    assert len(grown) > 15 and min(grown) >= 0 and sum(more > 0 for more in grown) > 0.8 * len(grown)
