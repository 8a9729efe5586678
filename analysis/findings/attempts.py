"""Players whose attempts may be counted in a wrong order, because nothing tells when they played. Called by trust.py.

trust.attempts   players: player, logs (in which the player played).
"""

from itertools import combinations

from analysis.finding import Finding
from analysis.played_order import PlayedOrder, played_order
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.words import counted

_Played = dict[str, bool]  # by build: whether it is known when


def find(reader: Reader, selection: Selection, players: int, runs: int) -> list[Finding]:
    """One finding where the order of somebody's logs is not known, else none. players, runs: of the selection."""
    rows = reader.ask("attempts_apart", game=selection.game)
    by_player: dict[str, dict[int, _Played]] = {}
    for player, log, build, timed in zip(
        *(rows[name].tolist() for name in ("player", "capture_id", "build", "timed")), strict=True
    ):
        by_player.setdefault(str(player), {}).setdefault(int(log), {})[str(build)] = bool(timed)
    order = played_order(reader, selection.game)
    unsure = {
        player: len(logs)
        for player, logs in by_player.items()
        if any(not _known(order, *pair) for pair in combinations(logs.values(), 2))
    }
    if not unsure:
        return []
    return [
        Finding(
            id="trust.attempts", question="trust", title="Attempts whose order is not known",
            sentence=f"{counted(len(unsure), 'player')} played in several logs, and nothing tells which came first: "
            "their attempts are counted in the order of the builds and of the logs' names. A sidecar has the times; "
            "which build came first can be said on the page of runs.",
            players=players, runs=runs, method="count",
            tables={"players": {"player": list(unsure), "logs": list(unsure.values())}},
        )
    ]  # fmt: skip


def _known(order: PlayedOrder, one: _Played, other: _Played) -> bool:
    """Whether it is known which of two logs a player played in first."""
    if all(one.values()) and all(other.values()):
        return True
    return all(order.known(a, b) for a in one for b in other) or all(
        order.known(b, a) for a in one for b in other
    )
