"""Synthetic games with rates that are known by heart, and so much play that nothing but a lever's prior is in doubt."""

import numpy as np

from analysis.models.data import Build, Cells, Counts, Runs, Segment, StagedData, TrialData, Tunable, Visits

CLEAR_S = 40.0
# Deaths a second alive at tier 0 and 1 and tier rises a second, where a game has tiers; at one tier, the even hazard.
HAZARD, BY_TIER, RISE = 0.02, (0.03, 0.01), 0.02
_PLAYERS, _ALIVE_S, _MANY = 40, 20_000.0, 100_000


def staged(
    *tunables: Tunable, segments: int = 1, tiers: int = 1, start_tier: int = 0, levels: bool = False
) -> StagedData:
    """A game of equal segments that take 40 s each; all players are alike, and nobody quits."""
    rows = [(p, j, k) for p in range(_PLAYERS) for j in range(segments) for k in range(tiers)]
    player, segment, tier = np.array(rows).T
    none = np.zeros(len(rows), dtype=bool)
    hazard = np.array(BY_TIER)[tier] if tiers > 1 else np.full(len(rows), HAZARD)
    who, zero = np.arange(_PLAYERS), np.zeros(_PLAYERS, dtype=int)
    # Passages take equally long at every tier.
    at_tier, passed = (np.repeat(x.ravel(), _PLAYERS) for x in np.mgrid[:tiers, :segments])
    wide = np.tile(np.linspace(-0.02, 0.02, _PLAYERS), segments * tiers)
    return StagedData(
        game="Well",
        segments=tuple(Segment(n + 1, is_level=levels) for n in range(segments)),
        players=tuple(f"P{n}" for n in who),
        builds=(Build("a", "1", tunables),),
        current=0,
        runs=Runs(who, zero + 1, zero, zero, zero, zero + 40.0, zero, zero > 0, zero > 0, zero > 0, zero > 0),
        cells=Cells(
            player,
            1 + 0 * player,
            0 * player,
            segment,
            tier,
            none,
            none,
            np.full(len(rows), _ALIVE_S),
            np.round(hazard * _ALIVE_S),
            np.ones(len(rows)),
        ),
        visits=Visits(
            np.tile(who, segments * tiers),
            0 * passed,
            passed,
            at_tier.astype(float),
            CLEAR_S * np.exp(wide),
            np.ones(len(passed), dtype=bool),
        ),
        counts=Counts(
            np.full(segments, RISE * _MANY if tiers > 1 else 0.0),
            np.full(segments, float(_MANY)),
            (0, _MANY),
            np.zeros(2),
            np.full(2, _MANY),
            np.zeros((2, 3)),
            np.full((2, 3), _MANY),
            0.0,
            1e9,
        ),
        start_tier=start_tier,
        tiers=tiers,
        finish_known=True,
        lives_seen=1,
    )


def shots(*tunables: Tunable, hit: float, runs: int = 40, each: int = 200) -> TrialData:
    """Single shots of which each player hits the share `hit`, all at one speed."""
    own = np.arange(each) * hit
    success = np.floor(own + hit) > np.floor(own)
    run = np.repeat(np.arange(runs), each)
    return TrialData(
        game="Well",
        players=tuple(f"P{n}" for n in range(runs)),
        builds=(Build("a", "1", tunables),),
        current=0,
        player=run,
        run=run,
        attempt=np.ones(len(run), dtype=int),
        build=np.zeros(len(run), dtype=int),
        experienced=np.zeros(len(run), dtype=bool),
        index=np.tile(np.arange(each), runs),
        relative_speed=np.ones(len(run)),
        success=np.tile(success, runs),
    )
