"""What follows from all logs of a study together: the labels and the order of its builds, the order of its captures.

Worked out anew after every change, so that it is the same in whatever order the logs came.
"""

from collections.abc import Iterator, Sequence
from itertools import count

import duckdb

from ingest.said.build_order import Played, order_of
from ingest.study.better_copy import choose_copies

# The first run of each build in each log.
_FIRST_RUNS = """
    SELECT b.game, b.build_key, c.sha256, min(r.number), epoch_us(min(r.began_at))
    FROM all_runs r JOIN builds b USING (build_id) JOIN captures c USING (capture_id) ANTI JOIN set_aside USING (run_id)
    GROUP BY ALL ORDER BY ALL"""
# Where nothing is known, builds are in the order of their firmware and their values.
_BUILDS = """
    SELECT b.game, b.build_key, b.firmware, list(t.value ORDER BY t.number)
    FROM builds b LEFT JOIN tunables t USING (build_id) GROUP BY ALL ORDER BY b.game, b.firmware, 4 NULLS FIRST, 2"""
_SAID = "SELECT game, earlier, later FROM build_order ORDER BY noted_at DESC"


def settle(cursor: duckdb.DuckDBPyConnection) -> None:
    """Sets copies aside, gives builds their labels and places and captures their places.

    Within a transaction that the caller began.
    """
    q = cursor.execute
    choose_copies(cursor)
    firmware: dict[str, dict[str, str]] = {}
    for game, key, version, _ in q(_BUILDS).fetchall():
        firmware.setdefault(game, {})[key] = version
    played: dict[str, list[Played]] = {}
    for game, key, log, number, at in q(_FIRST_RUNS).fetchall():
        played.setdefault(game, []).append(Played(key, log, number, at))
    said: dict[str, list[tuple[str, str]]] = {}
    for game, earlier, later in q(_SAID).fetchall():
        said.setdefault(game, []).append((earlier, later))
    wanted: dict[str, tuple[str, int]] = {}
    for game, of_game in firmware.items():
        runs = played.get(game, [])
        # What people say moves a build, but gives no build the label of another: they said it by these labels.
        labels = _labelled(order_of(list(of_game), runs, [], last=False).builds, of_game)
        order = order_of(list(of_game), runs, said.get(game, []), last=False).builds
        wanted |= {key: (labels[key], place) for place, key in enumerate(order, 1)}
    had = {key: (label, place) for key, label, place in q("SELECT build_key, label, place FROM builds").fetchall()}
    changed = [(key, *wanted[key]) for key in wanted if had[key] != wanted[key]]
    if changed:
        keys, labels_, places = (list(column) for column in zip(*changed, strict=True))
        q(
            "UPDATE builds SET label = new.label, place = new.place FROM "
            "(SELECT unnest($keys) AS build_key, unnest($labels) AS label, unnest($places) AS place) new "
            "WHERE builds.build_key = new.build_key",
            {"keys": keys, "labels": labels_, "places": places},
        )
    _place_captures(cursor)


def _labelled(order: Sequence[str], firmware: dict[str, str]) -> dict[str, str]:
    """The label of each build: its firmware, and a letter where an earlier build has that label already."""
    given: dict[str, str] = {}
    taken: set[str] = set()
    free: dict[str, Iterator[str]] = {}
    for key in order:
        of_firmware = free.setdefault(firmware[key], _labels(firmware[key]))
        given[key] = next(text for text in of_firmware if text not in taken)
        taken.add(given[key])
    return given


def _labels(firmware: str) -> Iterator[str]:
    yield firmware
    for number in count(1):
        letters, rest = "", number
        while rest >= 0:
            letters = chr(ord("a") + rest % 26) + letters
            rest = rest // 26 - 1
        yield f"{firmware} {letters}"


def _place_captures(cursor: duckdb.DuckDBPyConnection) -> None:
    """Captures go by the builds played in them, and then by their names: what else would tell is their times, which the
    view of the runs looks at run by run."""
    cursor.execute(
        """UPDATE captures SET place = ordered.place FROM (
               SELECT c.capture_id, row_number() OVER (ORDER BY min(b.place) NULLS LAST, c.name, c.sha256) AS place
               FROM captures c LEFT JOIN all_runs r USING (capture_id) LEFT JOIN builds b USING (build_id)
               GROUP BY c.capture_id, c.name, c.sha256
           ) ordered
           WHERE captures.capture_id = ordered.capture_id AND captures.place IS DISTINCT FROM ordered.place"""
    )
