"""Two builds side by side by the targets, and kept predictions against what came."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from analysis.answers.answer import Answer, head, lines_of, table_text
from analysis.stats.estimate import INNER, LEVEL
from analysis.words import NONE, amount, counted, difference, interval_name

if TYPE_CHECKING:
    import pandas as pd

    from analysis.findings.progress.comparison import Comparison
    from analysis.tuning.scoring import Difference


@dataclass(frozen=True, repr=False)
class BuildsCompared(Answer):
    """Did it help? comparison: all that was compared; missing: why nothing could be, and what to do, or ""."""

    study: str
    fingerprint: str
    game: str
    comparison: "Comparison"

    @property
    def missing(self) -> str:  # type: ignore[override]
        found = self.comparison
        if found.compared or found.scores:
            return ""
        why = found.why or "neither build was played by anybody whom the targets speak of"
        if not found.unordered:
            return f"{self.game}: {why}."
        one, other = found.unordered[:2]
        return (
            f'{self.game}: {why}. Say so, for instance: --before "{one}" --after "{other}" --remember (in a notebook '
            f"before=, after=, remember=True); the study keeps it."
        )

    @property
    def frame(self) -> "pd.DataFrame":
        """One row a target: target, before, after, difference, low, high (by player), unit, wanted, players_before,
        players_after; shares from 0 to 1."""
        import pandas as pd

        columns = [
            "target",
            "before",
            "after",
            "difference",
            "low",
            "high",
            "unit",
            "wanted",
            "players_before",
            "players_after",
        ]
        rows = [
            [
                c.target.name,
                d.before,
                d.after,
                d.value,
                d.low,
                d.high,
                c.target.unit,
                c.target.wanted if self.comparison.wanted else None,
                d.players_before,
                d.players_after,
            ]
            for c in self.comparison.compared
            for d in (c.difference,)
        ]
        return pd.DataFrame(rows, columns=columns)

    def to_json(self) -> dict[str, Any]:
        """The keys of `setscrew compare --json`."""
        from analysis.findings.progress.builds_compared import of_players
        from analysis.findings.progress.verdict_words import cautions, verdict_in_words
        from analysis.plain import plain

        found = self.comparison
        compared = [
            {
                "target": c.target.name,
                "wanted": c.target.wanted if found.wanted else None,
                "unit": c.target.unit,
                "statistic": str(c.target.statistic),
                "quantile": c.target.quantile,
                "of": of_players(c.target),
            }
            | _difference(c.difference)
            | {"mean": _difference(c.mean) if c.mean else None, "closer": c.closer, "verdict": str(c.verdict)}
            | {"expected": asdict(c.expected) if c.expected else None, "attempts": c.attempts}
            for c in found.compared
        ]
        changes = [{"tunable": n, "before": a, "after": b, "unit": u} for n, a, b, u in found.changes]
        return plain(
            head(self.study, self.fingerprint, self.game)
            | {
                "before": found.before,
                "after": found.after,
                "verdict": verdict_in_words(found) if found.compared else None,
                "cautions": list(cautions(found)),
                "changes": changes,
                "compared": compared,
                "predictions": [asdict(s) | {"inside": s.inside} for s in found.scores],
                "why": found.why,
                "unordered": list(found.unordered),
            }
        )

    def text(self) -> str:
        """What `setscrew compare` prints: the verdict, and a table of the targets."""
        if self.missing:
            return self.missing
        answer = self.to_json()
        lines = lines_of(answer["verdict"]) if answer["verdict"] else []
        for caution in answer["cautions"]:
            lines += lines_of(f"Mind: {caution}")
        lines += [f"{answer['game']}: {answer['why'] or answer['before'] + ' -> ' + answer['after']}"]
        if answer["compared"]:
            heading = ["", "wanted", "before", "after", "difference", f"{amount(100 * LEVEL)} % interval"]
            lines += ["", *table_text(heading, [_row(row) for row in answer["compared"]])]
        for score in answer["predictions"]:
            lines += ["", *lines_of(f"{_scored(score)}.")]
        return "\n".join([*lines, "", *lines_of(f"Everything: --all. Data fingerprint {answer['fingerprint']}")])

    def full_text(self) -> str:
        """What `setscrew compare --all` prints."""
        if self.missing:
            return self.missing
        answer = self.to_json()
        lines = [answer["verdict"]] if answer["verdict"] else []
        lines += [f"Mind: {caution}" for caution in answer["cautions"]]
        lines.append(f"{answer['game']}: {answer['why'] or answer['before'] + ' -> ' + answer['after']}")
        lines += [f"    {c['tunable']}: {c['before']} -> {c['after']}" for c in answer["changes"]]
        for row in answer["compared"]:
            lines.append(f"{row['target']}{row['of']}: {_told(row, row['unit'])}")
            if row["mean"]:
                lines.append(f"    mean of the players' values: {_told(row['mean'], row['unit'])}")
        lines += [_scored(score) for score in answer["predictions"]]
        return "\n".join([*lines, f"\nData fingerprint {answer['fingerprint']}"])


def _scored(score: Mapping[str, Any]) -> str:
    """What was predicted and what came. Not what the proposal said of the audience: who plays again is mostly found in
    the same way as those before (`kept_predictions`)."""
    said, came = (_said(value, score["unit"]) for value in (score["said"]["value"], score["observed"]))
    inside = "within" if score["inside"] else "outside"
    return (
        f"Predicted for {score['target']}, with people like those who had played: {said}; came {came}, {inside} the "
        f"{interval_name(INNER)}"
    )


def _difference(found: "Difference") -> dict[str, Any]:
    names = ("before", "after", "low", "high", "level", "players_before", "players_after", "how", "runs")
    return {"difference": found.value} | {name: getattr(found, name) for name in names}


def _row(row: Mapping[str, Any]) -> list[str]:
    """A target's line of the table."""
    unit = row["unit"]
    figures = [_said(row[key], unit) for key in ("before", "after")]
    if row["low"] is None:
        return [row["target"], amount(row["wanted"], unit, NONE), *figures, NONE, "none"]
    value, low, high = (difference(row[key], unit) for key in ("difference", "low", "high"))
    return [row["target"], amount(row["wanted"], unit, NONE), *figures, value, f"{low.partition(' ')[0]} to {high}"]


def _told(row: Mapping[str, Any], unit: str) -> str:
    """Both figures, and their difference where there is an interval."""
    said = f"{_said(row['before'], unit)} -> {_said(row['after'], unit)}; "
    after = counted(row["players_after"], "player")
    both = f"the same {after}" if row["how"] in ("within", "orders") else f"{row['players_before']} and {after}"
    if row["low"] is None:
        return f"{said}no interval: {both} {'is' if both == 'the same 1 player' else 'are'} too few, or all alike"
    value, low, high = (difference(row[key], unit) for key in ("difference", "low", "high"))
    return f"{said}difference {value} ({interval_name(row['level'])} {low} to {high}), {both}"


def _said(value: float | None, unit: str) -> str:
    return "nobody" if value is None else amount(value, unit)
