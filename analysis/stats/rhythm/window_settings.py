"""Which of a build's windows, offset and polling period hold for a stage and song, in microseconds."""

from dataclasses import dataclass

import numpy as np

from ingest.vocabulary import TunableRole


@dataclass(frozen=True)
class TimingTunable:
    """One declared tunable of the timing roles; `unit_us` is the length of its unit, NaN where the unit is no time.

    stage, stage_kind, song, grade narrow it; None where it holds everywhere.
    """

    build: str
    tunable: str
    role: TunableRole
    value: int
    low: int
    high: int
    step: int
    unit: str
    unit_us: float
    stage: int | None = None
    stage_kind: int | None = None
    song: int | None = None
    grade: int | None = None

    @property
    def value_us(self) -> float:
        return self.value * self.unit_us

    def narrowness(self, stage: float, stage_kind: float, song: float) -> int:
        """How many of its scopes name this place; -1 where one names another."""
        named = [(self.stage, stage), (self.stage_kind, stage_kind), (self.song, song)]
        if any(own is not None and own != here for own, here in named):
            return -1
        return sum(own is not None for own, _ in named)


@dataclass(frozen=True)
class InForce:
    """The tunables that hold at one place; None where the game declares none. A window's grade is the widest one."""

    early: TimingTunable | None
    late: TimingTunable | None
    offset: TimingTunable | None
    poll: TimingTunable | None

    @property
    def early_us(self) -> float:
        """A game that declares one edge only is read as symmetric; NaN where it declares none."""
        return _value(self.early if self.early is not None else self.late, np.nan)

    @property
    def late_us(self) -> float:
        return _value(self.late if self.late is not None else self.early, np.nan)

    @property
    def offset_us(self) -> float:
        return _value(self.offset, 0.0)

    @property
    def poll_us(self) -> float:
        return _value(self.poll, np.nan)


def in_force(tunables: list[TimingTunable], stage: float, stage_kind: float, song: float) -> InForce:
    """The narrowest of each role for this place; of windows by grade, the one whose window is widest (FORMAT.md 6)."""

    def one(role: TunableRole) -> TimingTunable | None:
        best: dict[int | None, tuple[int, TimingTunable]] = {}
        for t in tunables:
            width = t.narrowness(stage, stage_kind, song) if t.role == role and np.isfinite(t.unit_us) else -1
            if width >= 0 and width > best.get(t.grade, (-1, t))[0]:
                best[t.grade] = (width, t)
        return max((t for _, t in best.values()), key=lambda t: t.value_us, default=None)

    return InForce(
        one(TunableRole.WINDOW_EARLY),
        one(TunableRole.WINDOW_LATE),
        one(TunableRole.INPUT_OFFSET),
        one(TunableRole.POLL_PERIOD),
    )


def _value(tunable: TimingTunable | None, default: float) -> float:
    return default if tunable is None else tunable.value_us
