"""What a new board sends first is told in words, as soon as it can be told, and not once a packet was understood."""

import random

import pytest

from ingest.capture.live import Watch
from ingest.capture.recording import Recording
from ingest.study.capture_counts import About
from tests.ingest.studies import dictionary, event, log_of
from tests.ingest.uart import heard

LOG = log_of(
    [
        dictionary({"begin": ("run_start", {"who": "u8 player"}), "fell": ("death", {"x": "u8 x"})}),
        *(event(1000 + 100 * n, "fell", x=n) for n in range(200)),
    ]
)


def told(stream: bytes, baud: int | None = 115_200, waited_s: float | None = 1.0) -> list[str]:
    """What is said of the line after these bytes."""
    watch = Watch()
    for at in range(0, len(stream), 50):
        watch.feed(stream[at : at + 50])
    return [one.words for one in watch.notices(baud, 100.0, waited_s) if one.about == About.LINE]


def wrong_checksums(stream: bytes) -> bytes:
    """The same frames, each with the last byte of its checksum changed, still frames."""
    frames = [bytearray(frame) for frame in stream.split(b"\0") if len(frame) > 8]
    for frame in frames:
        frame[-1] = frame[-1] % 255 + 1
    return b"\0".join(map(bytes, frames)) + b"\0"


def test_a_sound_log_is_told_nothing_of():
    assert told(LOG) == [] == told(LOG, None, 100.0)


def test_silence_is_told_after_some_seconds(tmp_path):
    now = [0.0]
    recording = Recording(tmp_path / "a.playlog", "COM3", 115_200, clock=lambda: now[0])
    now[0] = 4.0
    assert recording.status().notices == ()
    now[0] = 6.0
    (one,) = recording.status().notices
    assert one.about == About.LINE and all(word in one.remedy for word in ("TX", "RX", "ground", "switched on"))
    recording.unplugged()  # that is told by itself
    assert recording.status().notices == ()
    recording.plugged()
    recording.take(LOG)
    assert About.LINE not in {one.about for one in recording.status().notices}
    recording.close()


def test_text_is_quoted_without_what_a_terminal_obeys():
    (words,) = told(b"\x1b[2Jspeed=3 lives=2\r\n" * 40)
    assert "printf" in words and "speed=3" in words and "\x1b" not in words


@pytest.mark.parametrize("read", [9_600, 57_600, 230_400])
def test_another_baud_rate(read):
    (words,) = told(heard(LOG * 8, 115_200, read), read)
    assert f"another baud rate than {read:,}" in words


def test_a_socket_has_no_baud_rate():
    noise = random.Random(1).randbytes(2_000)
    (words,) = told(noise, None)
    assert "baud" not in words and "2,000 bytes" in words


def test_wrong_checksums():
    (words,) = told(wrong_checksums(LOG))
    assert "wrong checksum" in words and "another baud rate" not in words


def test_one_packet_that_was_understood_ends_it():
    assert told(random.Random(1).randbytes(2_000) + b"\0" + LOG) == []
