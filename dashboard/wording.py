"""Numbers as people read them: counts, estimates with their interval, cells of tables."""

import math

from analysis.finding import Finding
from analysis.stats.estimate import Estimate
from analysis.tuning.proposal import Prediction

NONE = "–"
_SHORT = 3


def number(value: object, digits: int = 3) -> str:
    """A number to `digits` significant figures without exponent; a dash for what is missing."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return NONE
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return f"{value:,}".replace(",", " ")
    if isinstance(value, float):
        if value == 0:
            return "0"
        decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
        text = f"{value:,.{min(decimals, 6)}f}".replace(",", " ")
        return text.rstrip("0").rstrip(".") if "." in text else text
    return str(value)


def with_unit(value: object, unit: str) -> str:
    """A number with its unit; the unit "share" is shown as per cent."""
    if value is None:
        return NONE
    if unit == "share" and isinstance(value, (int, float)):
        if 1e-9 < value < 0.0005 or 0.9995 <= value < 1 - 1e-9:
            return "under 0.1 %" if value < 0.5 else "over 99.9 %"
        return f"{number(round(100.0 * float(value), 1))} %"
    return f"{number(value)} {'%' if unit == 'percent' else unit}".rstrip()


def with_80(predicted: Prediction, unit: str) -> str:
    """ "62 % (41 % to 79 %)": a prediction with its 80 % interval."""
    low, high = with_unit(predicted.low80, unit), with_unit(predicted.high80, unit)
    return f"{with_unit(predicted.value, unit)} ({low} to {high})"


def interval(estimate: Estimate | None) -> str:
    """ "62 % (95 % interval 41 % to 79 %)", or what can be said of it."""
    if estimate is None:
        return "no single figure"
    value = with_unit(estimate.value, estimate.unit)
    level = f"{number(100 * estimate.level)} % interval"
    if estimate.value is not None and estimate.low is not None and estimate.high is None:
        # A median whose upper limit the curve never comes down to.
        return f"{value} ({level} {with_unit(estimate.low, estimate.unit)} to no upper limit)"
    if estimate.low is None or estimate.high is None:
        return f"{value} (the data allow no interval)" if estimate.value is not None else "no estimate"
    # A unit that is a word is said once.
    unit = estimate.unit if estimate.unit in ("share", "percent") or len(estimate.unit) <= _SHORT else ""
    low, high = with_unit(estimate.low, unit), with_unit(estimate.high, unit)
    return f"{value} ({level} {low} to {high})"


def capital(text: str) -> str:
    """`text` as a sentence begins; what begins with a name of a file or a number stays as it is."""
    first = text.partition(" ")[0].rstrip(":,;")
    return text[:1].upper() + text[1:] if first.isalpha() else text


def counted(count: int, one: str, many: str | None = None) -> str:
    """ "1 run", "12 runs"."""
    return f"{number(int(count))} {one if count == 1 else many or one + 's'}"


def basis(finding: Finding) -> str:
    """What a finding rests on."""
    text = f"{counted(finding.players, 'player')}, {counted(finding.runs, 'run')}"
    return text + (", indicative only" if finding.indicative else "")
