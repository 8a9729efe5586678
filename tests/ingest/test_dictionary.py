"""What is understood of a dictionary's text, what is refused of it, and that only this part is."""

import random
from typing import Any

import pytest

from ingest.vocabulary import EventRole, FieldRole, FieldType, TunableRole
from ingest.wire.dictionary import BadDictionary, Dictionary, Tunable
from ingest.wire.dictionary_text import MOST_TOLD, parse
from tests.reference_dictionary import WhollyRefused, read

HEAD = b"playlog 1\ngame G\nfirmware 1\nclock 1000\nscreen 160 128\n"
GOOD = (
    b"kind go run_start\nfield u8 who player -\nkind fell death\nfield u8 x x px\nfield i8 why cause -\n"
    b"label 1 beam\nlabel -1 wall\ntunable lives start_lives 1 9 1 lives\n"
    b"tunable fire fire_period 10 2000 10 ms stage=2\n"
)


def test_a_right_text_is_read_without_a_word() -> None:
    assert parse(HEAD + GOOD).refused == ()


@pytest.mark.parametrize(
    ("written", "number"),
    [
        ("1000", 1000),
        ("1000UL", 1000),
        ("1000u", 1000),
        ("(1000)", 1000),
        ("((1000ul))", 1000),
        ("0x3E8", 1000),
        ("0X3e8U", 1000),
        ("-5", -5),
        ("(-5)", -5),
        ("-(5)", -5),
        ("07", 7),
        ("0", 0),
        ("-0x10", -16),
    ],
)
def test_numbers_as_c_writes_them_are_understood(written: str, number: int) -> None:
    line = f"tunable t - {written} 5000 1 -\n".encode()
    made = parse(HEAD + GOOD + line)
    assert made.refused == () and made.tunables[-1].low == number


@pytest.mark.parametrize(
    "written",
    [
        "010",
        "08",
        "1e3",
        "1000f",
        "(5",
        "5)",
        "--5",
        "0x",
        "0x123456789",
        "FAST",
        "'A'",
        "60*1000",
        "5.0",
        "",
        "+5",
        "1000ULLL1",
        "12345678901",
        "\u0663",
    ],
)
def test_what_is_no_plain_number_costs_the_range_alone(written: str) -> None:
    line = f"tunable t lives_refill {written} 9 1 -\n".encode()
    made = parse(HEAD + GOOD + line)
    assert made.tunables[-1] == Tunable("t", TunableRole.LIVES_REFILL, None, None, None)
    (told,) = made.refused
    assert told.startswith("dictionary line 15 ") and "its range is left out" in told


def test_capital_letters_are_understood() -> None:
    made = parse(HEAD + b"kind Jump DEATH\nfield U8 PosX X Px\nlabel 1 Beam\ntunable Lives - 1 3 1 - Stage=2\n")
    assert made.refused == ()
    (kind,) = made.kinds
    assert (kind.name, kind.role) == ("jump", EventRole.DEATH)
    assert (kind.fields[0].name, kind.fields[0].type, kind.fields[0].role) == ("posx", FieldType.U8, FieldRole.X)
    assert kind.fields[0].unit == "px" and kind.fields[0].labels == {1: "Beam"}
    assert made.tunables[0].name == "lives" and made.tunables[0].scope == {"stage": 2}


def _without(line: bytes, instead: bytes) -> tuple[Dictionary, tuple[str, ...]]:
    assert line in GOOD
    made = parse(HEAD + GOOD.replace(line, instead))
    return made, made.refused


CASES: dict[str, tuple[bytes, bytes, str, Any]] = {
    "an enumeration as a label": (
        b"label 1 ",
        b"label BEAM ",
        "no plain number",
        lambda d: d.kinds[1].fields[1].labels == {-1: "wall"},
    ),
    "a label twice": (
        b"label -1 ",
        b"label 1 ",
        "has a label already",
        lambda d: d.kinds[1].fields[1].labels == {1: "beam"},
    ),
    "a label outside its field": (
        b"label 1 ",
        b"label 300 ",
        "integer from -128 to 127",
        lambda d: d.kinds[1].fields[1].labels == {-1: "wall"},
    ),
    "a scope key twice": (
        b"stage=2",
        b"stage=2 stage=3",
        "at most once",
        lambda d: d.tunables[1].role is None and d.tunables[1].scope == {} and d.tunables[1].low == 10,
    ),
    "least above greatest": (
        b"1 9 1",
        b"9 1 1",
        "swap them",
        lambda d: d.tunables[0].low is None and d.tunables[0].role == TunableRole.START_LIVES,
    ),
    "beyond 32 bits": (b"10 2000", b"10 3000000000", "integer from", lambda d: d.tunables[1].high is None),
    "writing turned around": (
        b"beam",
        "\u202egnp".encode(),
        "control character",
        lambda d: d.kinds[1].fields[1].labels[1] == "\ufffdgnp",
    ),
    "a name twice": (
        b"kind fell death",
        b"kind go death",
        "rename one",
        lambda d: d.kinds[1].name == "kind_2" and d.kinds[1].role == EventRole.DEATH,
    ),
    "a role twice": (
        b"why cause",
        b"why x",
        "only one may",
        lambda d: d.kinds[1].fields[1].role is None and d.kinds[1].fields[1].name == "why",
    ),
    "an unknown role": (b"go run_start", b"go begin", "unknown role", lambda d: d.kinds[0].role is None),
    "a name that is none": (
        b"u8 x x px",
        b"u8 _x x px",
        "is no name",
        lambda d: d.kinds[1].fields[0].name == "field_1",
    ),
    "an unknown type": (
        b"field u8 x",
        b"field u64 x",
        "unknown type",
        lambda d: not d.kinds[1].readable and d.kinds[0].readable and len(d.tunables) == 2,
    ),
    "saved as ISO 8859-1": (
        b"beam",
        "Käfer".encode("latin-1"),
        "UTF-8",
        lambda d: d.kinds[1].fields[1].labels[1] == "Käfer",
    ),
}


@pytest.mark.parametrize(("line", "instead", "said", "kept"), CASES.values(), ids=CASES)
def test_the_smallest_part_is_refused_and_named(line: bytes, instead: bytes, said: str, kept: Any) -> None:
    made, refused = _without(line, instead)
    assert len(refused) == 1 and said in refused[0] and refused[0].startswith("dictionary line ")
    assert kept(made)
    assert [kind.name for kind in made.kinds if not kind.name.startswith("kind_")][:1] == ["go"]
    assert [t.name for t in made.tunables] == ["lives", "fire"]


@pytest.mark.parametrize(
    ("role", "scope", "keeps"),
    [
        ("fire_period", " stage=2", False),
        ("fire_period", " Stage=(2)", False),
        ("Start_Lives", "", False),
        ("fire_period", "", True),
        ("fire_period", " stage=3", True),
        ("fire_period", " stage=2 stage_kind=1", True),
        ("pickup_rate", " stage=2", True),
        ("start_lives", " stage=2", True),
        ("-", "", True),
    ],
)
def test_of_two_tunables_for_the_same_part_of_the_game_one_has_the_role(role: str, scope: str, keeps: bool) -> None:
    """Nobody could tell which of them holds there."""
    made = parse(HEAD + GOOD + f"tunable other {role} 1 9 1 -{scope}\n".encode())
    other = made.tunables[-1]
    assert (other.name, other.low, len(made.tunables)) == ("other", 1, 3)
    assert [t.role for t in made.tunables[:2]] == [TunableRole.START_LIVES, TunableRole.FIRE_PERIOD]
    if keeps:
        assert not made.refused and other.role == (None if role == "-" else role)
    else:
        (told,) = made.refused
        assert other.role is None and told.startswith("dictionary line 15 ")
        assert ("'fire'" if scope else "'lives'") in told


def test_the_order_of_scopes_makes_no_other_part_of_the_game() -> None:
    lines = b"tunable a pickup_rate 1 9 1 - stage=2 song=1\ntunable b pickup_rate 1 9 1 - song=1 stage=2\n"
    made = parse(HEAD + GOOD + lines)
    assert made.tunables[-2].role == TunableRole.PICKUP_RATE and made.tunables[-1].role is None


def test_a_field_too_many_is_passed_over_by_its_width() -> None:
    fields = b"".join(b"field u16 f%d - -\n" % i for i in range(18))
    (kind,) = parse(HEAD + b"kind a -\n" + fields).kinds
    assert len(kind.fields) == 16 and kind.width == 36


def test_of_very_many_refused_parts_some_are_told_and_the_others_counted() -> None:
    made = parse(HEAD + b"kind a -\n" + b"x\n" * 3000)
    assert len(made.refused) == MOST_TOLD + 1 and "2950 more" in made.refused[-1]


def _plainly(text: bytes) -> dict[str, Any] | None:
    try:
        return read(text)
    except WhollyRefused:
        return None


def _product(text: bytes) -> dict[str, Any] | None:
    """The product's answer in the form of the plain reader's."""
    try:
        made = parse(text)
    except BadDictionary:
        return None
    return {
        "game": made.game,
        "firmware": made.firmware,
        "clock": made.clock_hz,
        "screen": list(made.screen),
        "kinds": [
            {
                "name": k.name,
                "role": k.role,
                "passed_over": k.passed_over,
                "readable": k.readable,
                "fields": [
                    {"type": f.type, "name": f.name, "role": f.role, "unit": f.unit, "labels": dict(f.labels)}
                    for f in k.fields
                ],
            }
            for k in made.kinds
        ],
        "tunables": [
            {
                "name": t.name,
                "role": t.role,
                "range": None if t.low is None else [t.low, t.high, t.step],
                "unit": t.unit,
                "scope": dict(t.scope),
            }
            for t in made.tunables
        ],
    }


WORDS = (
    b"go",
    b"Go",
    b"x",
    b"kind_2",
    b"field_2",
    b"tunable_1",
    b"death",
    b"run_start",
    b"ago",
    b"ahead",
    b"u8",
    b"i16",
    b"U32",
    b"u64",
    b"-",
    b"1",
    b"(2)",
    b"0x10",
    b"010",
    b"300",
    b"-129",
    b"9999999999",
    b"",
    b"px",
    b"a b",
    b"\xff",
    b"fire_period",
    b"stage=2",
    b"stage=(3)",
    b"Stage=2",
    b"level",
    b"start_lives",
    b"\xe2\x80\xae",
    b"7UL",
    b"-(4)",
    b"x" * 90,
    b"\r",
)
STARTS = (
    b"game ",
    b"clock ",
    b"screen ",
    b"kind ",
    b"field ",
    b"field u8 ",
    b"label ",
    b"label 1 ",
    b"tunable ",
    b"tunable t - ",
    b"",
    b"kind",
    b"label",
)


def _strange(dice: random.Random) -> bytes:
    """A text in which most lines are right and some are anything."""
    lines = [line for line in (HEAD + GOOD).split(b"\n") if line]
    for _ in range(dice.randrange(1, 12)):
        at = dice.randrange(1, len(lines) + 1)
        match dice.randrange(5):
            case 0:
                lines.insert(at, dice.choice(STARTS) + b" ".join(dice.choices(WORDS, k=dice.randrange(8))))
            case 1 if at < len(lines):
                words = lines[at].split(b" ")
                words[dice.randrange(len(words))] = dice.choice(WORDS)
                lines[at] = b" ".join(words)
            case 2:
                lines.insert(at, dice.choice(lines))
            case 3 if at < len(lines) and dice.random() < 0.3:
                del lines[at]
            case _:
                lines += [b"field u16 f%d - -" % dice.randrange(30) for _ in range(dice.choice((0, 1, 18)))]
    if dice.random() < 0.05:
        lines += [b"kind k%d -" % i for i in range(64)]
    return b"\n".join(lines) + (b"\n" if dice.random() < 0.9 else b"")


def test_two_readers_of_the_document_agree_on_every_strange_text() -> None:
    seen = {"whole": 0, "told": 0, "silent": 0}
    for seed in range(4000):
        text = _strange(random.Random(seed))
        ours, plain = _product(text), _plainly(text)
        assert ours == plain, text
        if ours is None:
            seen["whole"] += 1
            continue
        made = parse(text)
        seen["told" if made.refused else "silent"] += 1
        assert parse(made.text) == made
    assert min(seen.values()) > 100, seen
