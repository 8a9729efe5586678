"""A terminal that shows lines which change while somebody types below them."""

import contextlib
import io
import os
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import TextIO

_LONGEST_LINE = 500


class Terminal:
    """Typed lines in, live lines out; use it in a `with`.

    On a terminal the live lines are drawn anew in place, with what is being typed below. Anywhere else they
    are not drawn, and lines are read as they come.
    """

    def __init__(self, prompt: str = "> ", stdout: TextIO | None = None):
        self._prompt, self._in, self._out = prompt, sys.stdin, stdout or sys.stdout
        self.live = self._in is not None and self._in.isatty() and self._out.isatty()
        self._typed = ""
        self._drawn = 0
        self._lines: deque[str] = deque()
        self._restore: Callable[[], None] | None = None

    def __enter__(self) -> "Terminal":
        if not self.live:
            if self._in is not None:
                threading.Thread(target=self._read_lines, daemon=True).start()
        else:
            self._restore = _keys_one_by_one(self._in, self._out)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._restore is not None:
            self._restore()
            print(file=self._out, flush=True)

    def typed_lines(self) -> list[str]:
        """The lines that have been finished since the last call."""
        if self.live:
            for character in _waiting_characters(self._in):
                self._key(character)
        lines = []
        while self._lines:
            lines.append(self._lines.popleft())
        return lines

    def show(self, lines: list[str]) -> None:
        """Draws the live lines and what is being typed. Not a terminal: nothing."""
        if not self.live:
            return
        width = _width(self._out)
        drawn = [line[: width - 1] for line in lines] + [(self._prompt + self._typed)[-(width - 1) :]]
        up = f"\x1b[{self._drawn - 1}A" if self._drawn > 1 else ""
        self._out.write(f"{up}\r\x1b[J" + "\n".join(drawn))
        self._out.flush()
        self._drawn = len(drawn)

    def say(self, text: str) -> None:
        """Prints a line that stays."""
        if self.live and self._drawn:
            self._out.write((f"\x1b[{self._drawn - 1}A" if self._drawn > 1 else "") + "\r\x1b[J")
            self._drawn = 0
        print(text, file=self._out, flush=True)

    def _key(self, character: str) -> None:
        if character in "\r\n":
            self._lines.append(self._typed)
            self._typed = ""
        elif character in "\b\x7f":
            self._typed = self._typed[:-1]
        elif character == "\x03":
            raise KeyboardInterrupt
        elif character.isprintable() and len(self._typed) < _LONGEST_LINE:
            self._typed += character

    def _read_lines(self) -> None:
        if isinstance(self._in, io.TextIOWrapper):
            # A byte of another encoding spoils its own line, and not all that follow.
            self._in.reconfigure(errors="replace")
        with contextlib.suppress(OSError, ValueError):  # it may be closed at any time
            while line := self._in.readline(_LONGEST_LINE):
                self._lines.append(line.rstrip("\r\n"))


def _width(out: TextIO) -> int:
    try:
        return max(os.get_terminal_size(out.fileno()).columns, 20)
    except OSError:
        return 80


def typed_on_windows(waits: Callable[[], bool], read: Callable[[], str]) -> Iterator[str]:
    """The characters that wait, without arrows and the like: these come as two, the first of them 0 or E0.

    The letter à is E0 as well, but alone. (Python's documentation of msvcrt.getwch.)
    """
    while waits():
        character = read()
        if character in "\x00\xe0" and waits():
            read()
        elif character != "\x00":
            yield character


if sys.platform == "win32":
    import ctypes
    import msvcrt

    def _waiting_characters(stdin: TextIO) -> str:
        return "".join(typed_on_windows(msvcrt.kbhit, msvcrt.getwch))

    def _keys_one_by_one(stdin: TextIO, out: TextIO) -> Callable[[], None]:
        """The console obeys escapes from now on; returns what puts it back. Its keys come one by one anyhow."""
        kernel, handle = ctypes.windll.kernel32, ctypes.c_void_p(msvcrt.get_osfhandle(out.fileno()))
        before = ctypes.c_uint32()
        processed_wrapped_virtual_terminal = 7
        if not kernel.GetConsoleMode(handle, ctypes.byref(before)):
            return lambda: None
        kernel.SetConsoleMode(handle, processed_wrapped_virtual_terminal)
        return lambda: kernel.SetConsoleMode(handle, before)

else:
    import select
    import termios
    import tty

    def _waiting_characters(stdin: TextIO) -> str:
        data = b""
        while select.select([stdin.fileno()], [], [], 0)[0]:
            some = os.read(stdin.fileno(), 4096)
            if not some:
                break
            data += some
        return data.decode("utf-8", "ignore")

    def _keys_one_by_one(stdin: TextIO, out: TextIO) -> Callable[[], None]:
        """Keys come as they are pressed, and are not shown; returns what puts the terminal back."""
        before = termios.tcgetattr(stdin.fileno())
        tty.setcbreak(stdin.fileno())
        return lambda: termios.tcsetattr(stdin.fileno(), termios.TCSADRAIN, before)
