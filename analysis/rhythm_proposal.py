"""From the study to proposals for a rhythm game: reads its notes, and hands them to tuning/windows.py."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from analysis.reader import Reader
from analysis.selection import Selection
from analysis.timing_data import presses_are_cut, read_timing, read_timing_tunables
from analysis.tuning.proposal import Proposal
from analysis.tuning.targets import Levers, Target
from analysis.tuning.windows import propose_windows


def propose_rhythm(
    reader: Reader,
    selection: Selection,
    targets: Sequence[Target],
    wishes: Levers,
    build: str | None = None,
    warnings: Sequence[str] = (),
    tick: Callable[[], None] | None = None,
) -> list[Proposal]:
    """Ranked proposals for `hit_share` targets; none for a game without notes or without such a target.

    Hands do not know the window, so all builds of the selection's players are learnt from; what is changed are the
    tunables of `build`, by default the selection's last one, else the one of the last run. Raises ValueError where
    notes came due and nobody pressed near any.
    """
    notes = read_timing(reader, replace(selection, builds=(), stage=None, stage_kind=None))
    if notes is None:
        return []
    last = notes.builds[int(notes.build[notes.run.argmax()])]
    chosen = build or (selection.builds[-1] if selection.builds else last)
    tunables = [t for t in read_timing_tunables(reader, selection.game) if t.build == chosen]
    return propose_windows(
        notes, tunables, targets, wishes, selection.game, chosen, presses_are_cut(notes), warnings, tick
    )
