"""Roles corrected after the playtest: notes on a game's kinds, fields and tunables, which go before what its logs say.

The logs stay as they are. A correction holds for every log of the game (by its title), also for those that are imported
later. Views and tables of roles follow it at once; what runs are built from follows when the log is read again
(`rereading.py`), and until then its capture is known to be behind.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

import duckdb

from ingest.assembling.structure import built_from
from ingest.study.tables import create_role_views
from ingest.vocabulary import EventRole, FieldRole, TunableRole
from ingest.wire.dictionary import SHIFTS, Dictionary, Field, Kind, Tunable
from ingest.wire.dictionary_text import parse

NONE = "-"


class BadRole(ValueError):
    """A correction that cannot be made; the message says why and lists what there is."""


class What(StrEnum):
    """What a role can be of. A field is named with its kind: `fell.why`."""

    KIND = "kind"
    FIELD = "field"
    TUNABLE = "tunable"


_ROLES: dict[What, type[StrEnum]] = {What.KIND: EventRole, What.FIELD: FieldRole, What.TUNABLE: TunableRole}


@dataclass(frozen=True)
class Correction:
    """That the kind, field or tunable `name` has the role `role`; None: it has none."""

    what: What
    name: str
    role: str | None


@dataclass(frozen=True)
class Listed:
    """A kind, field or tunable of a game, its role as it holds, and as the newest of its logs says."""

    what: What
    name: str
    role: str | None
    logged: str | None


def corrections(cursor: duckdb.DuckDBPyConnection, game: str) -> list[tuple[datetime, Correction]]:
    """The corrections in force for a game, with the moments of their notes, the oldest first."""
    rows = cursor.execute(
        "SELECT max(noted_at), what, name, arg_max(coalesce(role, '-'), noted_at) FROM role_notes WHERE game = ? "
        "GROUP BY what, name ORDER BY 1",
        [game],
    ).fetchall()
    return [(at, Correction(What(what), name, None if role == NONE else role)) for at, what, name, role in rows]


def corrected(dictionary: Dictionary, wanted: Iterable[Correction]) -> Dictionary:
    """The dictionary with these roles. What it does not have is passed over, and so is a role that another field of the
    kind has by then, or another tunable for the same part of the game, or that goes not with another one: no correction
    costs a log.
    """
    roles = {(one.what, one.name): one.role for one in wanted}
    if not roles:
        return dictionary
    kinds = tuple(_kind(kind, roles) for kind in dictionary.kinds)
    return replace(dictionary, kinds=kinds, tunables=_tunables(dictionary.tunables, roles))


def listed(cursor: duckdb.DuckDBPyConnection, game: str) -> list[Listed]:
    """All kinds, fields and tunables of a game, in the order of its newest dictionary; those of older ones follow."""
    wanted = [one for _, one in corrections(cursor, game)]
    found: dict[tuple[What, str], Listed] = {}
    for _, dictionary in reversed(_dictionaries(cursor, game)):
        held = _held(corrected(dictionary, wanted))
        for (what, name), logged in _held(dictionary).items():
            found.setdefault((what, name), Listed(what, name, held[what, name], logged))
    return sorted(found.values(), key=lambda one: one.what == What.TUNABLE)


def games(cursor: duckdb.DuckDBPyConnection) -> list[str]:
    """The titles of all games whose logs are in the study, also of those without a run."""
    return [row[0] for row in cursor.execute("SELECT DISTINCT game FROM dictionaries ORDER BY 1").fetchall()]


def _kind(kind: Kind, roles: dict[tuple[What, str], str | None]) -> Kind:
    own = {
        f.name: roles[What.FIELD, f"{kind.name}.{f.name}"]
        for f in kind.fields
        if (What.FIELD, f"{kind.name}.{f.name}") in roles
    }
    # Those that are corrected give their roles up first, so that two fields can change theirs.
    taken = {f.role for f in kind.fields if f.role is not None and f.name not in own}
    fields: dict[str, Field] = {f.name: f for f in kind.fields}
    for name, word in own.items():
        role = _word(FieldRole, word)
        if role in taken or (role in SHIFTS and taken & SHIFTS):
            role = None if fields[name].role in taken else fields[name].role
        fields[name] = replace(fields[name], role=role)
        taken |= {role} - {None}
    role = _word(EventRole, roles[What.KIND, kind.name]) if (What.KIND, kind.name) in roles else kind.role
    return replace(kind, role=role, fields=tuple(fields.values()))


def _tunables(tunables: tuple[Tunable, ...], roles: dict[tuple[What, str], str | None]) -> tuple[Tunable, ...]:
    own = {t.name for t in tunables if (What.TUNABLE, t.name) in roles}
    # Those that are corrected give their roles up first, so that two can change theirs.
    taken = {(t.role, _scope(t)) for t in tunables if t.name not in own}
    found = []
    for t in tunables:
        if t.name in own:
            wanted = _word(TunableRole, roles[What.TUNABLE, t.name])
            free = (role for role in (wanted, t.role) if role is None or (role, _scope(t)) not in taken)
            t = replace(t, role=next(free, None))
            taken.add((t.role, _scope(t)))
        found.append(t)
    return tuple(found)


def _scope(tunable: Tunable) -> frozenset[tuple[str, int]]:
    """The part of the game that a tunable holds for, in whatever order it is said."""
    return frozenset(tunable.scope.items())


def _word(roles: type[StrEnum], word: str | None):  # type: ignore[no-untyped-def]
    # A study may hold a word of a newer Setscrew.
    return None if word is None or word not in roles.__members__.values() else roles(word)


def _held(dictionary: Dictionary) -> dict[tuple[What, str], str | None]:
    """The role of every kind, field and tunable, in their order."""
    found: dict[tuple[What, str], str | None] = {}
    for kind in dictionary.kinds:
        found[What.KIND, kind.name] = kind.role
        found |= {(What.FIELD, f"{kind.name}.{f.name}"): f.role for f in kind.fields}
    return found | {(What.TUNABLE, t.name): t.role for t in dictionary.tunables}


def _dictionaries(cursor: duckdb.DuckDBPyConnection, game: str) -> list[tuple[int, Dictionary]]:
    rows = cursor.execute(
        "SELECT dictionary_id, dictionary_text FROM dictionaries WHERE game = ? ORDER BY dictionary_id", [game]
    ).fetchall()
    return [(number, parse(text.encode())) for number, text in rows]


def checked(cursor: duckdb.DuckDBPyConnection, game: str, what: str, name: str, role: str | None) -> Correction:
    """The correction, where it can be made in at least one dictionary of the game. Raises BadRole."""
    titles = games(cursor)
    if game not in titles:
        raise BadRole(f"no log of the game {game[:80]!r} is in the study; it holds: {_list(titles)}")
    if what not in What.__members__.values():
        raise BadRole(f"{what[:40]!r} has no role; say one of {', '.join(What)}")
    of = What(what)
    there = [one.name for one in listed(cursor, game) if one.what == of]
    if name not in there:
        how = " (a field is named with its kind: fell.why)" if of == What.FIELD else ""
        raise BadRole(f"{game!r} has no {of} {name[:80]!r}{how}; it has: {_list(there)}")
    word = None if role in (None, NONE) else role
    if word is not None and word not in _ROLES[of].__members__.values():
        raise BadRole(f"a {of} has no role {word[:40]!r}; the roles are: {', '.join(_ROLES[of])}; {NONE} is no role")
    one = Correction(of, name, word)
    wanted = [other for _, other in corrections(cursor, game) if (other.what, other.name) != (of, name)]
    made = [corrected(logged, [*wanted, one]) for _, logged in _dictionaries(cursor, game)]
    if not any(_held(dictionary).get((of, name), "") == word for dictionary in made):
        if of is What.TUNABLE:
            twin = next(t for dictionary in made for t in _twins(dictionary, name, word))
            raise BadRole(
                f"{name!r} cannot have the role {word}: the tunable {twin!r} has it, and holds for the same part of "
                f"the game. Take it from that tunable first: give {twin!r} the role {NONE}"
            )
        raise BadRole(
            f"{name!r} cannot have the role {word}: another field of this kind has it, or has `ago` or `ahead`, "
            f"of which a kind has one. Take it from that field first: give that one {NONE}"
        )
    return one


def _twins(dictionary: Dictionary, name: str, role: str | None) -> list[str]:
    """The other tunables that have a role for the part of the game for which the tunable `name` holds."""
    scopes = {_scope(t) for t in dictionary.tunables if t.name == name}
    return [t.name for t in dictionary.tunables if t.name != name and t.role == role and _scope(t) in scopes]


def _list(names: Sequence[str]) -> str:
    return ", ".join(names) or "nothing"


def follow(cursor: duckdb.DuckDBPyConnection, game: str) -> None:
    """Brings roles and views of a game's dictionaries in line with its notes, within the caller's transaction."""
    q = cursor.execute
    wanted = [one for _, one in corrections(cursor, game)]
    for number, logged in _dictionaries(cursor, game):
        dictionary = corrected(logged, wanted)
        for kind in dictionary.kinds:
            q("UPDATE kinds SET role = ? WHERE dictionary_id = ? AND kind = ?", [kind.role, number, kind.name])
            for f in kind.fields:
                q(
                    "UPDATE fields SET role = ? WHERE dictionary_id = ? AND kind = ? AND field = ?",
                    [f.role, number, kind.name, f.name],
                )
        for t in dictionary.tunables:
            q(
                "UPDATE tunables SET role = ? WHERE tunable = ? AND build_id IN "
                "(SELECT build_id FROM builds WHERE dictionary_id = ?)",
                [t.role, t.name, number],
            )
        q("UPDATE built_roles SET current = (roles = ?) WHERE dictionary_id = ?", [built_from(dictionary), number])
    create_role_views(cursor, EventRole)
