"""Which events of a batch runs are built from: the few among the many (FORMAT.md, section 7)."""

from collections.abc import Collection, Sequence
from operator import itemgetter
from typing import Literal

import numpy as np

from ingest.vocabulary import EventRole, FieldRole, TunableRole
from ingest.wire.dictionary import SHIFTS, Dictionary
from ingest.wire.records import Batch

_STATE = (FieldRole.LIVES, FieldRole.TIER, FieldRole.LEVEL)
# Every event of these roles is looked at; of other kinds only those that change a state field.
STRUCTURE = frozenset(
    {
        EventRole.RUN_START,
        EventRole.RUN_END,
        EventRole.STAGE_START,
        EventRole.STAGE_END,
        EventRole.SPAWN,
        EventRole.DEATH,
        EventRole.PAUSE,
        EventRole.RESUME,
        EventRole.RATING,
    }
)
# Only the living do this. It tells where a life began whose spawn was lost.
SIGNS = frozenset({EventRole.POSITION, EventRole.SHOT, EventRole.PRESS})
# Read on the way into the study as well: time alive by place, and which values are numbers.
_ALSO = {(EventRole.POSITION, FieldRole.X), (EventRole.POSITION, FieldRole.Y), (EventRole.INPUT, FieldRole.VALUE)}
Role = EventRole | Literal["sign", "start"] | None
Told = tuple[int, Role, int, int, dict[FieldRole, int]]


def built_from(dictionary: Dictionary) -> str:
    """The roles that a log's runs, times and places depend on, as a text: where it is the same, so are these."""
    said = []
    for kind in dictionary.kinds:
        looked_at = kind.role in STRUCTURE | SIGNS or any(kind.role == role for role, _ in _ALSO)
        said.append(f"{kind.name} {kind.role if looked_at else '-'}")
        for f in kind.fields:
            read = f.role in _STATE or f.role in SHIFTS or (kind.role, f.role) in _ALSO
            said.append(f"{f.name} {f.role if read or kind.role in STRUCTURE else '-'}")
    lives = (t.name for t in dictionary.tunables if t.role == TunableRole.START_LIVES and not t.scope)
    return "; ".join([*said, *lives])


def told(dictionary: Dictionary, batch: Batch) -> int:
    """How many events `structure` may tell of, at most."""
    kinds = (dictionary.kinds[events.kind] for events in batch.by_kind)
    tell = [kind.role in STRUCTURE or any(f.role in _STATE for f in kind.fields) for kind in kinds]
    return sum(len(events.order) for events, tells in zip(batch.by_kind, tell, strict=True) if tells)


def structure(
    dictionary: Dictionary, batch: Batch, damage: Sequence[int] = (), starters: Collection[int] = ()
) -> list[Told]:
    """(order, role, at_us, offset, fields by role) of the events that runs are built from, in the order of the log.

    An event that is looked at as a sign of life comes with the role "sign", before all else that it tells. Such are the
    first sign of the batch, those after each death and those after each place of `damage` (byte offsets, ascending).
    Likewise with the role "start", after each end of a run, the events of the kinds `starters` (numbers), with which a
    run may be seen first whose start was lost.
    """
    found: list[Told] = []
    states = []
    for events in batch.by_kind:
        kind = dictionary.kinds[events.kind]
        if kind.role in STRUCTURE:
            found += _listed(kind.role, batch, events, {f.role: f.name for f in kind.fields if f.role}, slice(None))
        elif any(f.role in _STATE for f in kind.fields):
            states.append(events)
    settled = np.sort(np.array([event[0] for event in found], np.int64))
    for events in states:
        kind = dictionary.kinds[events.kind]
        roles = {f.role: f.name for f in kind.fields if f.role in _STATE}
        # Only where something may have changed since the same kind said it last; several such kinds may disagree.
        told = len(states) > 1 or np.diff(np.searchsorted(settled, events.order), prepend=-1) != 0
        for name in roles.values():
            column = np.asarray(events.fields[name])  # what is beneath a mask tells as well
            told = told | np.append(True, column[1:] != column[:-1])
        found += _listed(kind.role, batch, events, roles, np.flatnonzero(np.broadcast_to(told, len(events.order))))
    if EventRole.SPAWN in dictionary.event_roles:
        signs = {number for number, kind in enumerate(dictionary.kinds) if kind.role in SIGNS}
        found = [*_first("sign", signs, batch, _behind(EventRole.DEATH, found, batch, damage)), *found]
    if starters:
        found = [*_first("start", starters, batch, _behind(EventRole.RUN_END, found, batch, damage)), *found]
    found.sort(key=itemgetter(0))
    return found


def _behind(role: EventRole, found: Sequence[Told], batch: Batch, damage: Sequence[int]) -> np.ndarray:
    """The orders from which on an event is looked for: the first, behind each of a role, at each place of damage."""
    since = {0, *(event[0] + 1 for event in found if event[1] == role), *batch.orders_at(damage)}
    return np.array(sorted(since), np.int64)


def _first(role: Literal["sign", "start"], kinds: Collection[int], batch: Batch, asked: np.ndarray) -> Sequence[Told]:
    """The first event of these kinds at or behind each of the orders `asked`."""
    first: dict[int, tuple[int, int]] = {}  # order -> time and place of the sign
    nearest = np.full(len(asked), len(batch.tick), np.int64)
    for events in batch.by_kind:
        if events.kind in kinds:
            next_ = np.searchsorted(events.order, asked)
            there = next_ < len(events.order)
            order = np.full(len(asked), len(batch.tick), np.int64)
            order[there] = events.order[next_[there]]
            nearer = order < nearest
            nearest[nearer] = order[nearer]
            own = np.unique(next_[nearer])
            offset = batch.offset(events.order[own])
            first |= {
                int(events.order[i]): (int(events.at_us[i]), int(at))
                for i, at in zip(own.tolist(), offset.tolist(), strict=True)
            }
    orders = np.unique(nearest).tolist()
    return [(order, role, *first[order], {}) for order in orders if order < len(batch.tick)]


def _listed(role, batch, events, roles, which):  # type: ignore[no-untyped-def]
    columns = [events.fields[name][which].tolist() for name in roles.values()]
    # What does not apply is as if the kind did not have it.
    said = [
        {role: value for role, value in zip(roles, values, strict=True) if value is not None}
        for values in zip(*columns, strict=True)
    ]
    order = events.order[which].tolist()
    return zip(
        order,
        [role] * len(order),
        events.at_us[which].tolist(),
        batch.offset(events.order[which]).tolist(),
        said or [{} for _ in order],
        strict=True,
    )
