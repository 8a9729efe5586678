"""The wiring page computes what it says from the figures of COSTS.md, and its drawing is sound."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import pytest

from tests.recorder.native import RECORDER

COSTS = (RECORDER / "COSTS.md").read_text(encoding="utf-8")
PAGE = (RECORDER / "WIRING.md").read_text(encoding="utf-8")


def figure(pattern: str, text: str = COSTS) -> float:
    found = re.search(pattern, text, re.DOTALL)
    assert found, pattern
    return float(found.group(1).replace(",", ""))


def frames() -> tuple[float, float]:
    """Instructions of a mean and of a bad frame."""
    per_event, most = figure(r"\*\*Playlog\*\* \| (\d+)"), figure(r"\*\*Playlog\*\* \| \d+ \| ([\d,]+)")
    poll, chunk = figure(r"`playlog_poll\(\)` takes (\d+)"), figure(r"takes \d+ instructions\s+\(([\d,]+)")
    per_byte = figure(r"a byte sent by\s+interrupt (\d+)")
    events_per_s = figure(r"busy shooter[^|]*\| [\d,]+ \| ([\d.]+)")
    bytes_per_event = figure(r"busy shooter[^|]*\| [\d,]+ \| [\d.]+ \| ([\d.]+)")
    per_frame = events_per_s / 60
    mean = per_frame * per_event + poll + per_frame * bytes_per_event * per_byte
    bad = 10 * per_event + (most - per_event) + chunk + 11_520 // 60 * per_byte
    return mean, bad


def test_the_instructions_of_a_frame() -> None:
    mean, bad = frames()
    assert figure(r"2\.5 bytes sent of 32: (\d+) instructions", PAGE) == pytest.approx(mean, rel=0.01)
    assert figure(r"in a frame: ([\d,]+) instructions", PAGE) == pytest.approx(bad, rel=0.01)


def test_the_times_of_a_frame() -> None:
    mean, bad = frames()
    rows = re.findall(r"\| (\d+) MHz \| (\d+) us \| (\d+) us \| ([\d.]+) % \|", PAGE)
    assert len(rows) == 3
    for mhz, mean_us, bad_us, share in rows:
        assert round(2 * mean / int(mhz)) == int(mean_us)
        assert 2 * bad / int(mhz) == pytest.approx(int(bad_us), rel=0.01)
        assert 2 * bad / int(mhz) / (1e6 / 60) == pytest.approx(float(share) / 100, abs=0.001)


def test_what_is_said_of_text_and_of_waiting() -> None:
    text = figure(r"`snprintf` text \| ([\d,]+)")
    assert round(text / figure(r"\*\*Playlog\*\* \| (\d+)")) == 9 and "nine times" in PAGE
    # 10 bits a byte.
    assert round(10 / 115_200 * 1e6) == figure(r"(\d+) us for every byte", PAGE)


def test_the_drawing_is_well_formed_and_said_in_words() -> None:
    root = ElementTree.parse(RECORDER / "wiring.svg").getroot()
    names = [element.tag.rpartition("}")[2] for element in root]
    assert names[:2] == ["title", "desc"]
    text = " ".join("".join(root.itertext()).split())
    for said in ("TX", "RX", "GND", "3.3 V", "115200 baud", "RS-232", "5 V"):
        assert said in text
