"""Builds compared on how long a life lasts."""

import itertools
from typing import Any

from analysis.finding import Finding
from analysis.findings.basis import Basis, read_basis
from analysis.findings.declared import Column, Declared, estimate_cells, estimate_columns
from analysis.findings.one_order import one_order
from analysis.played_order import played_order
from analysis.reader import Columns, Reader
from analysis.selection import Selection
from analysis.stats.estimate import LEVEL, Estimate
from analysis.stats.lifetimes.compare import compare_builds
from analysis.words import amount, counted, limits

BUILDS = Declared(
    "survival.builds",
    "survival",
    "Builds compared",
    "builds_by_player",
    {
        "pairs": (
            Column("build_a", "", "one build"),
            Column("build_b", "", "the other"),
            *estimate_columns(
                "difference_s", "s", "mean life on b less on a, up to `horizon_s`; limits corrected for all pairs"
            ),
            Column("mean_a_s", "s", "mean life on a"),
            Column("mean_b_s", "s", "mean life on b"),
            Column("horizon_s", "s", "the longest time that both builds reach"),
            Column("log_rank_p", "", "p of the log-rank test, permuting players, corrected for the number of pairs"),
            Column(
                "difference_p",
                "",
                "p of the difference, of the t that made the interval, corrected for the number of pairs",
            ),
            Column("players_a", "", "players on a"),
            Column("players_b", "", "players on b"),
            Column("players_both", "", "players on both, compared with themselves"),
        )
    },
)


def find(reader: Reader, selection: Selection, life: Columns, basis: Basis) -> list[Finding]:
    """One finding on all pairs of builds; none with a single build. Where no build was chosen, all are compared."""
    if selection.newest:
        every = selection.of_every_build()
        life, basis = reader.ask_chosen("lives", every, by_stage=False), read_basis(reader, every)
    build = life["build"].astype(str)
    names = sorted(set(build.tolist()))
    pairs = list(itertools.combinations(names, 2))[:15]
    if not pairs:
        return []
    duration, died, player = (life["alive_us"] / 1e6, life["ended_by"] == "death", life["player"])
    rows: list[dict[str, Any]] = []
    warnings = list(basis.warnings)
    order = played_order(reader, selection.game, selection.include_team)
    for a, b in pairs:
        chosen = (build == a) | (build == b)
        # Interval and p are corrected alike: with one pair nothing, with three at 98.3 %.
        level = 1 - (1 - LEVEL) / len(pairs)
        result = compare_builds(duration[chosen], died[chosen], player[chosen], build[chosen] == b, level=level)
        apart = result.difference
        row = {
            "build_a": a,
            "build_b": b,
            **estimate_cells("difference_s", apart),
            "mean_a_s": result.mean_a,
            "mean_b_s": result.mean_b,
            "horizon_s": result.horizon,
            "log_rank_p": _corrected(result.log_rank_p, len(pairs)),
            "difference_p": _corrected(result.difference_p, len(pairs)),
            "players_a": result.players_a,
            "players_b": result.players_b,
            "players_both": result.players_both,
        }
        rows.append(row)
        if order.known(a, b) or order.known(b, a):
            warnings += filter(None, [one_order(life, a, b)])
        elif result.players_both:
            who = counted(result.players_both, "player")
            warnings.append(
                f"It is not known which of {a} and {b} came first, so what {who} on both learned meanwhile cannot be "
                "told from the difference of the builds."
            )
    first = rows[0]
    estimate = Estimate(first["difference_s"], first["low"], first["high"], unit="s")
    # In words the difference is counted from the longer one, and so are its limits.
    longer = (estimate.value or 0) >= 0
    low, high = (estimate.low, estimate.high) if longer else (estimate.high, estimate.low)
    told_low, told_high = (None if v is None else v if longer else -v for v in (low, high))
    shown = Estimate(abs(estimate.value or 0.0), told_low, told_high, unit="s")
    p = first["difference_p"]
    told = "too few players to test" if p is None else f"p = {p:.3f}"
    if p is not None and len(pairs) > 1:
        told += f"; interval and p corrected for {len(pairs)} pairs of builds"
    chance = ", which may be chance"
    sentence = (
        f"A life on {first['build_b']} lasts {amount(shown.value, 's')} "
        f"{'longer' if longer else 'less long'} than on {first['build_a']} {limits(shown)}, "
        f"within the first {amount(first['horizon_s'], 's')} ({told}){'' if estimate.excludes(0) else chance}."
    )
    return [BUILDS.finding(basis, sentence, estimate, {"pairs": rows}, warnings=tuple(warnings))]


def _corrected(p: float | None, tests: int) -> float | None:
    """Bonferroni: simple, and there are only few builds."""
    return None if p is None else min(1.0, p * tests)
