"""What a designer could do without the model: two plain rules, judged on the same playtests and worlds as the model.

Both move all fire periods by one factor and nothing else, so that each is one line of reasoning:

* `observed_ratio`: 60 % are wanted, 40 % got there, so let them fire 1.5 times as slowly: the periods are multiplied by
  wanted / observed.
* `pooled_hazards`: deaths by seconds alive in each segment, over all players and attempts; danger goes with the fire
  rate; a run is played through by these rates, all players alike. Of 121 factors the one that meets the wish best.

Neither knows players, learning, doubt or a prior.
"""

import math
from collections.abc import Sequence

import numpy as np

from analysis.models.data import StagedData, Tunable
from analysis.models.moves import nearest
from analysis.models.observed import observed_staged
from analysis.models.setting import Setting, rules
from analysis.models.staged_games.chain import Course, play
from analysis.models.targets import Outcome, Target
from ingest.vocabulary import TunableRole

# As far as the model's own search goes.
FACTORS = np.exp(np.linspace(math.log(0.25), math.log(4), 121))


def observed_ratio(data: StagedData, target: Target) -> Setting:
    """All fire periods times wanted / observed; where nobody got there, half a run counts as having done so."""
    seen = observed_staged(data, target)
    assert seen.figure is not None
    return scaled(data.build.tunables, target.wanted / max(seen.figure, 0.5 / seen.runs))


def pooled_hazards(data: StagedData, target: Target) -> Setting:
    """All fire periods times the factor at which the pooled rates meet the wish; the smallest change among equals."""
    settings = [scaled(data.build.tunables, factor) for factor in FACTORS]
    figures = pooled_figures(data, target, settings)
    off = np.round(abs(figures - target.wanted), 6) + 1e-9 * abs(np.log(FACTORS))
    return settings[int(np.argmin(off))]


def scaled(tunables: Sequence[Tunable], factor: float) -> Setting:
    """All fire periods times `factor`, within what the search may do, rounded to what the firmware can hold."""
    factor = min(max(factor, FACTORS[0]), FACTORS[-1])
    return {t.name: nearest(t, t.value * factor) for t in tunables if t.role == TunableRole.FIRE_PERIOD}


def pooled_figures(data: StagedData, target: Target, settings: Sequence[Setting]) -> np.ndarray:
    """(settings,): the target's figure by the pooled rates. One tier; clear times without spread."""
    cells, visits, counts = data.cells, data.visits, data.counts
    segments = len(data.segments)

    def by_segment(total: np.ndarray, of: np.ndarray) -> np.ndarray:
        """The ratio in each segment; where nobody was, that of all together."""
        return np.where(of > 0, total / np.maximum(of, 1e-9), total.sum() / max(of.sum(), 1e-9))

    deaths = np.bincount(cells.segment, cells.deaths, minlength=segments)
    hazard = by_segment(deaths, np.bincount(cells.segment, cells.alive_s, minlength=segments))
    hazard = np.maximum(hazard, 1e-9)
    cleared = visits.segment[visits.cleared]
    clear_s = by_segment(
        np.bincount(cleared, visits.alive_s[visits.cleared], minlength=segments),
        np.bincount(cleared, minlength=segments),
    )
    now, *then = (rules(data.build.tunables, data.segments, s, data.lives_seen) for s in ({}, *settings))
    fire = TunableRole.FIRE_PERIOD
    faster = np.array([rule.doses[fire] - now.doses[fire] for rule in then]).T[:, None, :]
    shape = (segments, 1, len(settings))
    quits = [n / max(of, 1) for n, of in zip(counts.quits, counts.quit_chances, strict=True)]
    course = Course(
        start_lives=now.start_lives,
        refill=now.refill,
        start_tier=0,
        death=hazard[:, None, None] * np.exp(faster),
        clear_s=np.broadcast_to(clear_s[:, None, None], shape),
        rise=np.zeros((segments, len(settings))),
        keep_tier=np.ones(len(settings)),
        quit_first=np.full(len(settings), quits[0]),
        quit_again=np.full(len(settings), quits[1]),
        spread=np.zeros(len(settings)),
    )
    reach = play(course).reach
    if target.outcome == Outcome.REACH_STAGE:
        return reach[sum(s.number < int(target.number or 0) for s in data.segments)]
    stop = counts.stops.sum() / max(counts.stop_chances.sum(), 1)
    again = (1 - reach[segments]) * (1 - stop)
    return reach[segments] * sum(again**n for n in range(target.attempts))
