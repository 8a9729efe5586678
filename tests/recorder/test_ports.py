"""The ports beside the recorder: each compiles for the processors it is for, and sends what the game logs."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest.study.store import import_log, open_study
from tests import reference
from tests.ingest.studies import rows
from tests.recorder.cores import AVR, CORES, EXAMPLES, LANTERN, M0, M4, RV32, STANDINS, Core, played_on_the_pc

PORTS = EXAMPLES / "ports"
GAME = "damp_cellars"
ARM = (M0, M4)
FOR: dict[str, tuple[Core, ...]] = {
    "uart_sr_dr.c": ARM,
    "uart_isr_tdr.c": ARM,
    "vendor_hal.c": ARM,
    "vendor_hal_dma.c": ARM,
    "arduino_serial.cpp": CORES,
    "pico_sdk.c": ARM,
    "avr_uart.c": (AVR,),
    "riscv_uart.c": (RV32,),
    "usb_cdc.c": CORES,
    "semihosting.c": ARM,
    "ram_buffer.c": CORES,
}
DEFINES = {"uart_isr_tdr.c": ("UART_HAS_TDR",), "vendor_hal_dma.c": ("BY_DMA",)}
# What stands in on the PC for what a port calls.
ON_THE_PC = {
    "uart_sr_dr.c": ("pc_uart.c",),
    "uart_isr_tdr.c": ("pc_uart.c",),
    "vendor_hal.c": ("pc_hal.c",),
    "vendor_hal_dma.c": ("pc_hal.c",),
    "arduino_serial.cpp": ("pc_serial.cpp", "pc_polled.c"),
    "pico_sdk.c": ("pc_polled.c",),
    "usb_cdc.c": ("pc_polled.c",),
}


def test_every_port_is_compiled() -> None:
    assert {path.name for path in PORTS.iterdir()} == set(FOR)


def test_the_readme_names_every_port() -> None:
    text = (EXAMPLES / "README.md").read_text(encoding="utf-8")
    assert all(f"`{name}`" in text for name in FOR)


@pytest.mark.parametrize(
    "port, core", [pytest.param(port, core, id=f"{port}, {core.name}") for port, cores in FOR.items() for core in cores]
)
def test_ports_compile_without_a_warning(port: str, core: Core, tmp_path: Path) -> None:
    language = ("-xc++", "-std=c++11") if port.endswith(".cpp") else ("-std=gnu99",)
    defines = [f"-D{name}" for name in DEFINES.get(port, ())]
    small = ["-DKEPT_BYTES=1024"] if core is AVR else []
    core.compile(*language, *defines, *small, "-c", PORTS / port, "-o", tmp_path / "port.o")


@pytest.fixture(scope="module")
def sent(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """What the game sends on the PC through the PC's own port."""
    return played_on_the_pc(tmp_path_factory.mktemp("pc"), GAME, LANTERN / "pc_port.c")


@pytest.mark.parametrize("port", ON_THE_PC)
def test_a_port_sends_what_the_game_logs(port: str, sent: bytes, tmp_path: Path) -> None:
    """On stand-ins that are busy now and then, or take 63 bytes a frame: every event, once, at its moment."""
    sources = (PORTS / port, *(STANDINS / name for name in ON_THE_PC[port]))
    through = played_on_the_pc(tmp_path, GAME, *sources, defines=DEFINES.get(port, ()))
    log = reference.decode(through)
    assert not log.rejected and not log.gaps and not log.drops
    got = [(e.tick, e.kind, e.fields) for e in log.events]
    logged = [(e.tick, e.kind, e.fields) for e in reference.decode(sent).events]
    assert len(got) > 600
    # Where the line takes less in a frame, the last packet is still in the ring at the end.
    assert got == logged[: len(got)] and len(logged) - len(got) < 20
    if port.startswith("uart"):
        assert through == sent


READ_OUT = """
#include "machine.h"
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
extern uint8_t kept[KEPT_BYTES];
static void read_out(void) { (void)fwrite(kept, 1, sizeof kept, stdout); }
void machine_wait_for_idle_line(void)
{
    static int reader;
    if (reader++ == 0) (void)atexit(read_out);
}
"""


@pytest.mark.parametrize("kept_bytes", [16384, 4096], ids=["with room at the end", "full"])
@pytest.mark.parametrize("empty", [b"\x00", b"\xff"], ids=["RAM", "flash"])
def test_a_dump_of_memory_is_a_log(kept_bytes: int, empty: bytes, sent: bytes, tmp_path: Path) -> None:
    """As it is read out: what was never written, and a packet that was cut off, cost nothing else."""
    (tmp_path / "read_out.c").write_text(READ_OUT, encoding="utf-8")
    sources = (PORTS / "ram_buffer.c", tmp_path / "read_out.c")
    dump = played_on_the_pc(tmp_path, GAME, *sources, defines=(f"KEPT_BYTES={kept_bytes}",))
    whole = sent[:kept_bytes]
    assert dump == whole.ljust(kept_bytes, b"\0")
    path = tmp_path / "dump.playlog"
    path.write_bytes(whole.ljust(65536, empty))
    events = reference.decode(whole).events
    with open_study(tmp_path / "study.duckdb") as study:
        assert import_log(study, path).events == len(events) > 300
        deaths = sum(event.kind == "out" for event in events)
        assert rows(study, "SELECT count(*) FROM lives WHERE died") == [(deaths,)]
