"""Builds the recorder for this machine, with sanitizers, and drives it by a script."""

from __future__ import annotations

import shutil
import struct
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import ingest
from ingest.vocabulary import EventRole
from ingest.wire.dictionary import Dictionary, Kind
from tests.needs import need

HERE = Path(__file__).parent
RECORDER = Path(ingest.__file__).parent / "recorder"
SANITIZERS = ("-g", "-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
AT_ONCE = {EventRole.DEATH, EventRole.STAGE_END, EventRole.RUN_END, EventRole.RUN_START}


def compiler() -> str:
    """A C compiler of this machine; skips the test, or fails it, where there is none."""
    found = next((name for name in ("clang", "gcc", "cc") if shutil.which(name)), None)
    need(found, "there is no C compiler (clang or gcc)")
    assert found
    return found


@cache
def _folder() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix="recorder-tests-")


@cache
def replay_program() -> Path:
    """The program of replay.c, built once."""
    program = Path(_folder().name) / "replay"
    sources = [HERE / "replay.c", RECORDER / "playlog.c"]
    command = [compiler(), "-std=c99", "-Wall", "-Wextra", "-Werror", f"-I{RECORDER}", *SANITIZERS]
    done = subprocess.run(
        [*command, *map(str, sources), "-o", str(program)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return program


class Script:
    """What the console does, one step after the other. Ticks may pass 2^32."""

    def __init__(
        self,
        dictionary: Dictionary,
        values: list[int],
        *,
        ring_bytes: int = 1024,
        interrupts: bool = False,
        nonce: int = 1,
        tick: int = 0,
        uart_late: bool = False,
    ):
        self.kinds = {kind.name: (number, kind) for number, kind in enumerate(dictionary.kinds)}
        text = dictionary.text
        self.bytes = bytearray(
            struct.pack("<5I", len(text), len(values), dictionary.clock_hz, ring_bytes, interrupts) + text
        )
        self.bytes += struct.pack(f"<{len(values)}i", *values)
        if uart_late:
            self._add("o", tick, 1)
        self.power_up(tick, nonce)

    def _add(self, command: str, tick: int, *numbers: int) -> None:
        self.bytes += command.encode() + struct.pack(
            f"<{len(numbers) + 1}I", *(n & 0xFFFFFFFF for n in (tick, *numbers))
        )

    def power_up(self, tick: int, nonce: int) -> None:
        self._add("u", tick, nonce)

    def event(self, tick: int, name: str, fields: dict[str, int]) -> None:
        number, kind = self.kinds[name]
        content = field_bytes(kind, fields)
        self._add("e", tick, 4 * number + (kind.role in AT_ONCE), len(content))
        self.bytes += content

    def poll(self, tick: int) -> None:
        self._add("p", tick)

    def setting(self, tick: int, number: int, value: int) -> None:
        self._add("s", tick, number, value)

    def flush(self, tick: int) -> None:
        self._add("f", tick)

    def set_uart_up(self, tick: int) -> None:
        """What was sent before is lost, and the transmitter's interrupt is off."""
        self._add("o", tick, 0)

    def clear_enable_bit(self, tick: int) -> None:
        """Somebody else turns the transmitter's interrupt off."""
        self._add("c", tick)

    def drain(self, tick: int, most: int = 1 << 31) -> None:
        """The line takes at most that many bytes."""
        self._add("d", tick, most)

    def run(self) -> bytes:
        """What was sent."""
        done = subprocess.run(
            [str(replay_program())], input=bytes(self.bytes), capture_output=True, timeout=60, check=False
        )
        assert done.returncode == 0, (done.returncode, done.stderr.decode()[-3000:])
        return done.stdout


def field_bytes(kind: Kind, fields: dict[str, int]) -> bytes:
    """The fields as they go over the wire."""
    return b"".join(
        (fields.get(f.name, 0) & ((1 << 8 * f.type.width) - 1)).to_bytes(f.type.width, "little") for f in kind.fields
    )
