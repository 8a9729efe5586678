"""Roles that the logs speak against. Called by trust.py.

trust.roles   roles: what (tunable or kind), name, role, why.
"""

from analysis.finding import Finding
from analysis.game_kind import REMEDY, read_kind
from analysis.reader import Reader
from analysis.selection import Selection


def find(reader: Reader, selection: Selection, players: int, runs: int) -> list[Finding]:
    """One finding where a role contradicts what the logs hold, else none. players, runs: of the selection."""
    odd = read_kind(reader, selection).contradictions
    if not odd:
        return []
    told = "; ".join(map(str, odd))
    return [
        Finding(
            id="trust.roles", question="trust", title="Roles that contradict the logs",
            sentence=f"{told[0].upper()}{told[1:]}. A role that contradicts the logs is not followed. {REMEDY}",
            players=players, runs=runs, method="count",
            warnings=tuple(f"The role `{one.role}` of the {one.what} `{one.name}` is not followed." for one in odd),
            tables={"roles": {name: [getattr(one, name) for one in odd] for name in ("what", "name", "role", "why")}},
        )
    ]  # fmt: skip
