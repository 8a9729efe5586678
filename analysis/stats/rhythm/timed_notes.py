"""The notes of a rhythm game, each with the press that was meant for it: what every timing question starts from."""

from dataclasses import dataclass, fields

import numpy as np

from analysis.stats.rhythm.matching import match_presses

Array = np.ndarray
# Presses further than this from every note are no attempt at any. People tap to a beat with a spread of 20 to 60 ms
# (Repp 2005); five times the widest of these leaves room for beginners and for a console's latency.
REACH_US = 300_000


@dataclass(frozen=True)
class TimedNotes:
    """One element a note, in the order of runs and due times; all arrays have one length n.

    player, song, build, capture: numbers that index the tuples of names. song_places: (stage, stage kind) of each
    song, -1 for none. experienced: one a player, True where known to have played before the playtest.
    run: run ids; attempt: counted from 1.
    lane: -1 where the game has none. due_us: console time; in_song_us: since the song began.
    error_us: press - due, *without* the console's input offset, NaN where no press was meant for the note;
    early_us, late_us, offset_us, poll_us: the console's settings in force, NaN where it declares none (offset
    0). reach_us: the furthest a press may be from a note to be meant for it.
    stray_run, stray_us: presses that no note claims, and how far the nearest note of the lane is (signed as error_us).
    """

    players: tuple[str, ...]
    songs: tuple[str, ...]
    song_numbers: tuple[int, ...]
    song_places: tuple[tuple[int, int], ...]
    builds: tuple[str, ...]
    captures: tuple[str, ...]
    experienced: tuple[bool, ...]
    player: Array
    run: Array
    attempt: Array
    song: Array
    build: Array
    capture: Array
    lane: Array
    due_us: Array
    in_song_us: Array
    error_us: Array
    early_us: Array
    late_us: Array
    offset_us: Array
    poll_us: Array
    reach_us: int
    stray_run: Array
    stray_us: Array

    def __len__(self) -> int:
        return len(self.error_us)

    @property
    def pressed(self) -> Array:
        """(n,) bool: a press was meant for the note."""
        return ~np.isnan(self.error_us)

    @property
    def judged_us(self) -> Array:
        """(n,) what the console judges: press - input_offset - due (FORMAT.md, section 6)."""
        return self.error_us - self.offset_us

    @property
    def hit(self) -> Array:
        """(n,) bool: within the window in force, both edges included; never where no window is declared."""
        return hits(self.judged_us, self.early_us, self.late_us)

    @property
    def player_runs(self) -> int:
        """Number of runs with at least one note."""
        return len(np.unique(self.run))

    def where(self, keep: Array) -> "TimedNotes":
        """The notes of the boolean mask `keep`, and the strays of the runs that are left."""
        n = len(self)
        runs = np.unique(self.run[keep])
        stray = np.isin(self.stray_run, runs)
        changed = {
            f.name: value[stray] if f.name.startswith("stray") else value[keep]
            for f in fields(self)
            if isinstance(value := getattr(self, f.name), np.ndarray)
            and (f.name.startswith("stray") or len(value) == n)
        }
        return TimedNotes(**{f.name: changed.get(f.name, getattr(self, f.name)) for f in fields(self)})


def hits(judged_us: Array, early_us: Array | float, late_us: Array | float) -> Array:
    """Is -early <= judged <= late? NaN (no press, no window) is no hit."""
    with np.errstate(invalid="ignore"):
        return (judged_us >= -np.asarray(early_us)) & (judged_us <= late_us)


def time_notes(
    note_run: Array,
    note_lane: Array,
    due_us: Array,
    press_run: Array,
    press_lane: Array,
    press_us: Array,
    centre_us: Array,
    reach_us: int,
) -> tuple[Array, Array, Array]:
    """Matches the presses of each run and lane; (error_us a note, run a stray press, its error to the nearest note).

    centre_us: (n,) where a press is expected relative to its note, at first the console's input offset. A constant
    latency of half the distance between notes would pair presses with the wrong ones, so the median error of each run
    found this way is taken as its centre and the matching done once more.
    """
    chain, press_chain = _chains(note_run, note_lane, press_run, press_lane)
    centre = np.asarray(centre_us, float)
    error = np.full(len(due_us), np.nan)
    taken = np.full(len(due_us), -1)
    runs, of_run = np.unique(note_run, return_inverse=True)
    for _ in range(2):
        taken = match_presses(np.rint(due_us + centre).astype(np.int64), press_us, reach_us, chain, press_chain)
        found = taken >= 0
        error = np.full(len(due_us), np.nan)
        error[found] = press_us[taken[found]] - due_us[found]
        medians = group_medians(of_run, error, len(runs))
        centre = np.where(np.isnan(medians[of_run]), centre, medians[of_run])
    stray = np.ones(len(press_us), bool)
    stray[taken[taken >= 0]] = False
    nearest = nearest_error(due_us, chain, press_us[stray], press_chain[stray])
    return error, press_run[stray], nearest


def nearest_error(due_us: Array, chain: Array, press_us: Array, press_chain: Array) -> Array:
    """(m,) press - due for the nearest note of the press's chain; NaN where the chain has no notes."""
    out = np.full(len(press_us), np.nan)
    if not len(due_us) or not len(press_us):
        return out
    first = min(due_us.min(), press_us.min())
    length = max(due_us.max(), press_us.max()) - first + 1
    line = np.sort(chain * length + (due_us - first))
    at = press_chain * length + (press_us - first)
    right = np.searchsorted(line, at)
    for index in (right - 1, right):
        index = np.clip(index, 0, len(line) - 1)
        own = line[index] // length == press_chain
        distance = at - line[index]
        closer = own & ~(np.abs(out) <= np.abs(distance))
        out[closer] = distance[closer]
    return out


def group_medians(group: Array, values: Array, groups: int) -> Array:
    """(groups,) median of the values that are not NaN; NaN for a group without any."""
    known = ~np.isnan(values)
    order = np.lexsort((values[known], group[known]))
    group, values = group[known][order], values[known][order]
    first = np.searchsorted(group, np.arange(groups))
    count = np.bincount(group, minlength=groups)
    out = np.full(groups, np.nan)
    some = count > 0
    low, high = first + (count - 1) // 2, first + count // 2
    out[some] = (values[low[some]] + values[high[some]]) / 2
    return out


def _chains(note_run: Array, note_lane: Array, press_run: Array, press_lane: Array) -> tuple[Array, Array]:
    """Numbers for (run, lane); lanes count only where both notes and presses name them."""
    lanes = (
        bool(len(note_lane) and len(press_lane)) and not np.isnan(note_lane).any() and not np.isnan(press_lane).any()
    )
    runs = np.unique(np.concatenate([note_run, press_run]), return_inverse=True)[1].reshape(-1)
    chain = runs
    if lanes:
        lane = np.unique(np.concatenate([note_lane, press_lane]), return_inverse=True)[1].reshape(-1)
        chain = runs * (int(lane.max()) + 1) + lane
    return chain[: len(note_run)], chain[len(note_run) :]


def reach_for(widest_us: float) -> int:
    """How far a press may be from its note, in us, given the widest edge of a window in force.

    At least twice that edge, so that what lies beyond today's window is seen; which of two near notes a press belongs
    to is settled by the matching.
    """
    return int(max(REACH_US, 2 * widest_us))
