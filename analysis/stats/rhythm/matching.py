"""Which press was meant for which note: an optimal, order-preserving assignment on integer microseconds."""

import numpy as np

# Where the worth of a note came from in the dynamic programming: the press before, this press, or no press of its own.
_CARRIED, _PAIRED, _LEFT = range(3)


def match_presses(
    note_us: np.ndarray,
    press_us: np.ndarray,
    gap_us: int,
    note_chain: np.ndarray | None = None,
    press_chain: np.ndarray | None = None,
    count_first: bool = False,
) -> np.ndarray:
    """For each note the index of its press, or -1: each press belongs to at most one note, nearer pairs are worth more.

    Only pairs of one chain (run and lane) at most `gap_us` apart can match. Among all assignments the one with the
    largest sum of `gap_us + 1 - |press - note|` is taken. So one more pair is never bought by shifting a row of good
    ones to their neighbours, as "most pairs first" does where a note is missed and a press too many comes later.
    With `count_first` the most pairs are taken, and among those the least total distance; that is the maximum
    matching by which music information retrieval scores onsets (Raffel et al. 2014, mir_eval), made unique in cost.

    On a line, pairs of an optimal assignment never need to cross (for a + b = c + d within |.|, uncrossing costs
    nothing and keeps both within the gap), so the result preserves order within a chain. Notes of one time (a chord)
    take one press each. `note_us`, `press_us`: whole microseconds in any order; shapes (n,), (m,).
    """
    if gap_us < 0:
        raise ValueError(f"the gap must not be negative, got {gap_us}")
    notes, presses = np.asarray(note_us, np.int64), np.asarray(press_us, np.int64)
    taken = np.full(len(notes), -1, np.int64)
    if not len(notes) or not len(presses):
        return taken
    note_key, press_key = _one_line(notes, presses, gap_us, note_chain, press_chain)
    note_order, press_order = np.argsort(note_key, kind="stable"), np.argsort(press_key, kind="stable")
    note_at, press_at = note_key[note_order], press_key[press_order]
    worth = (gap_us + 1) * (min(len(notes), len(presses)) + 1) if count_first else gap_us + 1

    # Pairs that some optimum must contain are settled first, all at once; in ordinary play that is nearly all of them.
    settled = _certain_pairs(note_at, press_at, gap_us, worth)
    left_notes, left_presses = np.flatnonzero(settled < 0), np.ones(len(press_at), bool)
    left_presses[settled[settled >= 0]] = False
    rest_presses = np.flatnonzero(left_presses)
    for note, press in _best_pairs(note_at[left_notes], press_at[rest_presses], gap_us, worth):
        settled[left_notes[note]] = rest_presses[press]
    found = settled >= 0
    taken[note_order[found]] = press_order[settled[found]]
    return taken


def _one_line(
    notes: np.ndarray, presses: np.ndarray, gap_us: int, note_chain: np.ndarray | None, press_chain: np.ndarray | None
) -> tuple[np.ndarray, np.ndarray]:
    """Times of all chains laid end to end on one line, further apart than the gap."""
    first = min(notes.min(), presses.min())
    if note_chain is None or press_chain is None:
        return notes - first, presses - first
    both = np.concatenate([note_chain, press_chain])
    number = np.unique(both, return_inverse=True)[1].reshape(-1)
    time = np.concatenate([notes, presses]) - first
    chains = int(number.max()) + 1
    low, high = np.full(chains, np.iinfo(np.int64).max), np.zeros(chains, np.int64)
    np.minimum.at(low, number, time)
    np.maximum.at(high, number, time)
    length = high - low + gap_us + 1
    start = np.concatenate([[0], np.cumsum(length)[:-1]])
    line = time - low[number] + start[number]
    return line[: len(notes)], line[len(notes) :]


def _certain_pairs(note_at: np.ndarray, press_at: np.ndarray, gap_us: int, worth: int) -> np.ndarray:
    """For each note the press that an optimal assignment gives it for certain, or -1.

    A pair that is worth at least as much as the best other pair of its note and the best other pair of its press
    together can be swapped into any assignment without loss.
    """
    near_press, second_for_note = _two_nearest(note_at, press_at)
    near_note, second_for_press = _two_nearest(press_at, note_at)
    own = np.abs(press_at[near_press] - note_at)
    mutual = (near_note[near_press] == np.arange(len(note_at))) & (own <= gap_us)
    other_note = np.where(second_for_note <= gap_us, worth - second_for_note, 0)
    other_press = np.where(second_for_press <= gap_us, worth - second_for_press, 0)[near_press]
    certain = mutual & (worth - own >= other_note + other_press)
    return np.where(certain, near_press, -1)


def _two_nearest(at: np.ndarray, others: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Index of the nearest of the sorted `others` to each `at`, and the distance of the second nearest."""
    far = np.iinfo(np.int64).max // 4
    right = np.searchsorted(others, at)
    candidates = np.stack([right - 2, right - 1, right, right + 1])
    inside = (candidates >= 0) & (candidates < len(others))
    clipped = np.clip(candidates, 0, len(others) - 1)
    distance = np.where(inside, np.abs(others[clipped] - at), far)
    nearest = np.argmin(distance, axis=0)
    column = np.arange(len(at))
    index = clipped[nearest, column]
    distance[nearest, column] = far
    return index, distance.min(axis=0)


def _best_pairs(note_at: np.ndarray, press_at: np.ndarray, gap_us: int, worth: int) -> list[tuple[int, int]]:
    """The optimal pairs by dynamic programming along the line.

    `total[j]` is the best worth of the notes so far with presses before j; only presses in reach can change it,
    and the reach moves forward only, so a note costs as many steps as it has presses in reach.
    """
    low = np.searchsorted(press_at, note_at - gap_us).tolist()
    high = np.searchsorted(press_at, note_at + gap_us, side="right").tolist()
    note_list, press_list = note_at.tolist(), press_at.tolist()
    total = [0] * (len(press_list) + 1)
    reached = 0  # total[j] is known up to here; beyond, it equals total[reached]
    kept: list[tuple[int, int, list[int]]] = []
    for i, (first, end) in enumerate(zip(low, high, strict=True)):
        if first == end:
            continue
        for j in range(reached + 1, end + 1):
            total[j] = total[reached]
        reached = max(reached, end)
        at, before, best, sources = note_list[i], total[first], total[first], []
        for j in range(first, end):
            with_pair = before + worth - abs(press_list[j] - at)
            before = total[j + 1]
            source = _CARRIED
            if with_pair > best:
                best, source = with_pair, _PAIRED
            if before > best or (before == best and source == _PAIRED):
                best, source = before, _LEFT
            total[j + 1] = best
            sources.append(source)
        kept.append((i, first, sources))
    pairs, limit = [], len(press_list)
    for i, first, sources in reversed(kept):
        j = min(limit, first + len(sources)) - 1
        while j >= first and sources[j - first] == _CARRIED:
            j -= 1
        if j >= first and sources[j - first] == _PAIRED:
            pairs.append((i, j))
            limit = j
    return pairs
