"""Did it help: the newest build against the one before it, and kept predictions against what came, in words."""

from dataclasses import replace

from analysis.finding import Finding
from analysis.findings.comparison import Compared, Comparison, compare_game
from analysis.findings.player_values import quantile_of
from analysis.models.targets import Statistic, Target, describe
from analysis.played_order import not_known, played_order
from analysis.reader import Reader
from analysis.selection import Selection
from analysis.stats.estimate import Estimate
from analysis.tuning.scoring import Difference, players_for_quantile
from analysis.words import amount, counted, points, signed

METHOD = "progress.compared"
UNORDERED = "progress.unordered"


def find(reader: Reader, selection: Selection) -> list[Finding]:
    """The last two builds compared, and the predictions scored."""
    builds = tuple(selection.builds)
    before = after = None
    if len(builds) == 2:
        order = played_order(reader, selection.game)
        after = order.last_of(builds) if set(builds) <= set(order.builds) else builds[1]
        if after is None:
            return [_unordered(selection, not_known(builds), builds)]
        before = builds[0] if after == builds[1] else builds[1]
    comparison = compare_game(reader, replace(selection, builds=()), None, before, after)
    if comparison.unordered:
        return [_unordered(selection, comparison.why, comparison.unordered)]
    found = [_compared(c, comparison) for c in comparison.compared]
    if comparison.scores:
        found.append(_scored(comparison))
    return found


def _unordered(selection: Selection, why: str, builds: tuple[str, ...]) -> Finding:
    """That there is no before and after as long as nobody says which build was played first."""
    return Finding(
        id=UNORDERED, question="progress", title="Which came first?", players=0, runs=0, method="count",
        sentence=f"{why[:1].upper()}{why[1:]}. Until somebody says so, nothing is called before or after.",
        tables={"builds": {"build": list(builds)}}, facts={"game": selection.game},
    )  # fmt: skip


def _compared(c: Compared, comparison: Comparison) -> Finding:
    d, unit = c.difference, c.target.unit
    changed = ", ".join(f"{name} {a} -> {b}" for name, a, b, _ in comparison.changes) or "no declared value"
    if d.before is None or d.after is None:
        sentence = (
            f"{c.target.name}: one of the builds {c.before} and {c.after} was played by nobody it speaks of."
        )
    else:
        sentence = (
            f"{c.target.name}{of_players(c.target)}: {amount(d.before, unit)} on {c.before}, "
            f"{amount(d.after, unit)} on {c.after}; "
            + (f"{_points(d, unit)}." if d.low is not None else f"{_no_interval(c)}.")
        )
        if c.mean is not None and c.mean.before is not None and c.mean.after is not None:
            sentence += (
                f" Beside it, the mean of the players' values: "
                f"{amount(c.mean.before, unit)} and {amount(c.mean.after, unit)}"
                + (f", {_points(c.mean, unit)}." if c.mean.low is not None else "; no interval either.")
            )
    warnings = []
    if d.how != "within":
        warnings.append(
            "different people played the two builds: chance, time and place differ too, not only the game"
        )
    return Finding(
        id=f"progress.{_slug(c.target.name)}",
        question="progress",
        title=f"{c.target.name}: {c.before} against {c.after}",
        sentence=sentence,
        players=d.players_after if d.how == "within" else d.players_before + d.players_after,
        runs=d.runs,
        method=METHOD,
        estimate=Estimate(d.value, d.low, d.high, unit=unit),
        warnings=tuple(warnings),
        tables={
            "builds": {
                "build": [c.before, c.after],
                "figure": [d.before, d.after],
                "players": [d.players_before, d.players_after],
            }
        },
        facts={"changed": changed, "how": d.how, "closer": c.closer, "unit": unit},
    )


def of_players(target: Target) -> str:
    """What of the players' values is compared, where the target's name does not say it."""
    if target.statistic == Statistic.SHARE or target.name == describe(target):
        return ""
    quantile = quantile_of(target)
    if quantile is None:
        return ", mean over players"
    return ", median over players" if quantile == 0.5 else f", {100 * quantile:g} % quantile over players"


def _no_interval(c: Compared) -> str:
    quantile, fewest = quantile_of(c.target), min(c.difference.players_before, c.difference.players_after)
    if quantile is None or fewest >= players_for_quantile(quantile):
        return "too few players for an interval, or all alike"
    name = "median" if quantile == 0.5 else f"{100 * quantile:g} % quantile"
    on_each = "" if c.difference.how == "within" else " on each build"
    return (
        f"{counted(fewest, 'player')} {'is' if fewest == 1 else 'are'} too few for an interval: that of a {name} takes "
        f"{players_for_quantile(quantile)}{on_each}"
    )


def _points(d: Difference, unit: str) -> str:
    assert d.value is not None and d.low is not None and d.high is not None
    sure = "higher" if d.low > 0 else "lower" if d.high < 0 else "the data do not tell which is higher"
    write = points if unit == "share" else signed
    span = f"{write(d.value)} ({write(d.low)} to {write(d.high)})"
    of_whom = f" of the {counted(d.players_after, 'player')} who played both" if d.how == "within" else ""
    return f"a difference{of_whom} of {span}: {sure}"


def _scored(comparison: Comparison) -> Finding:
    scores = comparison.scores
    inside = sum(s.inside for s in scores)
    first = scores[0]
    sentence = (
        f"Of {counted(len(scores), 'prediction')} kept for build {comparison.after}, {inside} came out within their "
        f"80 % interval; {first.target}: {amount(first.said.value, first.unit)} was predicted, "
        f"{amount(first.observed, first.unit)} came ({counted(first.players, 'player')})."
    )
    return Finding(
        id="progress.predictions",
        question="progress",
        title="What had been predicted, and what came",
        sentence=sentence,
        players=max(s.players for s in scores),
        runs=max(s.runs for s in scores),
        method=METHOD,
        warnings=() if len(scores) > 4 else ("a few predictions say little about how good predictions are",),
        tables={
            "predictions": {
                "kept": [s.noted_at for s in scores],
                "proposal": [s.proposal for s in scores],
                "target": [s.target for s in scores],
                "predicted": [s.said.value for s in scores],
                "expected_low": [s.expected_low for s in scores],
                "expected_high": [s.expected_high for s in scores],
                "came": [s.observed for s in scores],
                "inside": [s.inside for s in scores],
            }
        },
    )


def _slug(name: str) -> str:
    words = "".join(c if c.isascii() and c.isalnum() else " " for c in name.lower()).split()
    return "_".join(words)[:60] or "target"
