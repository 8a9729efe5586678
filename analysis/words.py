"""The one writer of numbers: shares, counts, units and intervals, for sentences, pages, commands and files.

Three significant figures, thousands parted by a comma, no exponent. Imports nothing of the project, so that commands
start at once.
"""

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.stats.estimate import Estimate

NONE = "–"  # an empty cell of a table
_DIGITS = 3
# A unit of up to so many letters is a symbol, which stands behind each number; longer ones are words, said once.
_SYMBOL = 3


def amount(value: Any, unit: str = "", missing: str = "unknown") -> str:
    """`12.3 s`, `1,348`, `62 %`: a number with its unit; of the unit "share" as per cent. missing: for None and NaN."""
    if value is None or not math.isfinite(value):
        return missing
    if unit == "share":
        return percent(value)
    text = _digits(float(value))
    return f"{text} {'%' if unit == 'percent' else unit}".rstrip()


def _digits(value: float) -> str:
    if value == 0 or abs(value) < 1e-12:
        return "0"
    if float(value).is_integer() and abs(value) < 1e15:
        return f"{value:,.0f}"
    decimals = _DIGITS - 1 - math.floor(math.log10(abs(value)))
    text = f"{value:,.{min(max(decimals, 0), 6)}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text if text.strip("-0.") else f"{value:.2g}"


def percent(value: float | None) -> str:
    """A share as whole per cent; near 0 and 100 with one digit more, so that 99.6 % is not called all, nor 99.97 %."""
    if value is None or not math.isfinite(value):
        return "an unknown share"
    value = round(float(value), 9)  # 1e-17 is none
    if 0 < value < 0.0005:
        return "under 0.1 %"
    if 0.9995 <= value < 1:
        return "over 99.9 %"
    if 0 < abs(value) < 0.00995 or 0.99 < value < 1:
        return f"{100 * value:.1f} %"
    return f"{100 * value:.0f} %"


def points(difference: float, signed: bool = True) -> str:
    """`+4 points`: a difference of two shares in percentage points."""
    whole = round(100 * difference) or 0
    text = f"{whole:+d}" if signed else str(abs(whole))
    return f"{text} point{'' if abs(whole) == 1 else 's'}"


def as_often(ratio: float | None) -> str:
    """`3.2 times as often`, `19 % less often`: a ratio of rates as people say it."""
    if ratio is None or not math.isfinite(ratio):
        return "an unknown number of times as often"
    if round(100 * ratio) == 100:
        return "as often"
    if ratio >= 2:
        return f"{amount(ratio if ratio >= 100 else float(f'{ratio:.2g}'))} times as often"
    return f"{abs(100 * (ratio - 1)):.0f} % {'more' if ratio > 1 else 'less'} often"


def signed(value: float, unit: str = "") -> str:
    """`+12 ms`: a number whose sign is part of what is said, to whole units from 10 on."""
    value = round(value) if abs(value) >= 10 else round(value, 1)
    return ("+" if value > 0 else "") + amount(value or 0.0, unit)


def difference(value: float, unit: str) -> str:
    """`+4 points`, `+12`: of shares in points, of all else without the unit, which is said once."""
    return points(value) if unit == "share" else signed(value)


def cell(value: Any) -> str:
    """What stands in a cell of a table: a number, yes or no, a text as it is, a dash for what is missing."""
    value = value.item() if hasattr(value, "item") else value
    if value is None:
        return NONE
    if isinstance(value, bool):
        return "yes" if value else "no"
    return amount(value, missing=NONE) if isinstance(value, (int, float)) else str(value)


def counted(count: int, noun: str, plural: str = "") -> str:
    """`1 run`, `12,000 runs`; `plural` for nouns that take no s."""
    return f"{int(count):,} {noun if count == 1 else plural or noun + 's'}"


def listed(parts: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join(filter(None, [", ".join(parts[:-1]), *parts[-1:]]))


def span(low: float | None, high: float | None, unit: str = "") -> str:
    """`41 to 79 %`: two limits; one of them may be missing."""
    most = "no upper limit" if high is None else amount(high, unit)
    if unit == "share":
        return f"{percent(low or 0.0).removesuffix(' %')} to {percent(1.0 if high is None else high)}"
    return f"{'no lower limit' if low is None else amount(low)} to {most}"


def interval_name(level: float) -> str:
    """`95 % interval`; level: 0.95."""
    return f"{amount(100 * level)} % interval"


def limits(estimate: "Estimate") -> str:
    """The interval in brackets, to stand behind a sentence that says the value; says so where there is none."""
    if estimate.low is None and estimate.high is None:
        return "(no interval: the runs are too few or all of one player)"
    low = 0.0 if estimate.low is None else estimate.low
    return f"({interval_name(estimate.level)} {span(low, estimate.high, estimate.unit)})"


def estimated(estimate: "Estimate | None") -> str:
    """`62 % (95 % interval 41 to 79 %)`, or what can be said of it."""
    if estimate is None:
        return "no single figure"
    if estimate.value is None:
        return "no estimate"
    value = amount(estimate.value, estimate.unit)
    if estimate.low is None:
        return f"{value} (the data allow no interval)"
    said_again = estimate.unit in ("share", "percent") or len(estimate.unit) <= _SYMBOL
    limit = span(estimate.low, estimate.high, estimate.unit if said_again else "")
    return f"{value} ({interval_name(estimate.level)} {limit})"


def capital(text: str) -> str:
    """`text` as a sentence begins; what begins with a name of a file or a number stays as it is."""
    first = text.partition(" ")[0].rstrip(":,;")
    return text[:1].upper() + text[1:] if first.isalpha() else text


def cause_name(labels: Iterable[object], cause: float) -> str:
    """What a cause of death is called: the first label that was logged for it, or its number."""
    return next((str(text) for text in labels if text is not None), f"cause {cause:.0f}")


def stage_name(stage: float, kind: float) -> str:
    """`stage 2`, `stage 2 boss`."""
    return f"stage {stage:.0f}{' boss' if kind == 1 else ''}"


def with_span(value: float, low: float, high: float, unit: str) -> str:
    """`62 % (41 to 79 %)`: a number with limits whose level stands in the table's head."""
    return f"{amount(value, unit)} ({span(low, high, unit)})"
