"""Any value that the format can carry is stored as it is, or refused by name: none ends an import."""

from pathlib import Path

import pytest

from analysis.findings import QUESTIONS
from analysis.reader import Reader
from analysis.selection import Selection
from ingest.capture.sidecar import parse_sidecar
from ingest.study.store import Study
from ingest.vocabulary import EventRole, FieldRole, FieldType
from ingest.wire.checksum import crc16
from ingest.wire.cobs import stuff
from ingest.wire.dictionary import Dictionary, Field, Kind
from ingest.wire.encoder import Encoder
from tests.ingest.logs import header
from tests.ingest.studies import dictionary, event, imported, log_of, rows

_SHIFTS = {FieldRole.AGO, FieldRole.AHEAD}
# Those that runs are built from and one that is not, in the order of a run. A dictionary has no room for all roles with
# all fields.
_ROLES = (
    EventRole.RUN_START,
    EventRole.STAGE_START,
    EventRole.SPAWN,
    EventRole.POSITION,
    EventRole.DEATH,
    EventRole.PAUSE,
    EventRole.RESUME,
    EventRole.STAGE_END,
    EventRole.RATING,
    EventRole.RUN_END,
)


def of_every_role(type_: FieldType, value: int) -> bytes:
    """A log in which every event that runs are built from has every field role, all with one value."""
    roles = [role for role in FieldRole if role not in _SHIFTS]
    kinds = tuple(
        Kind(f"{role}_{part}", role, tuple(Field(f.value, type_, f) for f in roles[at : at + 16]))
        for role in _ROLES
        for part, at in enumerate(range(0, len(roles), 16))
    )
    encoder = Encoder(Dictionary("All", "1", 1000, (160, 128), kinds), [])
    out = [encoder.power_up()]
    order = sorted(kinds, key=lambda kind: (_ROLES.index(kind.role), kind.name.endswith("0")))
    for turn in range(2):
        for at, kind in enumerate(order):
            out.append(encoder.event(1000 * turn + at, kind.name, {f.name: value for f in kind.fields}))
    out.append(encoder.flush())
    return b"".join(out)


@pytest.mark.parametrize(
    ("type_", "value"),
    [
        (FieldType.U32, (1 << 32) - 2),
        (FieldType.U32, 1 << 31),
        (FieldType.I32, 1 - (1 << 31)),
        (FieldType.I32, (1 << 31) - 1),
    ],
)
def test_every_field_role_takes_every_value(study: Study, tmp_path: Path, type_: FieldType, value: int) -> None:
    result = imported(study, tmp_path / "a.playlog", of_every_role(type_, value))
    assert result.runs >= 2 and result.rejected_packets == 0
    assert rows(study, "SELECT DISTINCT lives_left, tier, level, cause, x, y FROM lives WHERE died AND x NOT NULL") == [
        (value,) * 6
    ]
    assert (value,) in rows(study, "SELECT stage FROM stages") and (value,) in rows(study, "SELECT song FROM stages")
    for column in ("logged_player", "seed", "score", "rating"):
        assert (value,) in rows(study, f"SELECT {column} FROM all_runs"), column
    assert rows(study, "SELECT max(x), min(x) FROM position_events") == [(value, value)]
    # Places off the screen count for its nearest cell.
    assert {x for (x,) in rows(study, "SELECT DISTINCT x FROM places")} == {152 if value > 0 else 0}
    reader = Reader(study.connection)
    for find in (question.find for question in QUESTIONS.values()):
        find(reader, Selection("All"))


def test_an_underflowed_counter_of_lives_does_not_end_an_import(study: Study, tmp_path: Path) -> None:
    # One less than 0 is none, two less are lives.
    kinds = {"go": ("run_start", {}), "fell": ("death", {"lives": "u32 lives"}), "over": ("run_end", {})}
    lines = [dictionary(kinds), event(1, "go"), event(2, "fell", lives=0), event(3, "fell", lives=(1 << 32) - 2)]
    assert imported(study, tmp_path / "a.playlog", [*lines, event(4, "over")]).runs == 1
    assert rows(study, "SELECT lives_left FROM lives WHERE died ORDER BY number") == [(0,), ((1 << 32) - 2,)]


def test_a_time_beyond_every_calendar_counts_as_the_last_that_fits(study: Study, tmp_path: Path) -> None:
    """At 100 ticks a second a packet may be 248 days after the one before: a few MB of them pass 2^63 microseconds."""
    log = bytearray(log_of([dictionary({"go": ("run_start", {}), "at": ("position", {"x": "u8 x"})}, clock=100)]))
    time, sequence = 0, 2
    for number in range(450_000):
        time = (time + (1 << 31) - 1) & 0xFFFFFFFF
        packet = header(0x14, sequence := (sequence + 1) & 0xFFFF, 0, time)
        packet += b"\x00" if number == 0 else b"\x04\x07" if number > 449_990 else b""
        log += stuff(packet + crc16(packet).to_bytes(2, "big")) + b"\0"
    result = imported(study, tmp_path / "a.playlog", bytes(log))
    assert (result.runs, result.events, result.rejected_packets) == (1, 10, 0)
    ((start, end, alive),) = rows(study, "SELECT start_us, end_us, alive_us FROM all_runs")
    assert 0 < start < end and alive == end - start and end > 140_000 * 365 * 86_400 * 10**6
    assert rows(study, "SELECT last_us FROM power_ups") == [(end,)]


SIDECAR_LINES = {
    "half a character": b'{"at": 1, "byte": 500, "remark": "a\\ud800b"}',
    "half a character in the start": b'{"capture": 1, "started": "\\udfff", "source": "\\ud800"}',
    "lost without end": b'{"at": 1, "byte": 1, "lost": 1e400}',
    "at without end": b'{"at": 1e400, "byte": 1}',
    "at of 400 digits": b'{"at": 1' + b"0" * 400 + b', "byte": 1}',
    "byte of 40 digits": b'{"at": 1, "byte": 1' + b"0" * 40 + b"}",
    "lost of 40 digits": b'{"at": 1, "byte": 1, "lost": 1' + b"0" * 40 + b"}",
    "5,000 digits": b'{"at": 1, "byte": 1' + b"0" * 5000 + b"}",
    "far away": b'{"at": 1e300, "byte": 3}',
    "no UTF-8": b'{"at": 1, "byte": 1, "remark": "\xff"}',
    "deep": b'{"at":' * 50_000,
}


@pytest.mark.parametrize("line", SIDECAR_LINES.values(), ids=SIDECAR_LINES)
def test_no_line_of_a_sidecar_ends_an_import(study: Study, tmp_path: Path, line: bytes) -> None:
    kinds = {"go": ("run_start", {}), "over": ("run_end", {})}
    log = log_of([dictionary(kinds), event(1, "go"), event(90_000, "over")])
    started = b'{"capture": 1, "started": "2026-03-01T09:30:00", "source": "x"}\n'
    sidecar = started + line + b'\n{"at": 2, "byte": 600, "player": "P07", "current": true}\n'
    (tmp_path / "a.capture.jsonl").write_bytes(sidecar)
    imported(study, tmp_path / "a.playlog", log)
    assert rows(study, "SELECT player FROM runs") == [("P07",)]
    remark = "a?b" if b"\\ud800b" in line else None
    assert rows(study, "SELECT remark FROM runs") == [(remark,)]
    assert parse_sidecar(line).unread_lines == (0 if b"capture" in line or b"ud800b" in line or b"1e300" in line else 1)
