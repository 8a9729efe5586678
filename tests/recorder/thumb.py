"""Builds C for a Cortex-M4 and executes it with Unicorn, counting instructions and injecting interrupts."""

from __future__ import annotations

import shutil
import struct
import subprocess
from collections.abc import Callable, Iterable
from pathlib import Path

import ingest
from tests.needs import need

try:
    import unicorn
    from unicorn import arm_const
except ImportError:  # told by need_thumb()
    unicorn = None  # type: ignore[assignment]

RECORDER = Path(ingest.__file__).parent / "recorder"
BENCH = Path(__file__).parents[1] / "bench" / "recorder"
FLAGS = ("-mcpu=cortex-m4", "-mthumb", "-Os", "-std=c99", "-Wall", "-Wextra", "-Werror")

FLASH, RAM, UART, RETURN = 0x10000, 0x20000000, 0x40004000, 0xF0000
STACK = RAM + 0x10000


def need_arm() -> None:
    """Skips the test, or fails it where skips are forbidden, unless there is a cross compiler."""
    need(
        shutil.which("arm-none-eabi-gcc"),
        "arm-none-eabi-gcc is not installed (packages gcc-arm-none-eabi and libnewlib-arm-none-eabi)",
    )


def need_thumb() -> None:
    """As need_arm(), and Unicorn."""
    need_arm()
    need(unicorn is not None, "the Python package unicorn is not installed")


def tool(name: str, *arguments: str | Path) -> str:
    """Runs a tool of the cross compiler; its standard output."""
    done = subprocess.run([f"arm-none-eabi-{name}", *map(str, arguments)], capture_output=True, text=True, check=False)
    if done.returncode:
        raise AssertionError(f"arm-none-eabi-{name} failed:\n{done.stderr}")
    return done.stdout


def build(folder: Path, name: str, sources: Iterable[Path], defines: Iterable[str] = ()) -> Path:
    """Links `sources` into an executable for the benchmark's board."""
    elf = folder / f"{name}.elf"
    tool(
        "gcc",
        *FLAGS,
        f"-I{RECORDER}",
        f"-I{BENCH}",
        *(f"-D{d}" for d in defines),
        *sources,
        "-nostartfiles",
        "-specs=nano.specs",
        "-specs=nosys.specs",
        f"-T{BENCH / 'thumb.ld'}",
        "-Wl,-e,0x10001",
        "-Wl,--no-warn-rwx-segments,--no-warnings",
        "-o",
        elf,
    )
    return elf


def section_bytes(*objects: Path) -> dict[str, int]:
    """Bytes of flash and RAM of object files: `text` holds code and constants."""
    total = {"text": 0, "data": 0, "bss": 0}
    for line in tool("size", *objects).splitlines()[1:]:
        for name, value in zip(total, line.split(), strict=False):
            total[name] += int(value)
    return total


class Machine:
    """A Cortex-M4 that runs functions of an executable, one call at a time."""

    def __init__(self, elf: Path):
        self.symbols: dict[str, int] = {}
        for line in tool("nm", elf).splitlines():
            address, *_, name = line.split(" ")
            if address:
                self.symbols[name] = int(address, 16)
        self.cpu = cpu = unicorn.Uc(unicorn.UC_ARCH_ARM, unicorn.UC_MODE_THUMB | unicorn.UC_MODE_MCLASS)
        cpu.ctl_set_cpu_model(arm_const.UC_CPU_ARM_CORTEX_M4)
        cpu.mem_map(FLASH, 0x40000)
        cpu.mem_map(RAM, 0x10000)
        cpu.mem_map(UART, 0x1000)
        cpu.mem_map(RETURN, 0x1000)
        for start, content in _segments(elf):
            cpu.mem_write(start, content)
        self.sent = bytearray()
        self.interrupt_on = False
        self.transmitter_full = False
        self.instructions = 0
        self.most_locked = 0
        self._locked_at = 0
        self._lengths: dict[tuple[int, int], int] = {}
        self._waiting = self._stop_at_unlock = False
        unlock = self.symbols.get("port_unlock", RETURN)
        cpu.hook_add(
            unicorn.UC_HOOK_CODE,
            lambda *_: cpu.emu_stop() if self._stop_at_unlock else None,
            begin=unlock,
            end=unlock + 1,
        )
        cpu.hook_add(unicorn.UC_HOOK_MEM_WRITE, self._uart, begin=UART, end=UART + 8)
        cpu.hook_add(unicorn.UC_HOOK_CODE, lambda *_: cpu.emu_stop(), begin=RETURN, end=RETURN + 2)

    def count_instructions(self) -> None:
        """From here on `instructions` counts what is executed, and `most_locked` the most between lock and unlock."""
        self.cpu.hook_add(unicorn.UC_HOOK_BLOCK, self._block)
        for name, hook in (("port_lock", self._locked), ("port_unlock", self._unlocked)):
            at = self.symbols.get(name, RETURN)
            self.cpu.hook_add(unicorn.UC_HOOK_CODE, hook, begin=at, end=at + 1)

    def _locked(self, *_: object) -> None:
        self._locked_at = self.instructions

    def _unlocked(self, *_: object) -> None:
        # The block of port_unlock() is counted already: a few instructions too many.
        self.most_locked = max(self.most_locked, self.instructions - self._locked_at)

    def _block(self, cpu: object, address: int, size: int, data: object) -> None:
        length = self._lengths.get((address, size))
        if length is None:
            code = self.cpu.mem_read(address, size)
            # Thumb: a halfword whose top five bits are 11101, 11110 or 11111 begins a 32-bit instruction
            # (Armv7-M Architecture Reference Manual, A5.1).
            length = at = 0
            while at < size:
                at += 4 if code[at + 1] >> 3 >= 0b11101 else 2
                length += 1
            self._lengths[address, size] = length
        self.instructions += length

    def _uart(self, cpu: object, access: int, address: int, size: int, value: int, data: object) -> None:
        if address == UART:
            assert not self.transmitter_full, "a byte was written over another one in the transmitter"
            self.sent.append(value & 0xFF)
            self.transmitter_full = True
        else:
            self.interrupt_on = bool(value)
            if self._waiting and self._wanted(True):
                self.cpu.emu_stop()

    def call(self, function: str, *arguments: int) -> int:
        """Calls a function with up to four integers; what it returns."""
        self.cpu.reg_write(arm_const.UC_ARM_REG_SP, STACK)
        self._enter(arguments)
        self._finish(self.symbols[function])
        return int(self.cpu.reg_read(arm_const.UC_ARM_REG_R0))

    def _enter(self, arguments: tuple[int, ...]) -> None:
        for number, value in enumerate(arguments):
            self.cpu.reg_write(arm_const.UC_ARM_REG_R0 + number, value)
        self.cpu.reg_write(arm_const.UC_ARM_REG_LR, RETURN | 1)

    def _run(self, at: int, count: int = 0) -> int:
        """Runs from `at`; where it stopped."""
        # Unicorn counts only in code that it translated while counting, so it always counts.
        self.cpu.emu_start(at | 1, RETURN, count=count or 1 << 40)
        return int(self.cpu.reg_read(arm_const.UC_ARM_REG_PC)) & ~1

    def _finish(self, at: int) -> None:
        assert self._run(at) == RETURN

    def _masked(self) -> bool:
        return bool(self.cpu.reg_read(arm_const.UC_ARM_REG_PRIMASK))

    def _wanted(self, transmitter: bool) -> bool:
        """Whether the interrupt is taken before the next instruction."""
        return not self._masked() and (not transmitter or (self.interrupt_on and not self.transmitter_full))

    def transmit(self) -> None:
        """The line takes what there is. The interrupt comes when the transmitter *becomes* empty: not all parts
        raise it for one that has been empty before it was turned on."""
        while self.interrupt_on and self.transmitter_full:
            self.transmitter_full = False
            self.call("playlog_on_transmitter_empty", self.symbols["play"])

    def count_steps(self, function: str, *arguments: int) -> int:
        """The number of instructions of a call."""
        self.cpu.reg_write(arm_const.UC_ARM_REG_SP, STACK)
        self._enter(arguments)
        at, count = self.symbols[function], 0
        while at != RETURN:
            at = self._run(at, count=1)
            count += 1
        return count

    def call_interrupted(
        self,
        function: str,
        arguments: tuple[int, ...],
        before: int,
        handler: str,
        *,
        transmitter: bool,
        fast_line: bool = False,
    ) -> None:
        """Calls `function` and requests an interrupt before its instruction number `before`.

        As on the machine, it is taken at the first instruction from there on where it is not masked. The
        transmitter's interrupt is the transmitter becoming empty: it comes as long as that is so and it is turned
        on. Another one comes once; with `fast_line` the line then takes all that it may before the call goes on.
        """
        self.cpu.reg_write(arm_const.UC_ARM_REG_SP, STACK)
        self._enter(arguments)
        at = self.symbols[function]
        if before:
            at = self._run(at, count=before)
        if transmitter:
            self.transmitter_full = False
        while at != RETURN:
            if self._wanted(transmitter):
                self._interrupt(handler, fast_line)
                if not transmitter:
                    self._finish(at)
                    return
            if self._masked():
                self._stop_at_unlock = True
                at = self._run(at)
                self._stop_at_unlock = False
                while self._masked():
                    at = self._run(at, count=1)
            else:
                # Stops early where the interrupt is turned on while the transmitter is empty.
                self._waiting = transmitter
                at = self._run(at)
                self._waiting = False

    def _interrupt(self, handler: str, fast_line: bool) -> None:
        """One interrupt on top of what runs, with its registers put back afterwards as the machine does."""
        saved = self.cpu.context_save()
        self.cpu.reg_write(arm_const.UC_ARM_REG_SP, (self.cpu.reg_read(arm_const.UC_ARM_REG_SP) - 64) & ~7)
        self._enter((self.symbols["play"],))
        self._finish(self.symbols[handler])
        while fast_line and self.interrupt_on and self.transmitter_full:
            self.transmitter_full = False
            self._enter((self.symbols["play"],))
            self._finish(self.symbols["playlog_on_transmitter_empty"])
        self.cpu.context_restore(saved)

    def read(self, symbol: str, length: int) -> bytes:
        """Bytes of memory at a symbol."""
        return bytes(self.cpu.mem_read(self.symbols[symbol], length))

    def write(self, symbol: str, content: bytes) -> None:
        """Sets memory at a symbol."""
        self.cpu.mem_write(self.symbols[symbol], content)

    def snapshot(self) -> Callable[[], None]:
        """Keeps RAM and the UART's state; the function returned puts them back."""
        memory = bytes(self.cpu.mem_read(RAM, 0x10000))
        uart = bytes(self.sent), self.interrupt_on, self.transmitter_full

        def restore() -> None:
            self.cpu.mem_write(RAM, memory)
            self.sent[:], self.interrupt_on, self.transmitter_full = uart

        return restore


def _segments(elf: Path) -> Iterable[tuple[int, bytes]]:
    """Where the loadable parts of a 32-bit little-endian ELF file run, and their bytes."""
    data = elf.read_bytes()
    table, size, count = struct.unpack_from("<I10xHH", data, 28)
    for number in range(count):
        kind, offset, address, _, length = struct.unpack_from("<IIIII", data, table + number * size)
        if kind == 1 and length:
            yield address, data[offset : offset + length]
