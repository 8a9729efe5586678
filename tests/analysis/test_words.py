"""Numbers as sentences, tables and pages say them: rounding must not make them false."""

import re
from pathlib import Path

import numpy as np
import pytest

from analysis.stats.estimate import Estimate
from analysis.words import amount, capital, cell, counted, estimated, limits, listed, percent, points, signed

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "0 %"),
        (1e-17, "0 %"),
        (0.0004, "under 0.1 %"),
        (0.0006, "0.1 %"),
        (0.004, "0.4 %"),
        (0.12, "12 %"),
        (0.996, "99.6 %"),
        (0.9996, "over 99.9 %"),
        (1.0, "100 %"),
        (1 - 1e-12, "100 %"),
        (np.float64(0.5), "50 %"),
        (0.0099, "1.0 %"),
        (float("nan"), "an unknown share"),
        (None, "an unknown share"),
    ],
)
def test_some_is_never_called_none_nor_most_all(share, said):
    assert percent(share) == said


@pytest.mark.parametrize(
    "value, words",
    [
        (0, "0"),
        (12345, "12,345"),
        (0.12345, "0.123"),
        (1234.5, "1,234"),
        (-0.5, "-0.5"),
        (None, "–"),
        (4.0, "4"),
        (float("nan"), "–"),
        (True, "yes"),
        (np.nan, "–"),
        (np.int64(7), "7"),
        ("a_b", "a_b"),
        (1e-9, "1e-09"),
        (99.96, "100"),
        (np.bool_(False), "no"),
        (-1e-17, "0"),
    ],
)
def test_cells_of_tables(value, words):
    assert cell(value) == words


def test_amounts_carry_their_unit():
    assert amount(12.345, "s") == "12.3 s" and amount(0.07, "share") == "7 %" and amount(None, "s") == "unknown"
    assert amount(40, "percent") == "40 %" and amount(3.0, "") == "3"
    assert signed(12.4, "ms") == "+12 ms" and signed(-0.04, "ms") == "0 ms" and signed(-3.25, "ms") == "-3.2 ms"
    assert points(0.043) == "+4 points" and points(-0.01) == "-1 point" and points(-0.2, signed=False) == "20 points"
    assert counted(1, "run") == "1 run" and counted(12000, "life", "lives") == "12,000 lives"
    assert listed(["a"]) == "a" and listed(["a", "b", "c"]) == "a, b and c" and listed([]) == ""


@pytest.mark.parametrize(
    "text, words",
    [
        ("falling cinder took 3", "Falling cinder took 3"),
        ("a_table.playlog: bad", "a_table.playlog: bad"),
        ("most see it: 4", "Most see it: 4"),
        ("4 of 5", "4 of 5"),
        ("", ""),
    ],
)
def test_sentences_begin_with_a_capital(text, words):
    assert capital(text) == words


def test_estimates_carry_their_interval():
    assert estimated(Estimate(0.5, 0.25, 0.75, unit="share")) == "50 % (95 % interval 25 to 75 %)"
    told = estimated(Estimate(7.75, 5.5, 11.0, unit="deaths a minute"))
    assert told == "7.75 deaths a minute (95 % interval 5.5 to 11)"
    assert estimated(Estimate(3.0, unit="s")) == "3 s (the data allow no interval)"
    assert estimated(Estimate(3.0, 2.0, None, unit="s")) == "3 s (95 % interval 2 to no upper limit)"
    assert estimated(Estimate(None)) == "no estimate"


def test_an_interval_says_its_own_level_and_that_it_reaches_nearly_to_nothing():
    assert limits(Estimate(0.01, 0.0002, 0.04, unit="share")) == "(95 % interval under 0.1 to 4 %)"
    assert limits(Estimate(2.0, 1.0, 3.0, level=0.8, unit="s")) == "(80 % interval 1 to 3 s)"
    assert limits(Estimate(2.0)).startswith("(no interval")


# A prediction's two levels are names of its fields.
_ELSEWHERE = ("dashboard/figures/tuning_figures.py",)
# What only words.py may do: a share as per cent, thousands, and the level of an interval.
_WRITTEN = re.compile(r":[+]?\.[0-9]f\} ?%|:,[.0-9f]*\}|95 %|1\.96|0\.975\b|0\.95\b")


def test_nobody_else_writes_shares_thousands_or_a_level():
    """Figures' hover texts are written in plotly's own format."""
    found = []
    for path in sorted([*(ROOT / "analysis").rglob("*.py"), *(ROOT / "dashboard").rglob("*.py")]):
        name = path.relative_to(ROOT).as_posix()
        if name in ("analysis/words.py", "analysis/stats/estimate.py") or name.startswith(_ELSEWHERE):
            continue
        for at, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            if _WRITTEN.search(line) and "hovertemplate" not in line:
                found.append(f"{name}:{at}: {line.strip()}")
    assert found == []
