"""A small staged game, played and logged through the product's own encoder, as a study."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from ingest.study.store import import_log, open_study
from tests.closed_loop.tuning.logs import write_log
from tests.closed_loop.tuning.worlds import World, draw_world, play


@pytest.fixture(scope="session")
def world() -> World:
    """One simulated game and its public."""
    return draw_world("hazard", 1011)


@pytest.fixture(scope="session")
def played(world: World, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of twelve new players with three runs each."""
    folder = tmp_path_factory.mktemp("played")
    log = folder / "a.playlog"
    write_log(log, world, world.now, play(world, 12, 3, world.now, np.random.default_rng(4), record=True))
    with open_study(folder / "s.duckdb") as study:
        import_log(study, log)
    return folder / "s.duckdb"


@pytest.fixture
def targets_file(tmp_path: Path) -> Iterator[Path]:
    """A targets file with one target."""
    path = tmp_path / "t.toml"
    path.write_text('[[target]]\noutcome = "finish"\nwanted = "57 %"\n', encoding="utf-8")
    yield path
