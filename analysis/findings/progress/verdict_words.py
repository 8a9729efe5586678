"""The answer to "did it help" in plain words, with the reason and the remedy where it cannot be told."""

from analysis.finding import Finding
from analysis.findings.declared import Column, Declared, Size
from analysis.findings.progress.builds_compared import of_players, why_no_interval
from analysis.findings.progress.comparison import Compared, Comparison
from analysis.findings.progress.verdict import OPEN, Verdict
from analysis.words import amount, capital, counted, difference

VERDICT = Declared(
    "progress.verdict",
    "progress",
    "Did it help?",
    "progress.verdict",
    {
        "targets": (
            Column("target", "", "name of the target"),
            Column("verdict", "", "what became of it, in a word or two"),
            Column("before", "in the target's unit", "on the earlier build"),
            Column("expected", "in the target's unit", "what was to be expected of the earlier build, played again"),
            Column("after", "in the target's unit", "on the later build"),
            Column("wanted", "in the target's unit", "what was wanted; nothing is where the study holds no targets"),
            Column("tolerance", "in the target's unit", "how far off it may be and still do"),
            Column("unit", "", "the target's unit; shares are of one"),
        )
    },
    (Column("verdict", "", "on all targets, in a few words"),),
)

_ONLY_FIRST = "Who played both builds counts on the first one only: people do better at the second go on the same game."


def find(comparison: Comparison) -> list[Finding]:
    """The answer, with each target's; none where no target could be compared."""
    if not comparison.compared:
        return []
    compared, (words, kind) = comparison.compared, comparison.verdict
    rows = [
        {
            "target": c.target.name,
            "verdict": str(c.verdict),
            "before": c.difference.before,
            "expected": None if c.expected is None else c.expected.value,
            "after": c.difference.after,
            "wanted": c.target.wanted if comparison.wanted else None,
            "tolerance": c.target.tolerance if comparison.wanted else None,
            "unit": c.difference.unit,
        }
        for c in compared
    ]
    size = Size(
        max(c.difference.players for c in compared), max(c.difference.runs for c in compared), cautions(comparison)
    )
    sentence, facts = verdict_in_words(comparison), {"verdict": words}
    told = {"headline": f"{words}.", "doubtful": kind is Verdict.NOT, "untold": kind in OPEN}
    return [VERDICT.finding(size, sentence, None, {"targets": rows}, facts, **told)]


def verdict_in_words(comparison: Comparison) -> str:
    """Did it help, by which target, and what to do where that cannot be told."""
    words, kind = comparison.verdict
    told = [c for c in comparison.compared if c.verdict == kind] or list(comparison.compared)
    c = told[0]
    said = f"{words}. {capital(c.target.name)}{of_players(c.target)}: {_from_to(c)}"
    if comparison.wanted:
        said += f", {amount(c.target.wanted, c.target.unit)} wanted"
    likewise = f" The same holds for {counted(len(told) - 1, 'other target')}." if len(told) > 1 else ""
    return f"{said}.{likewise}{_why_so(c, kind)}"


def _from_to(c: Compared) -> str:
    d = c.difference
    if d.before is None or d.after is None:
        return f"not played on both {c.before} and {c.after} by anybody it speaks of"
    return f"{amount(d.before, d.unit)} on {c.before}, {amount(d.after, d.unit)} on {c.after}"


def _why_so(c: Compared, kind: Verdict) -> str:
    """The reason and the remedy of a verdict that is none, and what was found besides."""
    d = c.difference
    match kind:
        case Verdict.PRACTICE:
            return (
                f" People do better at the second go on the very same game. Let people who never played play "
                f"{c.after}, or let half of all begin with it."
            )
        case Verdict.UNTAGGED:
            return " People who come back do better on the very same game. Tag the runs with their players."
        case Verdict.PICKED if c.expected is not None:
            return (
                f" By {c.expected.by}, {amount(c.expected.value, d.unit)} was to be expected of {c.before} if it was "
                "played again; from there the change is within chance."
            )
        case Verdict.UNSURE if d.low is not None and d.high is not None:
            low, high = (difference(end, d.unit) for end in (d.low, d.high))
            return f" The change may lie anywhere from {low} to {high}: let more people play {c.after}."
        case Verdict.UNSURE:
            return f" {capital(why_no_interval(c))}."
        case Verdict.CHANGED:
            return " Nothing was wanted of it: keep targets, and it is said whether it helped."
    return ""


def cautions(comparison: Comparison) -> tuple[str, ...]:
    """What to be wary of in a comparison, in words."""
    said = []
    if comparison.one_order:
        practised = any(c.verdict == Verdict.PRACTICE for c in comparison.compared)
        said.append(comparison.one_order if practised else _ONLY_FIRST)
    fewer = {c.attempts for c in comparison.compared if c.attempts is not None}
    said += [
        f"Of each player the first {counted(most, 'attempt')} count: on one of the builds most made no more."
        for most in sorted(fewer)
    ]
    gained = (Verdict.HELPED, Verdict.TOO_FAR, Verdict.CHANGED)
    if any(c.verdict in gained and c.expected is None for c in comparison.compared):
        said.append(
            f"If {comparison.before} was changed because it came out low or high, part of the change is chance: "
            "what comes out low comes out higher the next time by itself. A prediction kept before the change shows it."
        )
    return tuple(said)
