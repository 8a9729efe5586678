"""Roles that the logs speak against, and those that were corrected since. Called by trust.py.

trust.roles   roles: what (tunable or kind), name, role, why (of those that contradict the logs).
              corrected: what (kind, field or tunable), name, role (None: no role).
              behind: log (whose runs were built with the roles before).
"""

from analysis.finding import Finding
from analysis.game_kind import REMEDY, read_kind
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.words import counted

_MOST_NAMED = 10


def find(reader: Reader, selection: Selection, players: int, runs: int) -> list[Finding]:
    """One finding where a role contradicts what the logs hold or was corrected, else none. players, runs: of the
    selection."""
    odd = read_kind(reader, selection).contradictions
    corrected = reader.ask("roles_corrected", game=selection.game)
    behind = [str(name) for name in reader.ask("roles_behind", game=selection.game)["name"]]
    said, warnings = (
        [],
        [f"The role `{one.role}` of the {one.what} `{one.name}` is not followed." for one in odd],
    )
    if odd:
        told = "; ".join(map(str, odd))
        said.append(
            f"{told[0].upper()}{told[1:]}. A role that contradicts the logs is not followed. {REMEDY}"
        )
    if corrected["name"].size:
        those = ", ".join(
            f"{what} `{name}` {'has no role' if role is None else f'is `{role}`'}"
            for what, name, role in zip(
                *(corrected[c].tolist() for c in ("what", "name", "role")), strict=True
            )
        )
        said.append(f"Corrected since: {those}.")
    if behind:
        warnings.append(words_behind(behind))
        said.append(warnings[-1])
    if not said:
        return []
    return [
        Finding(
            id="trust.roles", question="trust",
            title="Roles that contradict the logs" if odd else "Roles that were corrected", sentence=" ".join(said),
            players=players, runs=runs, method="count", warnings=tuple(warnings),
            tables={
                "roles": {name: [getattr(one, name) for one in odd] for name in ("what", "name", "role", "why")},
                "corrected": corrected, "behind": {"log": behind},
            },
        )
    ]  # fmt: skip


def words_behind(logs: list[str]) -> str:
    """That runs are still those of the roles before, and how that is mended."""
    named = ", ".join(logs[:_MOST_NAMED]) + (" and others" if len(logs) > _MOST_NAMED else "")
    return (
        f"The runs of {counted(len(logs), 'log')} ({named}) were built before a role was corrected: ingest "
        f"{'it' if len(logs) == 1 else 'them'} again."
    )
