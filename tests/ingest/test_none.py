"""What does not apply is said by one value of each type, and is NULL in the study (FORMAT.md, section 3)."""

from pathlib import Path

import numpy as np
import pytest

from ingest.encode import BadLine
from ingest.parquet import export_parquet
from ingest.study.store import Study
from ingest.wire.dictionary_json import from_json
from ingest.wire.encoder import Encoder
from tests.ingest.product import plainly, product
from tests.ingest.studies import dictionary, event, imported, log_of, rows

# By FORMAT.md's table; two's complement by hand.
NONE = {"u8": "ff", "u16": "ffff", "u32": "ffffffff", "i8": "80", "i16": "0080", "i32": "00000080"}
KINDS = {
    "begin": ("run_start", {"who": "u8 player", "team": "u8 team", "tier": "u8 tier"}),
    "over": ("run_end", {"how": "u8 ending", "score": "u32 score"}),
    "fell": (
        "death",
        {"x": "u8 x", "y": "u8 y", "why": "i8 cause", "shot": "u16 shot_ago", "tier": "u8 tier", "lives": "u8 lives"},
    ),
    "at": ("position", {"x": "u8 x", "y": "i16 y"}),
    "stars": ("rating", {"value": "u8 value"}),
    "raw": ("input", {"value": "u8 value", "lane": "u8 lane"}),
    "key": ("press", {"lane": "u8 lane", "before": "u8 ago"}),
}


@pytest.mark.parametrize("type_", NONE)
def test_null_is_the_value_of_the_type(type_: str) -> None:
    lines = [dictionary({"a": (None, {"v": type_})}), event(0, "a", v=None)]
    log = log_of(lines)
    assert product([log]) == plainly(log)
    assert [fields for *_, fields in product([log]).events] == [(("v", None),)]
    made, values = from_json(lines[0]["dictionary"])
    encoder = Encoder(made, values)
    encoder.power_up()
    encoder.event(0, "a", {"v": None})
    # Header of six bytes, tag and field, CRC; nothing in it is a zero byte but in the time and the tag.
    assert bytes.fromhex(NONE[type_]).replace(b"\0", b"") in encoder.flush()


def test_the_value_beside_it_is_a_number() -> None:
    """One off none, in each type, and the other end of it."""
    for type_, beside in {"u8": 254, "u16": 65534, "u32": 4294967294, "i8": -127, "i16": -32767}.items():
        highest = {"i8": 127, "i16": 32767}.get(type_, 0)
        lines = [dictionary({"a": (None, {"v": type_})}), event(0, "a", v=beside), event(0, "a", v=highest)]
        log = log_of(lines)
        assert [fields[0][1] for *_, fields in product([log]).events] == [beside, highest]
        assert product([log]) == plainly(log)


def test_some_fields_are_always_numbers(study: Study, tmp_path: Path) -> None:
    """Ticks to add or take off, raw samples, and a value with a name."""
    kinds = KINDS | {"seen": (None, {"what": "u8"})}
    head = dictionary(kinds)
    head["dictionary"]["kinds"][-1]["fields"][0]["labels"] = {"255": "the whole lot"}
    log = [
        head,
        event(1000, "raw", value=255, lane=255),
        event(1000, "key", lane=255, before=255),
        event(1000, "seen", what=255),
    ]
    imported(study, tmp_path / "a.playlog", log)
    assert rows(study, "SELECT value, lane FROM input_events") == [(255, None)]
    assert rows(study, "SELECT at_us, lane, ago FROM press_events") == [(745_000, None, 255)]
    assert rows(study, 'SELECT what FROM events."moth_run__seen"') == [(255,)]
    written = log_of(log)
    assert product([written]) == plainly(written)
    for kind, field in (("raw", "value"), ("key", "before"), ("seen", "what")):
        with pytest.raises(BadLine, match=f"line 2: field '{field}' of kind '{kind}' cannot be none"):
            log_of([head, event(1000, kind, **{field: None})])


def test_runs_are_built_as_if_the_kind_had_no_such_field(study: Study, tmp_path: Path) -> None:
    log = [
        dictionary(KINDS, tunables=[{"name": "lives", "role": "start_lives", "value": 3}]),
        event(1000, "begin", who=None, team=None, tier=None),
        event(1000, "at", x=8, y=0),
        event(1500, "at", x=None, y=0),
        event(1600, "at", x=16, y=None),
        event(2000, "fell", x=None, y=5, why=None, shot=None, tier=None, lives=None),
        event(3000, "fell", x=4, y=5, why=-1, shot=0, tier=2, lives=None),
        event(3000, "fell", x=4, y=5, why=3, shot=65534, tier=None, lives=None),
        event(3500, "over", how=None, score=None),
        event(3600, "stars", value=None),
    ]
    imported(study, tmp_path / "a.playlog", log)
    assert rows(study, "SELECT logged_player, team, score, rating, ending FROM all_runs") == [
        (None, None, None, None, "game_over")
    ]
    # Each death takes a life; no tier said: that in force; the last two deaths are in one tick.
    asked = "SELECT x, y, cause, shot_ago_us, lives_left, tier FROM lives WHERE died ORDER BY number"
    assert rows(study, asked) == [(None, 5, None, None, 2, 0), (4, 5, -1, 0, 1, 0), (4, 5, 3, 65_534_000, 0, 2)]
    # Who is nowhere was not there: the first position lasts until the death, 1000 ms.
    assert rows(study, "SELECT x, y, alive_us FROM places WHERE alive_us > 0") == [(8, 0, 1_000_000)]
    assert rows(study, "SELECT x, y, cause, shot_ago FROM death_events ORDER BY at_us, cause") == [
        (None, 5, None, None),
        (4, 5, -1, 0),
        (4, 5, 3, 65534),
    ]
    files = export_parquet(study, tmp_path / "parquet")
    fell = next(file for file in files if "kind=fell" in str(file))
    assert rows(study, f"SELECT count(shot), count(*) FROM '{fell}'") == [(2, 3)]


def test_none_among_many_events(study: Study, tmp_path: Path) -> None:
    """Batches with and without it go into one table."""
    kinds = {"a": (None, {"v": "u16", "w": "u8"})}
    log = [dictionary(kinds)]
    log += [event(t, "a", v=None if t % 50_000 == 7 else t % 1000, w=None if t > 99_990 else 1) for t in range(100_000)]
    imported(study, tmp_path / "a.playlog", log)
    found = rows(study, 'SELECT _at_us, v, w FROM events."moth_run__a" ORDER BY 1')
    assert [at // 1000 for at, v, _ in found if v is None] == [7, 50_007]
    assert [at // 1000 for at, _, w in found if w is None] == list(range(99_991, 100_000))
    assert np.sum([v or 0 for _, v, _ in found]) == sum(t % 1000 for t in range(100_000)) - 14
