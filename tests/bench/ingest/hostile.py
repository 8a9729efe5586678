"""What a hostile log costs: time and memory of one import against the bytes of the log.

    python -m tests.bench.ingest.hostile FOLDER [BYTES ...] [--only NAME ...]

Every log is imported by a process of its own, as `setscrew ingest` does it; a line of a Markdown table for each. A kind
of log is one that claims as much as it can of something, for its bytes.
"""

import json
import random
import struct
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from itertools import count, cycle
from pathlib import Path

from ingest.vocabulary import EventRole, FieldRole, FieldType
from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from ingest.wire.dictionary import Dictionary, Field, Kind, Tunable
from ingest.wire.encoder import Encoder
from tests.bench.peak import peak_mb
from tests.ingest.logs import header, shooter

_STEP = 1 << 20
U8 = FieldType.U8


class Packets:
    """Makes packets with a right checksum, one after the other."""

    def __init__(self) -> None:
        self.sequence = 0

    def __call__(self, type_: int, body: bytes, time: int = 0, dropped: int = 0, step: int = 1) -> bytes:
        self.sequence = (self.sequence + step) & 0xFFFF
        packet = header(0x10 | type_, self.sequence, dropped, time) + body
        return stuff(packet + crc16(packet).to_bytes(2, "big")) + b"\0"

    def settings(self, id_: int, nonce: int, values: list[int], first: int = 0, time: int = 0) -> bytes:
        """A settings packet."""
        body = struct.pack(f"<HHBB{len(values)}i", id_, nonce & 0xFFFF, first, len(values), *values)
        return self(3, body, time)

    def texts(self, text: bytes) -> bytes:
        """A dictionary in all its chunks."""
        chunks = [(at, text[at : at + 111]) for at in range(0, len(text), 111)]
        return b"".join(self(2, struct.pack("<HHH", crc16(text), len(text), at) + part) for at, part in chunks)

    def begin(self, dictionary: Dictionary, values: list[int] | None = None) -> bytes:
        """A power-up: settings and the whole dictionary."""
        return self.settings(dictionary.id, 1, values or []) + self.texts(dictionary.text)


def _plain(*kinds: Kind, firmware: str = "1", tunables: int = 0) -> Dictionary:
    made = tuple(Tunable(f"t{n}", None, -(1 << 31), (1 << 31) - 1, 1) for n in range(tunables))
    return Dictionary("Hostile", firmware, 1_000_000, (160, 128), kinds, made)


_GO, _OVER = Kind("go", EventRole.RUN_START), Kind("over", EventRole.RUN_END)
_ENTER, _FELL = Kind("enter", EventRole.STAGE_START), Kind("fell", EventRole.DEATH)
_AT = Kind("at", EventRole.POSITION, (Field("x", U8, FieldRole.X), Field("y", U8, FieldRole.Y)))


def broken_frames() -> Iterator[bytes]:
    """Frames of one byte, each of them damage."""
    while True:
        yield b"\x01\0" * (_STEP // 2)


def noise() -> Iterator[bytes]:
    """Anything."""
    dice = random.Random(1)
    while True:
        yield dice.randbytes(_STEP)


def no_end() -> Iterator[bytes]:
    """One frame that never ends."""
    while True:
        yield b"\x01" * _STEP


def only_ends() -> Iterator[bytes]:
    """Ends of frames, and nothing between."""
    while True:
        yield bytes(_STEP)


def broken_between() -> Iterator[bytes]:
    """Good packets that wait for a dictionary which never comes, a broken frame between each two."""
    make = Packets()
    while True:
        yield b"".join(make(4, b"\0") + b"\x01\0" for _ in range(65536))


def gaps() -> Iterator[bytes]:
    """The smallest packets, and one missing before each."""
    make = Packets()
    yield make.begin(_plain(_GO))
    while True:
        yield b"".join(make(4, b"\0", step=2) for _ in range(65536))


def same_again() -> Iterator[bytes]:
    """The same packet again and again."""
    make = Packets()
    yield make.begin(_plain(_GO)) + make(4, b"\0")
    while True:
        yield make(4, b"\0", step=0) * 65536


def drops() -> Iterator[bytes]:
    """Packets, and an event dropped before each."""
    make = Packets()
    yield make.begin(_plain(_AT))
    number = 0
    while True:
        yield b"".join(make(1, b"\0ab", dropped=(number := number + 1) & 0xFFFF) for _ in range(65536))


def events() -> Iterator[bytes]:
    """Events of one byte outside of every run."""
    make = Packets()
    yield make.begin(_plain(Kind("a")))
    while True:
        yield b"".join(make(4, bytes(120)) for _ in range(1024))


def many_kinds() -> Iterator[bytes]:
    """Events of 63 kinds in turn."""
    make = Packets()
    yield make.begin(_plain(*(Kind(f"k{n}", list(EventRole)[n % len(EventRole)]) for n in range(63))))
    while True:
        yield b"".join(make(4, bytes(4 * n for n in range(63))) for _ in range(1024))


def _wide(firmware: str) -> Dictionary:
    """As many kinds with as many fields as a dictionary has room for, under names that it alone has."""
    fields = tuple(Field(f"f{n}", U8) for n in range(11))
    return _plain(*(Kind(f"k{n}_{firmware}", EventRole.SHOT, fields) for n in range(63)), firmware=firmware)


def many_dictionaries() -> Iterator[bytes]:
    """64 dictionaries of 63 kinds, an event of each kind; and so on."""
    make = Packets()
    for number in range(100_000):
        dictionary = _wide(str(number))
        body = [bytes([4 * n]) + bytes(11) for n in range(63)]
        yield make.begin(dictionary) + b"".join(make(4, b"".join(body[n : n + 9])) for n in range(0, 63, 9))


def dictionaries_in_turn() -> Iterator[bytes]:
    """64 dictionaries, and a reset from each to the next, an event between."""
    make = Packets()
    made = [_wide(str(number)) for number in range(32)]
    yield b"".join(make.begin(one) for one in made)
    ids = [one.id for one in made]
    while True:
        yield b"".join(
            make.settings(id_, 1, []) + make(4, bytes([4 * n % 252]) + bytes(11)) for n in range(60) for id_ in ids
        )


def chunks_without_end() -> Iterator[bytes]:
    """Chunks of dictionaries that are never whole."""
    make = Packets()
    number = 0
    while True:
        yield b"".join(
            make(2, struct.pack("<HHH", (number := number + 1) & 0xFFFF, 16384, 0) + b"x") for _ in range(20_000)
        )


def power_ups() -> Iterator[bytes]:
    """A reset with every packet."""
    make = Packets()
    dictionary = _plain(_GO)
    yield make.begin(dictionary)
    nonce = 1
    while True:
        yield b"".join(make.settings(dictionary.id, nonce := nonce + 1, []) for _ in range(20_000))


def power_ups_played() -> Iterator[bytes]:
    """A reset and a run in turn."""
    make = Packets()
    dictionary = _plain(_GO, _AT)
    yield make.begin(dictionary)
    nonce = 1
    while True:
        yield b"".join(make.settings(dictionary.id, nonce := nonce + 1, []) + make(4, b"\0\4ab") for _ in range(10_000))


def back_in_time() -> Iterator[bytes]:
    """Every packet is earlier than the one before: a reset each."""
    make = Packets()
    yield make.begin(_plain(_GO))
    time = 0
    while True:
        yield b"".join(make(4, b"\0", time=(time := time - 1) & 0xFFFFFFFF) for _ in range(65536))


def back_to_known() -> Iterator[bytes]:
    """The same, and each power-up says which dictionary it has; a run in each."""
    make = Packets()
    dictionary = _plain(_GO, _AT)
    yield make.begin(dictionary)
    while True:
        yield b"".join(
            make.settings(dictionary.id, 1, [], time=time) + make(4, b"\0\4ab", time=time)
            for _ in range(10_000)
            for time in (0xC0000000, 0x80000000, 0x40000000, 0)
        )


def copies() -> Iterator[bytes]:
    """Two power-ups in turn, each as the one before the last; after so many all of them later."""
    make = Packets()
    dictionary = _plain(_GO, _OVER, _AT)
    yield make.begin(dictionary)
    for first in count(0, 10_000):
        yield b"".join(
            make.settings(dictionary.id, n % 2, [], time=n // 180) + make(4, b"\0\x08ab\5\5", time=n // 180)
            for n in range(first, first + 10_000)
        )


def builds() -> Iterator[bytes]:
    """A new value and a run in turn: a new build each."""
    make = Packets()
    dictionary = _plain(_GO, _OVER, tunables=1)
    yield make.begin(dictionary, [0])
    value = 0
    while True:
        yield b"".join(
            make.settings(dictionary.id, 1, [value := value + 1], time=value) + make(4, b"\0\4", time=value)
            for _ in range(10_000)
        )


def wide_builds() -> Iterator[bytes]:
    """The same with 255 tunables, of which one changes."""
    make = Packets()
    dictionary = _plain(_GO, _OVER, tunables=255)
    yield make.begin(dictionary)
    yield b"".join(make.settings(dictionary.id, 1, [0] * 15, first) for first in range(0, 255, 15))
    value = 0
    while True:
        yield b"".join(
            make.settings(dictionary.id, 1, [value := value + 1], time=value) + make(4, b"\0\4", time=value)
            for _ in range(10_000)
        )


def settings_alone() -> Iterator[bytes]:
    """Settings that change, of a dictionary that never comes."""
    make = Packets()
    yield b"".join(make.settings(7, 1, [0] * 15, first) for first in range(0, 255, 15))
    value = 0
    while True:
        yield b"".join(make.settings(7, 1, [value := value + 1]) for _ in range(20_000))


def runs() -> Iterator[bytes]:
    """Runs of one byte."""
    make = Packets()
    yield make.begin(_plain(_GO))
    while True:
        yield b"".join(make(4, bytes(120)) for _ in range(1024))


def runs_without_build() -> Iterator[bytes]:
    """The same, and the settings never all come."""
    make = Packets()
    yield make.begin(_plain(_GO, tunables=2), [1])
    while True:
        yield b"".join(make(4, bytes(120)) for _ in range(1024))


def lives() -> Iterator[bytes]:
    """Deaths of one byte in one run."""
    make = Packets()
    yield make.begin(_plain(_GO, _FELL)) + make(4, b"\0")
    while True:
        yield b"".join(make(4, b"\4" * 120) for _ in range(1024))


def stages() -> Iterator[bytes]:
    """Stages of one byte in one run."""
    make = Packets()
    yield make.begin(_plain(_GO, _ENTER)) + make(4, b"\0")
    while True:
        yield b"".join(make(4, b"\4" * 120) for _ in range(1024))


def states() -> Iterator[bytes]:
    """A tier that changes with every event, one microsecond after the other."""
    make = Packets()
    yield make.begin(_plain(_GO, Kind("up", None, (Field("tier", U8, FieldRole.TIER),)))) + make(4, b"\0")
    time = 0
    while True:
        yield b"".join(make(4, b"\5\1\0\5\1\1" * 20, time=(time := time + 100)) for _ in range(1024))


def places() -> Iterator[bytes]:
    """One run that is everywhere on the screen, alive and dead in turn."""
    make = Packets()
    yield make.begin(_plain(_GO, _AT, Kind("wait", EventRole.PAUSE), Kind("on", EventRole.RESUME))) + make(4, b"\0")
    dice, time = random.Random(1), 0
    while True:
        yield b"".join(
            make(4, b"".join(b"\5\1" + dice.randbytes(2) + b"\x09\1\x0c" for _ in range(17)), time=(time := time + 40))
            for _ in range(1024)
        )


def normal() -> Iterator[bytes]:
    """An evening of play, to compare with."""
    from tests.bench.ingest.stream import _power_up

    for nonce in cycle(range(1, 5)):
        yield _power_up(random.Random(nonce), 200_000, nonce)[0]


def _played() -> bytes:
    """An hour of play, for logs whose sidecar is the hostile one."""
    encoder = Encoder(shooter(), [3, 500])
    out = [encoder.power_up()]
    for number in range(3000):
        out.append(encoder.event(1_000_000 * number, "begin", {"who": 1}))
        out.append(encoder.event(1_000_000 * number + 500_000, "over", {"how": 1}))
    return b"".join([*out, encoder.flush()])


def _sidecar(line: Callable[[int], str], size: int) -> Iterator[bytes]:
    yield b'{"capture": 1, "started": "2026-03-01T10:00:00", "source": "x"}\n'
    number = done = 0
    while done < size:
        some = "".join(line(number + one) + "\n" for one in range(10_000)).encode()
        number, done = number + 10_000, done + len(some)
        yield some


SIDECARS: dict[str, Callable[[int], str]] = {
    "tags that wait": lambda n: '{"at":0,"byte":0,"player":"P01"}',
    "remarks": lambda n: f'{{"at":0,"byte":{n % 99_999},"remark":"{n}"}}',
    "arrivals": lambda n: f'{{"at":{n},"byte":{n}}}',
    "no JSON": lambda n: "{",
}
LOGS: dict[str, Callable[[], Iterator[bytes]]] = {
    made.__name__: made
    for made in (
        normal,
        broken_frames,
        noise,
        no_end,
        only_ends,
        broken_between,
        gaps,
        same_again,
        drops,
        events,
        many_kinds,
        many_dictionaries,
        dictionaries_in_turn,
        chunks_without_end,
        power_ups,
        power_ups_played,
        back_in_time,
        back_to_known,
        copies,
        builds,
        wide_builds,
        settings_alone,
        runs,
        runs_without_build,
        lives,
        stages,
        states,
        places,
    )
}


def write(name: str, size: int, folder: Path) -> Path:
    """A log of this kind and about `size` bytes (for sidecars: so many of the sidecar)."""
    path = folder / f"{name.replace(' ', '_')}_{size}.playlog"
    if name in SIDECARS:
        path.write_bytes(_played())
        with path.with_suffix(".capture.jsonl").open("wb") as out:
            out.writelines(_sidecar(SIDECARS[name], size))
        return path
    with path.open("wb") as out:
        for piece in LOGS[name]():
            out.write(piece[: size - out.tell()])
            if out.tell() >= size:
                return path
    return path


def measured(log: Path, study: Path) -> dict[str, float]:
    """One import by a process of its own: seconds by the clock and of CPU, peak memory in MB, what was read."""
    child = [sys.executable, "-m", "tests.bench.ingest.hostile", "--one", str(log), str(study)]
    done = subprocess.run(child, check=True, stdout=subprocess.PIPE)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def _one(log: Path, study: Path) -> None:
    from dashboard.commands import COMMANDS  # all that the command has in memory
    from dashboard.commands.ingest_command import import_log
    from ingest.study.store import INGEST_MEMORY_MB, NoPacket, open_study

    assert COMMANDS
    study.unlink(missing_ok=True)
    wall, cpu = time.perf_counter(), time.process_time()
    with open_study(study, memory_mb=INGEST_MEMORY_MB) as opened:
        try:
            counts = import_log(opened, log)
        except NoPacket as error:
            counts = error.counts  # type: ignore[assignment]
    print(
        json.dumps(
            {
                "wall_s": time.perf_counter() - wall,
                "cpu_s": time.process_time() - cpu,
                "peak_mb": peak_mb(),
                "events": counts.events,
                "runs": counts.runs,
                "rejected": counts.rejected_packets,
                "study_mb": study.stat().st_size / 1e6,
            }
        )
    )


def main(folder: Path, sizes: list[int], only: list[str]) -> None:
    """Prints the table."""
    print("| log | MB | CPU s | CPU s a MB | peak MB | events | runs | damage | study MB |", flush=True)
    print("|---|---|---|---|---|---|---|---|---|", flush=True)
    for name in only or [*LOGS, *SIDECARS]:
        for size in sizes:
            log, study = write(name, size, folder), folder / "hostile.duckdb"
            try:
                m = measured(log, study)
                row = (
                    f"{m['cpu_s']:.1f}",
                    f"{1e6 * m['cpu_s'] / size:.2f}",
                    f"{m['peak_mb']:.0f}",
                    f"{m['events']:,}",
                    f"{m['runs']:,}",
                    f"{m['rejected']:,}",
                    f"{m['study_mb']:.1f}",
                )
            except subprocess.CalledProcessError as error:
                row = ("failed", str(error.returncode))  # type: ignore[assignment]
            print("|", " | ".join([name.replace("_", " "), f"{size / 1e6:g}", *row]), "|", flush=True)
            log.unlink()


if __name__ == "__main__":
    words = sys.argv[1:]
    if words[0] == "--one":
        _one(Path(words[1]), Path(words[2]))
    else:
        at = words.index("--only") if "--only" in words else len(words)
        main(Path(words[0]), [int(word) for word in words[1:at]] or [1_000_000, 4_000_000], words[at + 1 :])
