"""`setscrew record`: keeps what consoles send, shows how it stands, and takes the tags of the players."""

import argparse
import json
import re
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict
from pathlib import Path

from analysis.words import amount, counted
from dashboard.command_line import exits
from dashboard.command_line.terminal import Terminal
from ingest.capture.captures import Captures
from ingest.capture.player_tag import BadTag
from ingest.capture.recording import State, Status
from ingest.capture.sources import BAUD, CannotOpen, serial_ports

HELP = "record what consoles send over their serial ports"
KEYS = """\
Type, and press Enter:
  P07         P07 plays the next run      P07 3   the next three runs
  =P07        P07 plays this run (or, between runs, played the last one)
  -           take back the tags that wait
  # words     a remark on this run (no names, please)
  2: P07      for console 2, where there are several
Ctrl-C ends the recording."""
_TICK_S = 0.2
_PLAIN_EVERY_S = 10.0
_MOST_RUNS = 20


class BadWords(Exception):
    """What was typed means nothing here; the message says what would."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command line."""
    parser.add_argument(
        "ports",
        nargs="*",
        metavar="PORT",
        help="a serial port (`setscrew ports` lists them), tcp:HOST:PORT or unix:PATH; none: the only USB port",
    )
    parser.add_argument(
        "--into",
        type=Path,
        default=Path("playtest"),
        metavar="FOLDER",
        help="where the logs are written (default: %(default)s)",
    )
    parser.add_argument(
        "--baud",
        type=int,
        metavar="RATE",
        help=f"speed of the line (default: {BAUD}, and the usual ones in turn while what comes is no packet)",
    )
    parser.add_argument("--stop-after", type=float, metavar="SECONDS", help="end by itself after this time")
    parser.add_argument("--json", action="store_true", help="print one JSON object at the end (JSON.md)")


def run(arguments: argparse.Namespace) -> int:
    """Records until Ctrl-C, `--stop-after` or a second Ctrl-C that gives up on a full disk."""
    names = list(dict.fromkeys(arguments.ports)) or _only_usb_port()
    if not names:
        print(
            "Name the port to record from: there is not exactly one USB port. `setscrew ports` lists them.",
            file=sys.stderr,
        )
        return exits.USAGE
    captures = Captures(arguments.into)
    try:
        for name in names:
            captures.start(name, arguments.baud)
    except CannotOpen as error:
        captures.stop_all(give_up=True)
        print(error, file=sys.stderr)
        return exits.INPUT
    with Terminal(stdout=sys.stderr if arguments.json else sys.stdout) as terminal:
        _watch(captures, names, terminal, arguments.stop_after)
        _end(captures, terminal)
    ended = captures.statuses()
    for status in ended:
        print(_summary(status), file=sys.stderr if arguments.json else sys.stdout)
    if arguments.json:
        print(json.dumps({"recordings": [as_json(status) for status in ended]}))
    return exits.THIN if any(status.lost_bytes for status in ended) else exits.OK


def _only_usb_port() -> list[str]:
    usb = [port.name for port in serial_ports() if port.usb]
    return usb if len(usb) == 1 else []


def _watch(captures: Captures, names: list[str], terminal: Terminal, stop_after: float | None) -> None:
    began = said = time.monotonic()
    trouble: dict[str, str | None] = {}
    told: set[tuple[str, str]] = set()
    with _ctrl_c() as pressed, suppress(KeyboardInterrupt):
        for status in captures.statuses():
            terminal.say(f"Recording {status.source} into {status.path}")
        if terminal.live:
            terminal.say(KEYS)
        while not pressed and (stop_after is None or time.monotonic() - began < stop_after):
            for words in terminal.typed_lines():
                try:
                    terminal.say(obey(captures, names, words))
                except (BadWords, BadTag) as error:
                    terminal.say(str(error))
            statuses = captures.statuses()
            for status in statuses:
                kind = status.trouble and re.sub(r"\d+", "", status.trouble)
                if trouble.get(status.source) != kind:
                    trouble[status.source] = kind
                    terminal.say(f"{status.source}: {status.trouble or 'all is well again'}")
                tell = [(words, words) for words in status.search]
                tell += [(notice.topic, notice.words) for notice in status.notices]
                for topic, words in tell:
                    if (status.source, topic) not in told:
                        told.add((status.source, topic))
                        terminal.say(f"{status.source}: {words}")
            lines = [status_line(number, status) for number, status in enumerate(statuses, 1)]
            terminal.show(lines)
            if not terminal.live and time.monotonic() - said >= _PLAIN_EVERY_S:
                said = time.monotonic()
                terminal.say("\n".join(lines))
            time.sleep(_TICK_S)


@contextmanager
def _ctrl_c() -> Iterator[list[int]]:
    """Notes a Ctrl-C instead of breaking off what goes on: in the midst of a count, runs would be missing from it."""
    pressed: list[int] = []
    own = threading.current_thread() is threading.main_thread()
    if not own or signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
        yield pressed
        return
    signal.signal(signal.SIGINT, lambda number, _: pressed.append(number))
    try:
        yield pressed
    finally:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def _end(captures: Captures, terminal: Terminal) -> None:
    """Stops, and while the disk is full waits for room, until a Ctrl-C gives up."""
    asked = False
    while True:
        try:
            if captures.stop_all():
                return
            if not asked:
                waiting = sum(status.pending_bytes for status in captures.statuses())
                terminal.say(
                    f"The disk is still full, and {waiting} bytes wait. Free some space, or press Ctrl-C "
                    "to give them up."
                )
                asked = True
            time.sleep(_TICK_S)
        except KeyboardInterrupt:
            if asked:
                captures.stop_all(give_up=True)
                return


def obey(captures: Captures, names: list[str], words: str) -> str:
    """Does what was typed and says what was done. Raises BadWords, BadTag."""
    found = re.fullmatch(r"(?:([0-9]+)\s*:)?\s*(.*?)\s*", words)
    number, rest = (found[1], found[2]) if found else (None, words.strip())
    if number is None and len(names) > 1:
        raise BadWords(f"For which console? Put its number in front, 1 to {len(names)}: for example 2: P07")
    if number is not None and not 1 <= int(number) <= len(names):
        raise BadWords(f"There is no console {number}; they are 1 to {len(names)}")
    name = names[int(number or 1) - 1]
    if rest.startswith("#"):
        captures.remark(name, rest[1:])
        return f"{name}: noted"
    if rest == "-":
        captures.take_back(name)
        return f"{name}: no tag waits now"
    if rest.startswith("="):
        return f"{name}: {captures.this_player(name, rest[1:])} plays this run"
    tag, _, count = rest.partition(" ")
    runs = int(count) if re.fullmatch(r"\s*[0-9]{1,3}", count) else 1 if not count else 0
    if not 1 <= runs <= _MOST_RUNS:
        raise BadWords(f"{count.strip()[:20]!r} is no number of runs from 1 to {_MOST_RUNS}; type for example P07 3")
    for _ in range(runs):
        tag = captures.next_player(name, tag)
    return f"{name}: {tag} plays the next {'run' if runs == 1 else f'{runs} runs'} to begin"


def status_line(number: int, status: Status) -> str:
    """How a recording stands, in one line."""
    counts = status.counts
    state = {State.RECORDING: "", State.UNPLUGGED: "GONE ", State.DISK: "DISK FULL ", State.STOPPED: "ended "}
    waiting = f" · next {', '.join(status.waiting)}" if status.waiting else ""
    player = f" {status.who}" if counts.runs else ""
    run = f"run {counts.runs}{'' if counts.in_run else ' over'}{player}" if counts.runs else "no run yet"
    return (
        f"{number} {state[status.state]}{counts.game or status.source} · {amount(round(status.bytes_per_s))} B/s · "
        f"{amount(status.bytes)} B · {amount(counts.packets)} packets · {run}{waiting} · {counts.rejected} damaged · "
        f"{counts.missing_packets} missing · {counts.dropped_events} dropped"
        f"{'' if counts.unread_from is None else ' · NO LONGER READ: too many resets'}"
    )


def _summary(status: Status) -> str:
    trouble = f"; {status.trouble}" if status.trouble else ""
    return f"{status.path}: {counted(status.bytes, 'byte')}, {counted(status.counts.runs, 'run')}{trouble}"


def as_json(status: Status) -> dict[str, object]:
    """A status as plain JSON values; the keys are documented in dashboard/JSON.md."""
    row = asdict(status)
    rounded = {key: round(row[key], 3) for key in ("seconds", "bytes_per_s")}
    return row | rounded | {"path": str(status.path), "waiting": list(status.waiting), "open": list(status.open)}
