"""Roles that the logs speak against, and those that were corrected since."""

from dataclasses import asdict

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared
from analysis.game_kind import REMEDY, read_kind, words_behind
from analysis.reader import Reader
from analysis.selection import Selection

ROLES = Declared(
    "trust.roles",
    "trust",
    "Roles that contradict the logs",
    "count",
    {
        "roles": (
            Column("what", "", "tunable or kind (of events)"),
            Column("name", "", "its name in the game"),
            Column("role", "", "the role that contradicts the logs"),
            Column("why", "", "what of the logs speaks against it"),
        ),
        "corrected": (
            Column("what", "", "kind, field or tunable"),
            Column("name", "", "its name in the game"),
            Column("role", "", "the role it was given since; empty: none"),
        ),
        "behind": (Column("log", "", "a log whose runs were built with the roles before"),),
    },
)


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """One finding where a role contradicts what the logs hold or was corrected, else none."""
    odd = read_kind(reader, selection).contradictions
    corrected = reader.ask("roles_corrected", game=selection.game).frame
    behind = [str(name) for name in reader.ask("roles_behind", game=selection.game)["name"]]
    warnings = [f"The role `{one.role}` of the {one.what} `{one.name}` is not followed." for one in odd]
    said = []
    if odd:
        told = "; ".join(map(str, odd))
        said.append(f"{told[0].upper()}{told[1:]}. A role that contradicts the logs is not followed. {REMEDY}")
    if len(corrected):
        those = ", ".join(
            f"{one.what} `{one.name}` {'has no role' if one.role is None else f'is `{one.role}`'}"
            for one in corrected.itertuples()
        )
        said.append(f"Corrected since: {those}.")
    if behind:
        warnings.append(words_behind(behind))
        said.append(warnings[-1])
    if not said:
        return []
    tables = {"roles": [asdict(one) for one in odd], "corrected": corrected, "behind": {"log": behind}}
    title = ROLES.title if odd else "Roles that were corrected"
    return [ROLES.finding(basis, " ".join(said), tables=tables, title=title, warnings=tuple(warnings))]
