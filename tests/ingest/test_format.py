"""FORMAT.md against the code: its tables, and its log in full."""

import re
from pathlib import Path

import cobs.cobs
import pytest
from crccheck.crc import Crc16Genibus

import ingest
from ingest.encode import encode_lines
from ingest.vocabulary import EventRole, FieldRole, FieldType, TunableRole
from ingest.wire.dictionary_text import parse
from tests.ingest.product import plainly, product

FORMAT = (Path(ingest.__file__).parent / "FORMAT.md").read_text(encoding="utf-8")
EXAMPLE = FORMAT[FORMAT.index("## 9. A log in full") :]


def _table(title: str) -> list[list[str]]:
    part = FORMAT[FORMAT.index(f"### {title}\n") :]
    rows = re.findall(r"^\| `(\w+)` \|(.*)\|$", part[: part.index("\n\n", part.index("|---"))], re.M)
    return [[name, rest] for name, rest in rows]


@pytest.mark.parametrize(
    ("title", "roles"), [("Event roles", EventRole), ("Field roles", FieldRole), ("Tunable roles", TunableRole)]
)
def test_role_tables_list_exactly_the_roles(title: str, roles: type[EventRole]) -> None:
    assert [name for name, _ in _table(title)] == [role.value for role in roles]


def test_event_roles_are_read_with_known_field_roles() -> None:
    for name, rest in _table("Event roles"):
        read_with = re.findall(r"`(\w+)`", rest.split("|")[-1])
        assert set(read_with) <= {role.value for role in FieldRole}, name


def test_field_types_are_those_of_the_table() -> None:
    line = next(line for line in FORMAT.splitlines() if line.startswith("| `field TYPE"))
    assert re.findall(r"`([ui]\d+)`", line) == [type_.value for type_ in FieldType]


def _blocks(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}[^\n]*\n(.*?)^```$", EXAMPLE, re.M | re.S)


def _hex(block: str) -> bytes:
    """The bytes of a block: pairs of hex digits up to two spaces, behind which words may follow."""
    return b"".join(bytes.fromhex(line.split("  ")[0]) for line in block.splitlines())


SENT = _hex(_blocks("sent")[0])
*PACKETS, LAST_BEFORE = [_hex(block) for block in _blocks("packet")]
# The same log without short events, as a writer that does not know them sends it.
SENT_BEFORE = SENT[: SENT[:-1].rindex(b"\0") + 1] + _hex(_blocks("sent")[1])


def test_example_packets_are_what_was_sent() -> None:
    """Unstuffed and checked by other people's code alone."""
    for sent, packets in ((SENT, PACKETS), (SENT_BEFORE, [*PACKETS[:-1], LAST_BEFORE])):
        assert [cobs.cobs.decode(frame) for frame in sent.split(b"\0") if frame] == packets
    for packet in (*PACKETS, LAST_BEFORE):
        assert Crc16Genibus.calc(packet[:-2]) == int.from_bytes(packet[-2:], "big")
    text = PACKETS[1][15:-2] + PACKETS[2][15:-2]
    assert Crc16Genibus.calc(text) == 0x9607 and len(text) == 160
    assert parse(text).game == "Moth"


def test_example_words_are_its_bytes() -> None:
    """Each line of dictionary text beside its bytes says what the bytes say."""
    shown = re.findall(r"^((?:[0-9A-F]{2} )+0A)  (.+)$", EXAMPLE, re.M)
    assert len(shown) == 10
    for digits, words in shown:
        assert bytes.fromhex(digits).decode() == words + "\n"


def test_example_reads_as_the_lines_it_was_written_from() -> None:
    expected = [(0, 1000, "go", (("who", 3),)), (0, 1300, "ow", (("x", 80),))]
    for answer in (plainly(SENT), product([SENT]), plainly(SENT_BEFORE), product([SENT_BEFORE])):
        assert [(up, tick, kind, fields) for up, _, tick, kind, fields in answer.events] == expected
        assert not answer.rejected and not answer.gaps and answer.tail_bytes == 0
    assert b"".join(encode_lines(_blocks("jsonl")[0].splitlines())) == SENT
