"""Does the console log only the presses it accepts? Then the errors end at the window, and hits prove nothing."""

from dataclasses import dataclass

import numpy as np

from analysis.stats.laws import binomial_below
from analysis.stats.rhythm.timed_notes import TimedNotes, group_medians

Array = np.ndarray
# The outermost sixth of the window against an equal stretch beyond it: narrow enough that the density of errors,
# which falls, does not fall to a third between the two unless the window holds all but everything.
BAND = 1 / 6
LEAST_SHARE = 1 / 3
# Below this the console is said to withhold presses; a false alarm once in a thousand playtests.
ALPHA = 1e-3
# Of all presses logged; and the rounding of a log that may put one on the wrong side of an edge.
FEW_OUTSIDE, SLACK_US = 1e-3, 1000.0


@dataclass(frozen=True)
class EdgeCheck:
    """Presses just inside and just beyond one edge of the window; `cut` when too few lie beyond to be chance."""

    inside: int
    beyond: int
    p: float

    @property
    def cut(self) -> bool:
        return self.p < ALPHA


def edge_check(distance_us: Array, edge_us: Array, slack_us: float = SLACK_US) -> EdgeCheck:
    """Compares the counts in the bands on either side of an edge.

    distance_us: (n,) how far each press is towards this edge, judged as the console does, strays included;
    edge_us: (n,) the edge in force. slack_us: rounding of the log that may put a press on the wrong side. Under the
    least plausible density beyond (LEAST_SHARE of that inside) the count beyond is binomial.
    """
    with np.errstate(invalid="ignore"):
        inside = int(np.sum((distance_us > (1 - BAND) * edge_us) & (distance_us <= edge_us)))
        beyond = int(np.sum((distance_us > edge_us + slack_us) & (distance_us <= (1 + BAND) * edge_us + slack_us)))
    share = LEAST_SHARE / (1 + LEAST_SHARE)
    p = float(binomial_below(beyond, inside + beyond, share)) if inside + beyond else 1.0
    return EdgeCheck(inside, beyond, p)


def edge_checks(notes: TimedNotes) -> dict[str, EdgeCheck]:
    """Early and late edge of the windows in force: are presses beyond them logged? Empty without a window."""
    if not np.isfinite(notes.early_us).any():
        return {}
    judged, early, late = _presses(notes)
    return {"early": edge_check(-judged, early), "late": edge_check(judged, late)}


def nothing_outside(notes: TimedNotes) -> bool:
    """No press is logged outside its window but one in a thousand: then a note without a press may have had one there.

    Of narrow windows far from where presses fall, too few are logged for `edge_checks` to tell.
    """
    judged, early, late = _presses(notes)
    known = np.isfinite(early) & np.isfinite(late)
    outside = np.maximum(-judged - early, judged - late)[known] > SLACK_US
    return bool(known.any() and outside.mean() <= FEW_OUTSIDE)


def _presses(notes: TimedNotes) -> tuple[Array, Array, Array]:
    """All presses, also those no note claims: press - offset - due, and both edges of the window in force."""
    runs, of_run = np.unique(notes.run, return_inverse=True)
    early, late, offset = (
        group_medians(of_run, v, len(runs)) for v in (notes.early_us, notes.late_us, notes.offset_us)
    )
    stray_run = np.searchsorted(runs, notes.stray_run)
    pressed = notes.pressed
    judged = np.r_[notes.judged_us[pressed], notes.stray_us - offset[stray_run]]
    edges = (np.r_[own[pressed], by_run[stray_run]] for own, by_run in ((notes.early_us, early), (notes.late_us, late)))
    return judged, *edges
