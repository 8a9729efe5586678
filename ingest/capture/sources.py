"""Where a recording's bytes come from: a serial port, or a socket of an emulator or of another machine."""

import contextlib
import os
import re
import socket
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import serial
import serial.tools.list_ports

if sys.platform == "win32":
    _TerminalError = OSError
else:
    from termios import error as _TerminalError  # pyserial lets it through, and it is no OSError

BAUD = 115_200
# How long a read waits for the first byte: short enough for a stop to feel immediate.
WAIT_S = 0.1
_CHUNK = 1 << 16
# Linux, the BSDs; macOS. Their names are used again as soon as they are free.
_PSEUDO_TERMINAL = re.compile(r"/dev/pts/\d+|/dev/ttys\d+")
# USB ports of the communication device class: by Linux's and macOS's names, and by what Windows' own driver is called.
_USB_CDC = re.compile(r"/dev/ttyACM\d+|/dev/(cu|tty)\.usbmodem.*|USB Serial Device.*")
# Of these, the ones with a UART behind them: debug probes and adapters call themselves so. By descriptions as boards
# have them, from memory, no source; "CMSIS-DAP" stands in the name of every probe that follows that standard.
_WITH_UART = re.compile(r"uart|usb.single.serial|cmsis.dap|mbed|st-?link|j-?link|probe|debug", re.IGNORECASE)


class CannotOpen(Exception):
    """The source cannot be opened; the message says why and what to do."""


class Gone(Exception):
    """The source was there and is not any more: unplugged, switched off, closed from the other side.

    The message says so for people, and what to do.
    """


class Source(Protocol):
    """A place that bytes come from. It can be opened again after it was gone."""

    name: str

    def open(self) -> None:
        """Opens it; raises CannotOpen."""

    def read(self) -> bytes:
        """What has come, after a wait of at most WAIT_S for the first byte; raises Gone."""

    def close(self) -> None:
        """Closes it; never raises."""


@dataclass(frozen=True)
class Port:
    """A serial port of this machine. `usb` is its vendor and product number; None: no USB port."""

    name: str
    description: str
    usb: str | None


def serial_ports() -> list[Port]:
    """The serial ports of this machine, USB ones first: consoles hang on these."""
    ports = [
        Port(port.device, port.description or "", None if port.vid is None else f"{port.vid:04x}:{port.pid:04x}")
        for port in serial.tools.list_ports.comports()
    ]
    return sorted(ports, key=lambda port: (port.usb is None, port.name))


def source_named(name: str, baud: int = BAUD) -> Source:
    """`tcp:HOST:PORT` and `unix:PATH` are sockets; everything else is the name of a serial port.

    Raises CannotOpen for a malformed name.
    """
    kind, _, rest = name.partition(":")
    if kind == "tcp":
        host, _, port = rest.rpartition(":")
        if not host or not port.isdecimal() or not 0 < int(port) < 1 << 16:
            raise CannotOpen(f"{name!r}: write it as tcp:HOST:PORT, for example tcp:localhost:5000")
        return SocketSource(name, (host, int(port)))
    if kind == "unix":
        if sys.platform == "win32":
            raise CannotOpen(f"{name!r}: this system has no unix sockets here; use tcp:HOST:PORT")
        return SocketSource(name, rest)
    return SerialSource(name, baud)


class SerialSource:
    """A serial port, 8 data bits, no parity, 1 stop bit. Found again by its name or its USB identity.

    A pseudo-terminal that has gone is not opened again: the system gives its name to the next one that is made, which
    may be the terminal in which somebody types.
    """

    def __init__(self, name: str, baud: int = BAUD):
        self.name = name
        self._baud = baud
        self._port: serial.Serial | None = None
        self._identity: tuple[object, ...] | None = None
        self._was_open = False

    def open(self) -> None:
        if self._was_open and _PSEUDO_TERMINAL.fullmatch(self.name):
            raise CannotOpen(
                f"{self.name}: this terminal has gone, and its name may be another's by now; end the recording and "
                "begin a new one"
            )
        name = self._device()
        try:
            # Two readers of one port would each get half of the bytes.
            self._port = serial.Serial(name, self._baud, timeout=WAIT_S, exclusive=True)
        except (OSError, ValueError, _TerminalError) as error:
            raise CannotOpen(f"{self.name}: {_why(error)}") from None
        self._was_open = True
        self._identity = _identity(name) or self._identity

    def read(self) -> bytes:
        port = self._port
        if port is None:
            raise Gone(self._gone())
        try:
            # Only what is there already: a longer read loses all when the port goes away meanwhile.
            return bytes(port.read(port.in_waiting or 1))
        except (OSError, TypeError):  # TypeError: pyserial, where the port went away during the call
            raise Gone(self._gone()) from None

    @property
    def has_baud(self) -> bool:
        """Whether a line is behind the port, so that rates matter; of a pseudo-terminal or a console's USB none is."""
        if _PSEUDO_TERMINAL.fullmatch(self.name):
            return False
        port = next((port for port in serial.tools.list_ports.comports() if port.device == self.name), None)
        about = [] if port is None else [port.description, getattr(port, "product", None)]
        said = [text for text in about if text]
        if not any(_USB_CDC.fullmatch(text) for text in (self.name, *said)):
            return True
        return any(_WITH_UART.search(text) for text in said)

    def set_baud(self, baud: int) -> bool:
        """Listens at another rate from now on; False: the port cannot, and stays as it was. Raises Gone.

        The port stays open: DTR, and with it the console, is left alone, and bytes that wait to be read stay there.
        """
        port, before = self._port, self._baud
        if port is None:
            raise Gone(self._gone())
        try:
            port.baudrate = baud
        except (OSError, ValueError, TypeError, _TerminalError):
            try:
                port.baudrate = before  # pyserial has noted the one that was refused
            except (OSError, ValueError, TypeError, _TerminalError):
                raise Gone(self._gone()) from None
            return False
        self._baud = baud
        return True

    def close(self) -> None:
        port, self._port = self._port, None
        if port is not None:
            with contextlib.suppress(OSError, TypeError, _TerminalError):
                port.close()

    def _gone(self) -> str:
        if _PSEUDO_TERMINAL.fullmatch(self.name):
            return "the terminal has gone; end this recording and begin a new one"
        if self._identity is None:
            return "the port has gone; the recording goes on once it is there again"
        return "the port has gone; plug it in again"

    def _device(self) -> str:
        """The device to open now. A console plugged in again may have come back under another name."""
        if self._identity is None:
            return self.name
        ports = serial.tools.list_ports.comports()
        if any(port.device == self.name for port in ports):
            return self.name
        return next((port.device for port in ports if _identity_of(port) == self._identity), self.name)


def _identity(name: str) -> tuple[object, ...] | None:
    return next((_identity_of(p) for p in serial.tools.list_ports.comports() if p.device == name), None)


def _identity_of(port: object) -> tuple[object, ...] | None:
    """What stays the same of a USB port: its serial number, or else the socket it is plugged into."""
    vid, pid, number, location = (getattr(port, name) for name in ("vid", "pid", "serial_number", "location"))
    return None if vid is None else (vid, pid, number or location)


def _why(error: Exception) -> str:
    number = getattr(error, "errno", None)
    # pyserial's own words repeat the port and the number of the error.
    text = os.strerror(number) if isinstance(number, int) else str(error)
    lower = text.lower()
    if "permission" in lower or "access is denied" in lower:
        return (
            f"{text}. Is another program reading the port? On Linux your user must be in the group of the "
            "device (often dialout or uucp)"
        )
    if "lock" in lower or "resource temporarily" in lower or "busy" in lower:
        return f"{text}. Another program has the port open; close it"
    return f"{text}. `setscrew ports` lists the ports that are there"


class SocketSource:
    """A stream socket that the console's bytes come out of, for example an emulator's serial line."""

    _gone = "the other side has gone; the recording goes on once it runs again"

    def __init__(self, name: str, address: tuple[str, int] | str):
        self.name = name
        self._address = address
        self._socket: socket.socket | None = None

    def open(self) -> None:
        is_path = isinstance(self._address, str)
        family = socket.AF_INET
        if sys.platform != "win32" and is_path:
            family = socket.AF_UNIX
        made = socket.socket(family)
        try:
            made.settimeout(5)
            made.connect(self._address)
            made.settimeout(WAIT_S)
        except OSError as error:
            made.close()
            hint = "" if not is_path or Path(str(self._address)).exists() else "; no such socket"
            raise CannotOpen(f"{self.name}: {error.strerror or error}{hint}. Is the other side running?") from None
        self._socket = made

    def read(self) -> bytes:
        if self._socket is None:
            raise Gone(self._gone)
        try:
            chunk = self._socket.recv(_CHUNK)
        except TimeoutError:
            return b""
        except OSError:
            raise Gone(self._gone) from None
        if not chunk:
            raise Gone(self._gone)
        return chunk

    def close(self) -> None:
        made, self._socket = self._socket, None
        if made is not None:
            made.close()
