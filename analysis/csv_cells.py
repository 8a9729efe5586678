"""Cells of a CSV file that spreadsheets cannot take for a formula."""

from typing import Any

# A cell that starts so is run as a formula by spreadsheets; an apostrophe in front makes it a text.
# Source: OWASP, "CSV Injection" (owasp.org/www-community/attacks/CSV_Injection).
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def csv_cell(value: Any) -> Any:
    """What the csv module is handed for a value: texts on one line and never a formula, yes or no, nothing for None."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        text = one_line(value)
        return "'" + text if text.startswith(_FORMULA_STARTS) else text
    return value


def one_line(text: str) -> str:
    """`text` with spaces for what ends a line, and without other control characters."""
    return "".join(" " if letter in "\r\n\t" else letter for letter in str(text) if letter in "\r\n\t" or letter >= " ")
