"""What the tuning answers with: frozen results without wording for people beyond one computed sentence."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

# A rise of quitting by more than this is said first: as much as a tolerance.
MORE_QUIT = 0.05


class Advice(StrEnum):
    """What to do with a proposal."""

    CHANGE = "change"
    EXPLORE = "explore"
    NOT_YET = "not_yet"
    CLOSE_ENOUGH = "close_enough"


@dataclass(frozen=True)
class Change:
    """One tunable, what it is now and what is proposed, in the tunable's own unit; both can be held by the firmware."""

    tunable: str
    role: str | None
    now: int
    proposed: int
    unit: str
    low: int
    high: int
    step: int


@dataclass(frozen=True)
class Prediction:
    """An outcome under one setting: posterior median and intervals of the population's figure.

    `next_low`, `next_high` (80 %) are for the count a next playtest of the same size would show, as a share.
    """

    value: float
    low80: float
    high80: float
    low95: float
    high95: float
    next_low: float | None = None
    next_high: float | None = None


@dataclass(frozen=True)
class PredictedTarget:
    """A target with what is predicted for it as things are and as proposed. Figures are in the target's own unit.

    now, proposed: of the audience, with the doubt of who it is. testers_now, testers_proposed: of people like the
    testers, which is what a next playtest with people found in the same way is compared with.
    """

    target: str
    wanted: float
    tolerance: float
    unit: str
    now: Prediction
    proposed: Prediction
    observed: float | None
    observed_players: int
    observed_runs: int
    testers_now: Prediction
    testers_proposed: Prediction


@dataclass(frozen=True)
class OtherAudience:
    """A proposal with one audience. now, proposed: the median figure of each target, in the order of the targets.

    turns: with this audience no change is expected to be nearer to the targets.
    """

    audience: str
    now: tuple[float, ...]
    proposed: tuple[float, ...]
    turns: bool


def quit_shares(side_effects: Mapping[str, Any]) -> tuple[float, float] | None:
    """The shares of first runs that are given up, now and as proposed; None where the model does not know."""
    now, then = ((side_effects.get(when) or {}).get("quit_share") for when in ("now", "proposed"))
    return None if now is None or then is None else (now, then)


def more_quit(side_effects: Mapping[str, Any]) -> tuple[float, float] | None:
    """The same where clearly more would give up, else None."""
    shares = quit_shares(side_effects)
    return shares if shares is not None and shares[1] - shares[0] > MORE_QUIT else None


@dataclass(frozen=True)
class Way:
    """The best that was found with so many knobs: a tunable, or all of one role turned together, is one knob.

    knobs: what is turned. miss, miss_now: expected, the weighted mean over targets as a share; a tolerance counts as
    0.05. targets, side_effects: as a proposal has them. sure: whether it is sure enough to be recommended.
    """

    id: str
    knobs: tuple[str, ...]
    changes: tuple[Change, ...]
    miss: float
    miss_now: float
    chance_better: float
    targets: tuple[PredictedTarget, ...] = ()
    side_effects: Mapping[str, Any] = field(default_factory=dict)
    sure: bool = False


@dataclass(frozen=True)
class Proposal:
    """One ranked proposal.

    chance_better: posterior probability that the proposal misses the targets by less than no change does.
    chance_worse: posterior probability that it misses them by over 2 points more (5 points are one tolerance).
    chance_close: posterior probability that every target is met within its tolerance.
    draws, effective_draws: of the posterior, as `models.sampling.Sampling` says.
    carried_by: tunable -> "data" or "prior" share in words. settles_it: what playtest would settle a "not yet".
    testers: how they were found. condition: of whom the proposal speaks, in words. audiences: what becomes of it with
    an audience like the testers, and a third worse or better off. unknown: why the play tells nothing of the targets,
    empty where it does. exclusive: the targets are met one by one, but not together, by the settings looked at.
    nothing_to_turn: why no value can be proposed, empty where one can.
    ways: with the first proposal of a model, the best with one knob, with two, and with as many as gain; of as many
    knobs as this proposal turns it is the proposal itself.
    """

    id: str
    game: str
    build: str
    advice: Advice
    sentence: str
    changes: tuple[Change, ...]
    targets: tuple[PredictedTarget, ...]
    chance_better: float
    chance_close: float
    players: int
    runs: int
    draws: int
    effective_draws: float
    method: str
    carried_by: Mapping[str, str] = field(default_factory=dict)
    side_effects: Mapping[str, Any] = field(default_factory=dict)
    settles_it: str = ""
    warnings: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    chance_worse: float = 0.0
    testers: str = "unknown"
    condition: str = ""
    audiences: tuple[OtherAudience, ...] = ()
    unknown: str = ""
    exclusive: bool = False
    nothing_to_turn: str = ""
    ways: tuple[Way, ...] = ()
