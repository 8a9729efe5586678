"""Players whose attempts may be counted in a wrong order, because nothing tells when they played."""

from itertools import combinations

import pandas as pd

from analysis.finding import Finding
from analysis.findings.basis import Basis
from analysis.findings.declared import Column, Declared
from analysis.played_order import PlayedOrder, played_order
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.words import counted

ATTEMPTS = Declared(
    "trust.attempts",
    "trust",
    "Attempts whose order is not known",
    "count",
    {"players": (Column("player", "", "tag of the player"), Column("logs", "", "logs the player played in"))},
)


def find(reader: Reader, selection: Selection, basis: Basis) -> list[Finding]:
    """One finding where the order of somebody's logs is not known, else none."""
    played = reader.ask("attempts_apart", game=selection.game).frame
    order = played_order(reader, selection.game)
    unsure = []
    for player, own in played.groupby("player", sort=False):
        logs = [log for _, log in own.groupby("capture_id", sort=False)]
        if any(not _known(order, one, other) for one, other in combinations(logs, 2)):
            unsure.append({"player": player, "logs": len(logs)})
    if not unsure:
        return []
    sentence = (
        f"{counted(len(unsure), 'player')} played in several logs, and nothing tells which came first: their attempts "
        "are counted in the order of the builds and of the logs' names. A sidecar has the times; which build came "
        "first can be said on the page of runs."
    )
    return [ATTEMPTS.finding(basis, sentence, tables={"players": unsure})]


def _known(order: PlayedOrder, one: pd.DataFrame, other: pd.DataFrame) -> bool:
    """Whether it is known which of two logs (their builds, and whether it is known when) a player played in first."""
    if one["timed"].all() and other["timed"].all():
        return True
    return all(order.known(a, b) for a in one["build"] for b in other["build"]) or all(
        order.known(b, a) for a in one["build"] for b in other["build"]
    )
