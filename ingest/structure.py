"""Which events of a batch runs are built from: the few among the many (FORMAT.md, section 7)."""

from operator import itemgetter

import numpy as np

from ingest.dictionary import Dictionary
from ingest.records import Batch
from ingest.vocabulary import EventRole, FieldRole

_STATE = (FieldRole.LIVES, FieldRole.TIER, FieldRole.LEVEL)
# Every event of these roles is looked at; of other kinds only those that change a state field.
STRUCTURE = frozenset(
    {
        EventRole.RUN_START, EventRole.RUN_END, EventRole.STAGE_START, EventRole.STAGE_END, EventRole.SPAWN,
        EventRole.DEATH, EventRole.PAUSE, EventRole.RESUME, EventRole.RATING,
    }
)  # fmt: skip


def structure(
    dictionary: Dictionary, batch: Batch
) -> list[tuple[int, EventRole | None, int, int, dict[FieldRole, int]]]:
    """(order, role, at_us, offset, fields by role) of the events that runs are built from, in the order of the log."""
    found: list[tuple[int, EventRole | None, int, int, dict[FieldRole, int]]] = []
    states = []
    for events in batch.by_kind:
        kind = dictionary.kinds[events.kind]
        if kind.role in STRUCTURE:
            found += _listed(
                kind.role, batch, events, {f.role: f.name for f in kind.fields if f.role}, slice(None)
            )
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
        found += _listed(
            kind.role, batch, events, roles, np.flatnonzero(np.broadcast_to(told, len(events.order)))
        )
    found.sort(key=itemgetter(0))
    return found


def _listed(role, batch, events, roles, which):  # type: ignore[no-untyped-def]
    columns = [events.fields[name][which].tolist() for name in roles.values()]
    # What does not apply is as if the kind did not have it.
    said = [
        {role: value for role, value in zip(roles, values, strict=True) if value is not None}
        for values in zip(*columns, strict=True)
    ]
    order = events.order[which].tolist()
    return zip(
        order, [role] * len(order), events.at_us[which].tolist(), batch.offset(events.order[which]).tolist(),
        said or [{} for _ in order], strict=True,
    )  # fmt: skip
