"""One turn of the loop: a playtest is written as a log and ingested, a window proposed, the world replayed with it."""

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.models.rhythm_games.rhythm import RhythmModel
from analysis.models.targets import Aim, Changeable, Outcome, Statistic, Target
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.timing_data import read_timing, read_timing_tunables
from analysis.tuning.proposal import Proposal
from analysis.tuning.ranking import propose
from ingest.study.store import import_log, open_study
from ingest.vocabulary import Recruitment
from tests.closed_loop.rhythm.world import World, draw_player, hit_share_by_setting, write_log

MEDIAN = Target("median", Outcome.HIT_SHARE, 0.85, 0.05, statistic=Statistic.MEDIAN, quantile=0.5)
QUARTER = Target(
    "lower quarter", Outcome.HIT_SHARE, 0.70, 0.05, aim=Aim.AT_LEAST, statistic=Statistic.QUANTILE, quantile=0.25
)


@dataclass(frozen=True)
class Turn:
    """What was proposed and what new players of the world then did. Figures by target, in its order."""

    proposal: Proposal
    setting: tuple[int, int, int]
    was: np.ndarray
    reached: np.ndarray
    low80: np.ndarray
    high80: np.ndarray
    low95: np.ndarray
    high95: np.ndarray


def playtest(world: World, players: int, rng: np.random.Generator) -> bytes:
    """The log of a playtest of the world: one to four runs a player."""
    people = [draw_player(world, rng) for _ in range(players)]
    return write_log(world, people, rng.integers(1, 5, players), rng)


def turn(world: World, log: bytes, targets: tuple[Target, ...], new_players: int, seed: int) -> Turn:
    """Proposes from the log alone and replays the world."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "console.playlog"
        path.write_bytes(log)
        with open_study(Path(folder) / "study.duckdb") as study:
            import_log(study, path)
            reader, selection = Reader(study.connection), Selection("Paper Drums")
            notes = read_timing(reader, selection)
            assert notes is not None
            tunables = read_timing_tunables(reader, "Paper Drums")
    best = propose(
        RhythmModel(notes, tunables, notes.builds[-1]), targets, Changeable(), "Paper Drums", Recruitment.AUDIENCE
    )[0]
    now = {t.tunable: t.value for t in tunables}
    then = now | {change.tunable: change.proposed for change in best.changes}
    settings = [(values["early"], values["late"], values["offset"]) for values in (now, then)]
    shares = hit_share_by_setting(world, [(float(a), float(b), float(c)) for a, b, c in settings], new_players, seed)
    figures = np.array([[np.quantile(share, t.quantile or 0.5) for t in targets] for share in shares])
    bounds = [[getattr(p.proposed, name) for p in best.targets] for name in ("low80", "high80", "low95", "high95")]
    return Turn(best, settings[1], figures[0], figures[1], *(np.array(b) for b in bounds))
