"""Classes to ask: some played, ingested and exported as real ones are, many more drawn from the people of these."""

import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

import analysis
from analysis.data.declared_tables import TABLES
from analysis.data.exporting import build_keys
from analysis.data.partitions import Partitions, key_of, put_in_place
from demo_logs.simulator.native import Firmware, build
from demo_logs.simulator.people import person
from demo_logs.simulator.record import Memories, log_bytes, play
from demo_logs.simulator.sessions import LANTERN_1, LANTERN_2, LANTERN_3, Session
from demo_logs.simulator.write import TUNED
from ingest.study.store import import_log, open_study

GAMES = ("soot_wardens", "tin_drizzle")
CONSOLES = (LANTERN_1, LANTERN_2, LANTERN_3)


@dataclass
class Cost:
    """What was spent: CPU seconds by step, and counts and bytes by what they are of."""

    seconds: dict[str, float] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Adds the CPU time of what is within."""
        began = time.process_time()
        yield
        self.seconds[name] = self.seconds.get(name, 0.0) + time.process_time() - began

    def count(self, name: str, more: int) -> None:
        """Adds to a count."""
        self.counts[name] = self.counts.get(name, 0) + more


@dataclass(frozen=True)
class Class:
    """A class as frames: table -> its rows; builds: (game, label) -> key of the build."""

    tables: Mapping[str, pd.DataFrame]
    builds: Mapping[tuple[str, str], str]


def class_of(study: Path) -> Class:
    """The frames of a study."""
    asked = analysis.open(study)
    with asked._asked() as reader:
        keys = build_keys(reader)
    return Class({name: getattr(asked, name)() for name in TABLES}, keys)


def firmwares(folder: Path) -> dict[tuple[str, str], Firmware]:
    """Both games on both builds; needs a C compiler."""
    return {(game, one): build(game, TUNED[one], folder) for game in GAMES for one in TUNED}


def played(number: int, made: Mapping[tuple[str, str], Firmware], lake: Path, cost: Cost) -> Class:
    """Plays one class of 8 to 15 people who play on one or both builds; ingests and exports it.

    All are called alike on purpose.
    """
    people = {tag: person(tag, stream=f"class {number}") for tag in range(1, 9 + number % 8)}
    half = len(people) // 2
    seats = {"a": tuple(people)[: half + 2], "b": tuple(people)[half:]}
    memories: Memories = {}
    with tempfile.TemporaryDirectory(prefix="class-") as scratch:
        path = Path(scratch) / "class.duckdb"
        with cost.step("play"):
            logs = []
            for (game, one), firmware in made.items():
                table = CONSOLES[number % len(CONSOLES)]
                session = Session(f"{game}_{one}_class{number}", game, one, table, seats[one], 3)
                log = Path(scratch) / f"{game}_{one}.playlog"
                log.write_bytes(log_bytes(session, firmware, play(session, firmware, people, memories)))
                logs.append(log)
        with cost.step("ingest"), open_study(path) as study:
            events = sum(import_log(study, log).events for log in logs)
        with cost.step("export"):
            done = analysis.open(path).export(lake, "parquet")
        cost.count("events", events)
        cost.count("bytes of logs", sum(log.stat().st_size for log in logs))
        cost.count("bytes of studies", path.stat().st_size)
        cost.count("bytes of Parquet", sum(file.stat().st_size for file in done.files))
        cost.count("files", len(done.files))
        return class_of(path)


def drawn(number: int, sources: Sequence[Class], lake: Path) -> dict[str, int]:
    """Writes a class of people drawn from those of the played ones, each a little otherwise; returns its rows."""
    rng = np.random.default_rng([20261129, number])
    source = sources[number % len(sources)]
    tables = {name: pd.concat(_people(table, rng), ignore_index=True) for name, table in source.tables.items()}
    lives, deaths, notes = tables["lives"], tables["deaths"], tables["notes"]
    lives["alive_s"] = (lives["alive_s"] * np.exp(rng.normal(0, 0.2, len(lives)))).round(3)
    for axis, most in (("x", 159), ("y", 127)):
        moved = deaths[axis].astype(float) + rng.integers(-6, 7, len(deaths))
        deaths[axis] = moved.clip(0, most).round().astype("Int64")
    notes["judged_ms"] = notes["judged_ms"] + rng.normal(0, 8, len(notes)).round(1)
    within = (notes["judged_ms"] >= -notes["early_ms"]) & (notes["judged_ms"] <= notes["late_ms"])
    notes["hit"] = within.astype("boolean").where(notes["hit"].notna())
    _write(number, tables, source.builds, lake)
    return {name: len(table) for name, table in tables.items()}


def _people(table: pd.DataFrame, rng: np.random.Generator) -> Iterator[pd.DataFrame]:
    """As many people as there are, drawn with replacement; of each all rows, as of somebody of his own."""
    tags = sorted(table["player"].unique())
    for place, tag in enumerate(rng.choice(tags, len(tags)) if tags else ()):
        own = table[table["player"] == tag]
        yield own.assign(player=f"P{place + 1}", run_id=own["run_id"] + place)
    yield table.head(0)


def _write(number: int, tables: Mapping[str, pd.DataFrame], builds: Mapping[tuple[str, str], str], lake: Path) -> None:
    """By the writer of the product."""
    key = key_of("drawn", f"drawn {number}")
    folder = lake / "parquet"
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".being-written-", dir=folder) as work:
        with closing(Partitions(Path(work), "drawn", key, frozenset({f"log {number}"}), builds)) as writer:
            for name, table in TABLES.items():
                writer.begin(table)
                writer.add(tables[name])
                writer.end()
        put_in_place(Path(work), folder, key)
