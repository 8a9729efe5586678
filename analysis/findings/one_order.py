"""Whether all who played two builds began with the same one, so that practice cannot be told from the build."""

from analysis.reader import Columns


def one_order(run: Columns, a: str, b: str) -> str:
    """A warning where everybody who played both builds played the same one first.

    run: columns build, player, attempt; a row a run or a part of one.
    """
    build, player, attempt = run["build"].astype(str), run["player"].astype(str), run["attempt"].astype(int)
    first = {}
    for who in set(player[build == a]) & set(player[build == b]):
        mine = player == who
        first[who] = a if attempt[mine & (build == a)].min() < attempt[mine & (build == b)].min() else b
    if len(set(first.values())) != 1 or len(first) < 2:
        return ""
    then = next(iter(first.values()))
    return (
        f"All {len(first)} players who played both {a} and {b} began with {then}: what they learned meanwhile "
        "cannot be told from the difference of the builds. Let half of them begin with the other."
    )
