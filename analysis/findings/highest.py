"""How a rate that was picked for being the highest compares with the rest."""

from analysis.stats.learning import LogRateRatio
from analysis.words import amount, limits


def against_rest(found: LogRateRatio | None, here: str, elsewhere: str, parts: str) -> str:
    """How the rate compares with the same players' elsewhere, to follow a sentence.

    found: of `part_against_rest`; parts: how many were looked at, in words.
    """
    if found is None:
        return f"; {elsewhere} the same players hardly died or never were, so the two cannot be compared"
    ratio = found.ratio
    interval = limits(ratio) if ratio.low is None else f"{limits(ratio)[:-1]}, corrected for {parts})"
    chance = "" if ratio.low is not None and ratio.low > 1 else ", which may be chance"
    return f"; {here} the same players die {amount(ratio.value)} times as often as {elsewhere} {interval}{chance}"
