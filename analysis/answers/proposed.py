"""What to change so that targets are met, with the doubt that remains."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from analysis.answers.answer import Answer, head, methods_used
from analysis.arguments import Wishes
from analysis.words import amount, counted, points

if TYPE_CHECKING:
    import pandas as pd

    from analysis.tuning.whatif import Sensitivity
    from analysis.tuning_answers.tuning_answer import TuningAnswer


@dataclass(frozen=True, repr=False)
class Proposed(Answer):
    """Ranked proposals for the targets `wishes`.

    answer: all that the tuning found; its models too. sensitivity: the first proposal under other assumptions; None
    where that was not asked for. seen: side effect -> what was counted of it in first runs. missing: why nothing is
    proposed, a line a target.
    """

    study: str
    wishes: Wishes
    answer: "TuningAnswer"
    sensitivity: tuple["Sensitivity", ...] | None = None
    seen: Mapping[str, float | None] = field(default_factory=dict)

    @property
    def game(self) -> str:
        return self.answer.game

    @property
    def missing(self) -> str:  # type: ignore[override]
        reasons = () if self.answer.proposals else self.answer.unanswered.items()
        return "\n".join(f"{name}: {reason}" for name, reason in reasons)

    @property
    def frame(self) -> "pd.DataFrame":
        """One row a proposal and target: rank, id, sentence, target, wanted, now, proposed, low80, high80, unit,
        advice, and the chances to be better and within tolerance; shares from 0 to 1."""
        import pandas as pd

        columns = [
            "rank",
            "id",
            "advice",
            "sentence",
            "target",
            "wanted",
            "now",
            "proposed",
            "low80",
            "high80",
            "unit",
            "chance_better",
            "chance_close",
        ]
        rows = [
            [
                rank,
                p.id,
                str(p.advice),
                p.sentence,
                t.target,
                t.wanted,
                t.now.value,
                t.proposed.value,
                t.proposed.low80,
                t.proposed.high80,
                t.unit,
                p.chance_better,
                p.chance_close,
            ]
            for rank, p in enumerate(self.answer.proposals, 1)
            for t in p.targets
        ]
        return pd.DataFrame(rows, columns=columns)

    def to_json(self) -> dict[str, Any]:
        """The keys of `setscrew propose --json`."""
        from analysis.plain import plain

        answer = self.answer
        whole = head(self.study, answer.fingerprint, answer.game) | {
            "build": answer.build,
            "targets": [asdict(target) for target in self.wishes.targets.targets],
            "proposals": [{"rank": n, **asdict(p)} for n, p in enumerate(answer.proposals, 1)],
            "unanswered": answer.unanswered,
            "warnings": list(answer.warnings),
            "methods": methods_used(p.method for p in answer.proposals),
        }
        if self.sensitivity is not None:
            whole["sensitivity"] = [asdict(row) for row in self.sensitivity]
        return plain(whole)

    def text(self) -> str:
        """What `setscrew propose` prints."""
        from analysis.answers.proposed_words import told

        return "\n".join(told(self.answer, self.study, self.seen)) if self.answer.proposals else self.full_text()

    def full_text(self) -> str:
        """What `setscrew propose --all` prints."""
        answer = self.to_json()
        lines = [f"{answer['game']}, build {answer['build']}\n"]
        for proposal in answer["proposals"]:
            lines += _proposal(proposal)
        lines += [f"! {warning}" for warning in answer["warnings"]]
        lines += [f"{name}: {reason}" for name, reason in answer["unanswered"].items()]
        if self.sensitivity is not None:
            lines += _otherwise(answer)
        return "\n".join([*lines, f"\nData fingerprint {answer['fingerprint']}"])


def _proposal(proposal: Mapping[str, Any]) -> list[str]:
    lines = [f"{proposal['rank']}. {proposal['sentence']}"]
    for change in proposal["changes"]:
        unit = "" if change["unit"] in ("", "-") else f" {change['unit']}"
        carried = proposal["carried_by"].get(change["tunable"], "")
        lines.append(f"    {change['tunable']}: {change['now']} -> {change['proposed']}{unit}   [{carried}]")
    lines.append(
        f"    better than no change: {proposal['chance_better']:.2f}; within tolerance: "
        f"{proposal['chance_close']:.2f}; effective draws: {amount(round(proposal['effective_draws']))}"
    )
    if proposal["changes"]:
        lines.append(f"    for `setscrew header`: --proposal {proposal['id']}")
    for way in proposal["ways"]:
        turned = "; ".join(f"{c['tunable']} {c['now']} -> {c['proposed']}" for c in way["changes"])
        miss, miss_now = (points(way[which], signed=False) for which in ("miss", "miss_now"))
        lines.append(
            f"    with {counted(len(way['knobs']), 'knob')}: {turned}: expected miss {miss} (no change {miss_now})"
        )
    for one in proposal["audiences"]:
        said = "; ".join(
            f"{t['target']}: {amount(now, t['unit'])} -> {amount(then, t['unit'])}"
            for t, now, then in zip(proposal["targets"], one["now"], one["proposed"], strict=True)
        )
        turns = ", and no change would be nearer" if one["turns"] else ""
        lines.append(f"    {one['audience']}: {said}{turns}")
    if proposal["settles_it"]:
        lines.append(f"    would settle it: {proposal['settles_it']}")
    return lines + [f"    ! {warning}" for warning in (proposal["warnings"] if proposal["rank"] == 1 else ())]


def _otherwise(answer: Mapping[str, Any]) -> list[str]:
    units = {target["name"]: target["unit"] for target in answer["targets"]}
    lines = ["\nThe first proposal, had something else been assumed (now -> then, 80 % interval):"]
    for row in answer["sensitivity"]:
        unit, then = units[row["target"]], row["then"]
        span = f"{amount(then['low80'], unit)} to {amount(then['high80'], unit)}"
        said = f"{amount(row['now']['value'], unit)} -> {amount(then['value'], unit)} ({span})"
        lines.append(f"    {row['assumption']}: {row['target']}: {said}")
    return lines
