"""The timing findings from real logs: written by the encoder, ingested, and asked."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.finding import Finding
from analysis.findings import timing
from analysis.methods import METHODS
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.timing_data import read_timing, read_timing_tunables
from ingest.study.store import import_log, open_study
from ingest.wire.dictionary_json import from_json
from ingest.wire.encoder import Encoder

WINDOWS = [
    {"name": "early", "role": "window_early", "value": 50, "min": 5, "max": 200, "step": 5, "unit": "ms"},
    {"name": "late", "role": "window_late", "value": 60, "min": 5, "max": 200, "step": 5, "unit": "ms"},
    {"name": "shift", "role": "input_offset", "value": 10, "min": -100, "max": 100, "step": 5, "unit": "ms"},
]


def dictionary(tunables: list[dict[str, Any]], clock: int = 1000) -> dict[str, Any]:
    return {
        "game": "Paper Drums",
        "firmware": "0.9",
        "clock": clock,
        "screen": [160, 128],
        "tunables": tunables,
        "kinds": [
            {"name": "begin", "role": "run_start", "fields": [{"name": "who", "type": "u8", "role": "player"}]},
            {"name": "over", "role": "run_end", "fields": [{"name": "how", "type": "u8", "role": "ending"}]},
            {
                "name": "song",
                "role": "stage_start",
                "fields": [
                    {"name": "place", "type": "u8", "role": "stage"},
                    {"name": "song", "type": "u8", "role": "song", "labels": {"1": "Damp Wick", "2": "Tin Moth"}},
                ],
            },
            {"name": "song_over", "role": "stage_end", "fields": [{"name": "ok", "type": "u8", "role": "cleared"}]},
            {
                "name": "due",
                "role": "note",
                "fields": [
                    {"name": "key", "type": "u8", "role": "lane"},
                    {"name": "in", "type": "u16", "role": "ahead", "unit": "ticks"},
                ],
            },
            {"name": "tap", "role": "press", "fields": [{"name": "key", "type": "u8", "role": "lane"}]},
        ],
    }


def write(
    path: Path, runs: list[tuple[int, list[tuple[int, list[float]]]]], tunables=WINDOWS, clock: int = 1000
) -> None:
    """A log: each run is a player and songs, each song its errors in ms, one a note, NaN for no press."""
    declared, values = from_json(dictionary(tunables, clock))
    encoder = Encoder(declared, values)
    out, now = [encoder.power_up()], 1000.0

    def event(at_ms: float, kind: str, **fields: int) -> None:
        out.append(encoder.event(round(at_ms * clock / 1000), kind, fields))

    for who, songs in runs:
        event(now, "begin", who=who)
        for number, errors in songs:
            event(now, "song", place=number, song=number)
            events = []
            for i, error in enumerate(errors):
                due = now + 1000 + 500 * i
                events.append((due - 400, "due", {"key": i % 2, "in": round(400 * clock / 1000)}))
                if not math.isnan(error):
                    events.append((due + error, "tap", {"key": i % 2}))
            for at, kind, fields in sorted(events, key=lambda e: e[0]):
                event(at, kind, **fields)
            now += 2000 + 500 * len(errors)
            event(now, "song_over", ok=1)
        event(now, "over")
        now += 1000
    path.write_bytes(b"".join([*out, encoder.flush()]))


def findings(tmp_path: Path, *logs: Path) -> dict[str, Finding]:
    with open_study(tmp_path / "s.duckdb") as study:
        for log in logs:
            import_log(study, log)
        found = timing.find(Reader(study.connection), Selection("Paper Drums"))
    for f in found:
        text = json.dumps(f.to_json(), allow_nan=False)
        assert "NaN" not in text
        assert "nan" not in f.sentence
        assert f.method in METHODS
    assert len({f.id for f in found}) == len(found)
    return {f.id: f for f in found}


def class_of(players: int, seed: int = 1, shift: float = -20.0, notes: int = 60, songs=(1, 2), spread: float = 30.0):
    rng = np.random.default_rng(seed)
    runs = []
    for who in range(1, players + 1):
        own = rng.normal(shift, 15)
        for _ in range(2):
            runs.append(
                (
                    who,
                    [
                        (s, list(np.where(rng.random(notes) < 0.05, np.nan, rng.normal(own, spread, notes))))
                        for s in songs
                    ],
                )
            )
    return runs


def test_shares_and_errors_are_those_that_were_played(tmp_path):
    runs = class_of(10)
    write(tmp_path / "a.playlog", runs)
    found = findings(tmp_path, tmp_path / "a.playlog")
    errors = np.array([e for _, songs in runs for _, song in songs for e in song])
    # The log holds whole milliseconds; the window is judged on those.
    judged = np.rint(errors) - 10
    share = np.mean((judged >= -50) & (judged <= 60))
    estimate = found["timing.hit_share"].estimate
    assert (
        estimate is not None and estimate.value is not None and estimate.low is not None and estimate.high is not None
    )
    assert estimate.value == pytest.approx(share, abs=1e-3)
    assert estimate.low < share < estimate.high
    assert found["timing.hit_share"].players == 10
    assert found["timing.hit_share"].runs == 20
    assert found["timing.hit_share"].facts["early_ms"] == 50
    table = found["timing.players"].tables["players"]
    assert list(table["player"][:2]) == ["P01", "P02"]
    own = np.rint([e for who, songs in runs if who == 1 for _, song in songs for e in song])
    assert table["bias_ms"][0] == pytest.approx(np.nanmedian(own), abs=0.51)
    assert table["lapses"][0] == pytest.approx(np.mean(np.isnan(own)), abs=1e-9)
    assert table["notes"][0] == 240
    assert set(found["timing.songs"].tables["songs"]["song"]) == {"Damp Wick", "Tin Moth"}
    assert found["timing.logging"].tables["edges"]["cut"].tolist() == [0, 0]
    assert all(not f.warnings for f in found.values())


def test_a_passage_written_late_is_found_where_it_is(tmp_path):
    runs = class_of(10, notes=80, songs=(1,))
    for _, songs in runs:
        for _, errors in songs:
            errors[40:52] = [e - 40 for e in errors[40:52]]
    write(tmp_path / "a.playlog", runs)
    found = findings(tmp_path, tmp_path / "a.playlog")["timing.passages"]
    table = {name: np.array(column) for name, column in found.tables["passages"].items()}
    off = table["off"] == 1
    # Notes 40 to 51 fall 21.0 to 26.5 s after the song began.
    inside = (table["start_s"] >= 20.9) & (table["end_s"] <= 26.6)
    assert off[inside].all()
    assert not off[(table["end_s"] < 20) | (table["start_s"] > 27)].any()
    assert "Damp Wick" in found.sentence


def test_a_console_that_logs_hits_only_is_warned_of_on_every_finding(tmp_path):
    runs = class_of(10, spread=45)
    for _, songs in runs:
        for _, errors in songs:
            errors[:] = [e if -50 <= np.rint(e) - 10 <= 60 else math.nan for e in errors]
    write(tmp_path / "a.playlog", runs)
    found = findings(tmp_path, tmp_path / "a.playlog")
    assert found["timing.logging"].tables["edges"]["cut"].tolist() == [1, 1]
    assert "Log every press" in found["timing.hit_share"].warnings[0]
    assert np.nanmedian(found["timing.logging"].tables["players"]["spread_ms"]) == pytest.approx(45, rel=0.25)


def test_two_consoles_one_20_ms_behind_tried_by_the_same_players(tmp_path):
    write(tmp_path / "a.playlog", class_of(10, songs=(1,)))
    runs = [(who, [(s, [e + 20 for e in errors]) for s, errors in songs]) for who, songs in class_of(10, songs=(1,))]
    write(tmp_path / "b.playlog", runs)
    found = findings(tmp_path, tmp_path / "a.playlog", tmp_path / "b.playlog")["timing.latency"]
    assert found.facts["how"] == "within"
    assert found.facts["low_ms"] <= 20 <= found.facts["high_ms"]
    assert "b.playlog" in found.sentence
    assert "the console's" in found.sentence


def test_ticks_and_scoped_windows_are_what_the_console_would_use(tmp_path):
    tunables = [
        {"name": "w", "role": "window_late", "value": 500, "max": 1000, "min": 1, "unit": "ticks"},
        {
            "name": "w_tin",
            "role": "window_late",
            "value": 300,
            "max": 1000,
            "min": 1,
            "unit": "ticks",
            "scope": {"song": 2},
        },
        {
            "name": "e_fine",
            "role": "window_early",
            "value": 20,
            "max": 99,
            "min": 1,
            "unit": "ms",
            "scope": {"grade": 2},
        },
        {
            "name": "e_good",
            "role": "window_early",
            "value": 40,
            "max": 99,
            "min": 1,
            "unit": "ms",
            "scope": {"grade": 1},
        },
        {"name": "poll", "role": "poll_period", "value": 90_000, "unit": "us"},
    ]
    write(tmp_path / "a.playlog", class_of(3), tunables, clock=10_000)
    with open_study(tmp_path / "s.duckdb") as study:
        import_log(study, tmp_path / "a.playlog")
        reader = Reader(study.connection)
        notes = read_timing(reader, Selection("Paper Drums"))
        assert len(read_timing_tunables(reader, "Paper Drums")) == 5
        found = {f.id: f for f in timing.find(reader, Selection("Paper Drums"))}
    assert notes is not None
    assert set(notes.late_us[notes.song == 0]) == {50_000}
    assert set(notes.late_us[notes.song == 1]) == {30_000}
    assert set(notes.early_us) == {40_000}
    assert set(notes.offset_us) == {0}
    assert found["timing.polling"].facts["poll_ms"] == 90
    assert "narrower" in found["timing.polling"].warnings[-1] or found["timing.polling"].facts["width_ms"] >= 90


@pytest.mark.parametrize(
    "runs",
    [
        [(1, [(1, [5.0])])],
        [(1, [(1, [math.nan] * 5)])],
        [(1, [(1, [0.0] * 30)]), (2, [(1, [0.0] * 30)])],
        [(0, [(1, [3.0, math.nan, 8.0])]), (0, [(2, [1.0])])],
        [(1, [(1, [])])],
        [(1, [])],
    ],
    ids=["one note", "no press", "all perfect", "no tags", "a song without notes", "a run without a song"],
)
@pytest.mark.parametrize("tunables", [WINDOWS, []], ids=["windows", "none declared"])
def test_the_smallest_playtests_give_sentences_and_no_nonsense(tmp_path, runs, tunables):
    write(tmp_path / "a.playlog", runs, tunables)
    found = findings(tmp_path, tmp_path / "a.playlog")
    assert found
    assert ("timing.hit_share" in found) == (bool(tunables) and any(errors for _, songs in runs for _, errors in songs))


def test_an_empty_study_says_so(tmp_path):
    found = findings(tmp_path)
    assert list(found) == ["timing.none"]


def test_grades_are_the_games_own_names(tmp_path):
    kinds = [
        {"name": "begin", "role": "run_start", "fields": [{"name": "who", "type": "u8", "role": "player"}]},
        {"name": "due", "role": "note"},
        {
            "name": "judged",
            "role": "verdict",
            "fields": [{"name": "how", "type": "u8", "role": "grade", "labels": {"0": "Gone", "2": "Ringing"}}],
        },
    ]
    declared, values = from_json(
        {"game": "Paper Drums", "firmware": "1", "clock": 1000, "screen": [8, 8], "kinds": kinds}
    )
    encoder = Encoder(declared, values)
    out = [encoder.power_up()]
    for who in (1, 2, 3):
        out.append(encoder.event(5000 * who, "begin", {"who": who}))
        for k, how in enumerate((0, 1, 2, 2)):
            out.append(encoder.event(5000 * who + 500 * k, "due", {}))
            out.append(encoder.event(5000 * who + 500 * k + 90, "judged", {"how": how}))
    (tmp_path / "a.playlog").write_bytes(b"".join([*out, encoder.flush()]))
    table = findings(tmp_path, tmp_path / "a.playlog")["timing.grades"].tables["grades"]
    assert list(table["name"]) == ["Gone", "grade 1", "Ringing"]
    assert list(table["verdicts"]) == [3, 3, 6]
    assert list(table["share"]) == [0.25, 0.25, 0.5]
