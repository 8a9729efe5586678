"""Two builds compared by each target, and what had been predicted against what came, in words."""

from analysis.finding import Finding
from analysis.findings.declared import Column, Declared, Size
from analysis.findings.progress.comparison import Compared, Comparison
from analysis.findings.progress.player_values import quantile_of
from analysis.findings.progress.verdict import Verdict
from analysis.models.targets import Statistic, Target, describe
from analysis.stats.estimate import INNER
from analysis.tuning.scoring import Difference, players_for_quantile
from analysis.words import amount, capital, counted, difference, interval_name

# So few predictions say little of how good predictions are. Common sense, no source.
_FEW_PREDICTIONS = 4

UNORDERED = Declared(
    "progress.unordered",
    "progress",
    "Which came first?",
    "count",
    {"builds": (Column("build", "", "a build of which it is not known whether it was played last"),)},
    (Column("game", "", "title of the game"),),
)
TARGET = Declared(
    "progress.target",
    "progress",
    "A target on two builds",
    "progress.compared",
    {
        "builds": (
            Column("build", "", "label of the build, the earlier one first"),
            Column("figure", "in the target's unit", "over its players, by the target's statistic"),
            Column("players", "", "players the figure is of"),
        ),
        "players": (
            Column("player", "", "tag of a player who is known on both builds"),
            Column(
                "before", "in the target's unit", "what they did on the earlier build; 0 or 1 where runs are counted"
            ),
            Column("after", "in the target's unit", "the same on the later build"),
        ),
    },
    (
        Column("target", "", "name of the target"),
        Column("changed", "", "the declared values that differ between the builds"),
        Column(
            "how",
            "",
            "players (different people, shares), means, quantiles, within (the same people) or orders (the same "
            "people, some of whom began with the later build)",
        ),
        Column("verdict", "", "what became of it, in a word or two"),
        Column("closer", "", "whether the later build is closer to what was wanted; none where nobody can tell"),
        Column("unit", "", "of the figures and of their difference, which is the estimate"),
    ),
    told_apart_by="target",
)
PREDICTIONS = Declared(
    "progress.predictions",
    "progress",
    "What had been predicted, and what came",
    "progress.compared",
    {
        "predictions": (
            Column("kept", "", "when it was kept"),
            Column("proposal", "", "the proposal, by the values it changes"),
            Column("target", "", "name of the target"),
            Column("predicted", "in the target's unit", "the middle of the prediction"),
            Column("expected_low", "in the target's unit", "lower limit of what so many players were to show"),
            Column("expected_high", "in the target's unit", "upper limit of it"),
            Column("came", "in the target's unit", "what the playtest showed"),
            Column("unit", "", "the target's unit; share: from 0 to 1"),
            Column("inside", "", "whether it came out within the limits"),
        )
    },
)


def unordered(game: str, why: str, builds: tuple[str, ...]) -> Finding:
    """That there is no before and after as long as nobody says which build was played first."""
    sentence = f"{capital(why)}. Until somebody says so, nothing is called before or after."
    return UNORDERED.finding(Size(0, 0), sentence, tables={"builds": {"build": builds}}, facts={"game": game})


def find(comparison: Comparison) -> list[Finding]:
    """A finding a target, and one on the predictions if there were some."""
    found = [_compared(one, comparison) for one in comparison.compared]
    return [*found, _scored(comparison)] if comparison.scores else found


def _compared(c: Compared, comparison: Comparison) -> Finding:
    d = c.difference
    warnings = (
        ()
        if d.how in ("within", "orders")
        else ("different people played the two builds: chance, time and place differ too, not only the game",)
    )
    table = {
        "build": [c.before, c.after],
        "figure": [d.before, d.after],
        "players": [d.players_before, d.players_after],
    }
    columns = [list(column) for column in zip(*c.on_both, strict=True)] or [[], [], []]
    changed = ", ".join(f"{name} {a} -> {b}" for name, a, b, _ in comparison.changes) or "no declared value"
    return TARGET.finding(
        Size(d.players, d.runs, warnings),
        _sentence(c),
        d,
        {"builds": table, "players": dict(zip(("player", "before", "after"), columns, strict=True))},
        {"target": c.target.name, "changed": changed, "how": d.how, "verdict": str(c.verdict)}
        | {"closer": c.closer, "unit": d.unit},
        title=f"{c.target.name}: {c.before} against {c.after}",
    )


def _sentence(c: Compared) -> str:
    d, mean = c.difference, c.mean
    if d.before is None or d.after is None:
        return f"{c.target.name}: one of the builds {c.before} and {c.after} was played by nobody it speaks of."
    unfair = c.verdict in (Verdict.PRACTICE, Verdict.UNTAGGED)
    apart = _points(d, unfair) if d.low is not None else why_no_interval(c)
    said = (
        f"{c.target.name}{of_players(c.target)}: {amount(d.before, d.unit)} on {c.before}, "
        f"{amount(d.after, d.unit)} on {c.after}; {apart}."
    )
    if mean is None or mean.before is None or mean.after is None:
        return said
    apart = f", {_points(mean, unfair)}" if mean.low is not None else "; no interval either"
    return (
        f"{said} Beside it, the mean of the players' values: {amount(mean.before, d.unit)} and "
        f"{amount(mean.after, d.unit)}{apart}."
    )


def of_players(target: Target) -> str:
    """What of the players' values is compared, where the target's name does not say it."""
    if target.statistic == Statistic.SHARE or target.name == describe(target):
        return ""
    quantile = quantile_of(target)
    return ", mean over players" if quantile is None else f", {_named(quantile)} over players"


def _named(quantile: float) -> str:
    return "median" if quantile == 0.5 else f"{amount(100 * quantile)} % quantile"


def why_no_interval(c: Compared) -> str:
    """Why a difference has none, in words."""
    quantile, fewest = quantile_of(c.target), min(c.difference.players_before, c.difference.players_after)
    if quantile is None or fewest >= players_for_quantile(quantile):
        return "too few players for an interval, or all alike"
    on_each = "" if c.difference.how == "within" else " on each build"
    return (
        f"{counted(fewest, 'player')} {'is' if fewest == 1 else 'are'} too few for an interval: that of a "
        f"{_named(quantile)} takes {players_for_quantile(quantile)}{on_each}"
    )


def _points(d: Difference, unfair: bool) -> str:
    assert d.value is not None and d.low is not None and d.high is not None
    sure = "higher" if d.low > 0 else "lower" if d.high < 0 else "the data do not tell which is higher"
    if unfair:
        sure = "practice and the build cannot be told apart"
    value, low, high = (difference(one, d.unit) for one in (d.value, d.low, d.high))
    span = f"{value} ({low} to {high})"
    same = d.how in ("within", "orders")
    of_whom = f" of the {counted(d.players_after, 'player')} who played both" if same else ""
    return f"a difference{of_whom} of {span}: {sure}"


def _scored(comparison: Comparison) -> Finding:
    scores = comparison.scores
    first = scores[0]
    sentence = (
        f"Of {counted(len(scores), 'prediction')} kept for build {comparison.after}, "
        f"{sum(s.inside for s in scores)} came out within their {interval_name(INNER)}; {first.target}: "
        f"{amount(first.said.value, first.unit)} was predicted, {amount(first.observed, first.unit)} came "
        f"({counted(first.players, 'player')})."
    )
    few = ("a few predictions say little about how good predictions are",)
    size = Size(
        max(s.players for s in scores), max(s.runs for s in scores), few if len(scores) <= _FEW_PREDICTIONS else ()
    )
    rows = [
        {
            "kept": s.noted_at,
            "proposal": s.proposal,
            "target": s.target,
            "predicted": s.said.value,
            "expected_low": s.expected_low,
            "expected_high": s.expected_high,
            "came": s.observed,
            "unit": s.unit,
            "inside": s.inside,
        }
        for s in scores
    ]
    return PREDICTIONS.finding(size, sentence, tables={"predictions": rows})
