"""Serial ports and sockets: found again after unplugging, and refused with words that help."""

import os
import socket
from dataclasses import dataclass

import pytest
import serial

from ingest.capture.sources import CannotOpen, Gone, SerialSource, SocketSource, serial_ports, source_named


@dataclass
class Found:
    """A port as pyserial lists it."""

    device: str
    serial_number: str | None = None
    location: str | None = None
    vid: int | None = 0x2E8A
    pid: int | None = 10
    description: str = "Lantern"


class Machine:
    """A machine whose ports the test plugs in and out."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch):
        self.ports: list[Found] = []
        self.opened: list[str] = []
        monkeypatch.setattr("serial.tools.list_ports.comports", lambda: self.ports)
        monkeypatch.setattr("serial.Serial", self.open)

    def open(self, name: str, baud: int, **_: object) -> "Machine":
        if name not in [port.device for port in self.ports]:
            raise serial.SerialException(f"could not open port {name}: no such file or directory")
        self.opened.append(name)
        return self

    in_waiting = 0

    def read(self, size: int) -> bytes:
        raise serial.SerialException("device disconnected")

    def close(self) -> None:
        raise OSError("gone")


@pytest.fixture
def machine(monkeypatch):
    return Machine(monkeypatch)


@pytest.mark.parametrize("identity", [{"serial_number": "A1"}, {"location": "1-2"}])
def test_a_console_is_found_again_under_another_name(machine, identity):
    machine.ports = [Found("COM3", **identity), Found("COM4", serial_number="B2", location="1-3")]
    source = SerialSource("COM3")
    source.open()
    with pytest.raises(Gone, match="plug it in again"):
        source.read()
    source.close()
    machine.ports = [Found("COM4", serial_number="B2", location="1-3")]
    with pytest.raises(CannotOpen):  # never another console's port
        source.open()
    machine.ports.append(Found("COM7", **identity))
    source.open()
    assert machine.opened == ["COM3", "COM7"]


def test_the_same_name_is_preferred_even_when_the_adapter_was_exchanged(machine):
    machine.ports = [Found("COM3", serial_number="A1")]
    source = SerialSource("COM3")
    source.open()
    source.close()
    machine.ports = [Found("COM3", serial_number="C9")]
    source.open()
    assert machine.opened == ["COM3", "COM3"]


def test_a_port_that_is_no_usb_port_is_only_found_by_its_name(machine):
    machine.ports = [Found("COM1", vid=None, pid=None)]
    source = SerialSource("COM1")
    source.open()
    with pytest.raises(Gone, match="once it is there again"):  # it has no plug to speak of
        source.read()
    source.close()
    machine.ports = [Found("COM2", vid=None, pid=None)]
    with pytest.raises(CannotOpen, match="COM1"):
        source.open()


def test_reading_from_what_is_not_open_is_gone_and_not_a_crash():
    for source in (SerialSource("COM1"), SocketSource("tcp:x:1", ("x", 1))):
        with pytest.raises(Gone):
            source.read()
        source.close()


def test_a_socket_that_closes_is_not_called_a_port():
    here, there = socket.socketpair()
    source = SocketSource("unix:x", "x")
    source._socket = here
    there.close()
    with pytest.raises(Gone, match="the other side has gone; the recording goes on once it runs again"):
        source.read()
    source.close()


@pytest.mark.parametrize(
    ("error", "help_"),
    [
        ("could not open port COM3: PermissionError(13, 'Access is denied.')", "another program"),
        ("[Errno 13] could not open port /dev/ttyACM0: [Errno 13] Permission denied", "dialout"),
        ("Could not exclusively lock port /dev/ttyACM0: [Errno 11]", "Another program"),
        ("[Errno 2] could not open port: No such file or directory", "setscrew ports"),
    ],
)
def test_each_refusal_says_what_to_do(monkeypatch, error, help_):
    def refuse(*_: object, **__: object) -> None:
        raise serial.SerialException(error)

    monkeypatch.setattr("serial.Serial", refuse)
    with pytest.raises(CannotOpen, match=help_):
        SerialSource("COM3").open()


@pytest.mark.parametrize("name", ["tcp:", "tcp:5000", "tcp:host:", "tcp:host:x", "tcp:host:0", "tcp:host:70000"])
def test_a_malformed_socket_is_refused_with_the_right_form(name):
    with pytest.raises(CannotOpen, match="tcp:HOST:PORT"):
        source_named(name)


def test_usb_ports_come_first(machine):
    machine.ports = [Found("COM1", vid=None, pid=None), Found("COM9")]
    assert [port.name for port in serial_ports()] == ["COM9", "COM1"]


def test_a_port_that_is_not_there_is_told_once_and_in_words(tmp_path):
    with pytest.raises(CannotOpen) as refused:
        SerialSource(str(tmp_path / "nothing")).open()
    said = str(refused.value)
    assert said.count("nothing") == 1 and "Errno" not in said
    assert "No such file or directory. `setscrew ports` lists" in said or os.name == "nt"
