"""A finding's tables as files: CSV for spreadsheets, Markdown and LaTeX for documents, BibTeX of the sources.

Texts may come from a log, so every format is escaped for the program that will open it.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from analysis.finding import Finding
from analysis.methods import METHODS, Source
from analysis.plain import plain
from analysis.words import cell, counted

# A cell that starts so is run as a formula by spreadsheets; an apostrophe in front makes it a text.
# Source: OWASP, "CSV Injection" (owasp.org/www-community/attacks/CSV_Injection).
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

_LATEX = {
    "\\": r"\textbackslash{}",
    "{": r"\{",
    "}": r"\}",
    "$": r"\$",
    "&": r"\&",
    "#": r"\#",
    "%": r"\%",
    "_": r"\_",
    "^": r"\textasciicircum{}",
    "~": r"\textasciitilde{}",
    "<": r"\textless{}",
    ">": r"\textgreater{}",
    "–": "--",
    "−": "$-$",
    "±": r"$\pm$",
    "≤": r"$\leq$",
    "≥": r"$\geq$",
    "µ": r"$\mu$",
}


def rows(table: Mapping[str, Any]) -> Iterator[list[Any]]:
    """The rows of a column table."""
    columns = [plain(column) for _, column in table.items()]
    return (list(row) for row in zip(*columns, strict=True))


def as_csv(table: Mapping[str, Any], header: Iterable[str] = ()) -> str:
    """A table as CSV (RFC 4180), led by comment lines starting with "# "."""
    out = io.StringIO(newline="")
    for line in header:
        out.write(f"# {_one_line(line)}\r\n")
    writer = csv.writer(out)
    writer.writerow([_csv_cell(name) for name in table])
    writer.writerows([_csv_cell(cell) for cell in row] for row in rows(table))
    return out.getvalue()


def as_markdown(table: Mapping[str, Any]) -> str:
    """A table as a Markdown pipe table."""
    lines = [_markdown_row(table), _markdown_row(["---"] * len(table), escape=False)]
    return "\n".join([*lines, *(_markdown_row(row) for row in rows(table))]) + "\n"


def as_latex(table: Mapping[str, Any], caption: str = "") -> str:
    """A table as a LaTeX `tabular` that needs no package."""
    columns = [plain(column) for _, column in table.items()]
    shape = "".join("l" if any(isinstance(cell, str) for cell in column) else "r" for column in columns)
    lines = [r"\begin{table}", r"\centering", rf"\begin{{tabular}}{{{shape}}}", r"\hline"]
    lines.append(" & ".join(latex(name) for name in table) + r" \\")
    lines.append(r"\hline")
    lines += [" & ".join(latex(cell(value)) for value in row) + r" \\" for row in rows(table)]
    lines += [r"\hline", r"\end{tabular}"]
    if caption:
        lines.append(rf"\caption{{{latex(caption)}}}")
    return "\n".join([*lines, r"\end{table}"]) + "\n"


def latex(text: str) -> str:
    """`text` with everything that LaTeX would take for a command made harmless."""
    return "".join(_LATEX.get(letter, letter) for letter in _one_line(text))


def sources(methods: Iterable[str]) -> list[Source]:
    """The sources of some methods (keys of METHODS), each once, in order of use."""
    found: dict[str, Source] = {}
    for key in methods:
        method = METHODS.get(key)
        for source in method.sources if method else ():
            found.setdefault(source.key, source)
    return list(found.values())


def as_bibtex(used: Iterable[Source]) -> str:
    """The sources as one BibTeX file."""
    return "\n\n".join(source.bibtex.strip() for source in used) + "\n"


def header(finding: Finding, selection_words: str, fingerprint: str) -> list[str]:
    """What a table's file says of itself: enough to find and judge the number again."""
    return [
        finding.title,
        f"{finding.id}; data fingerprint {fingerprint}",
        selection_words,
        f"{counted(finding.players, 'player')}, {counted(finding.runs, 'run')}; method: {finding.method}",
        finding.sentence,
    ]


def _csv_cell(cell: Any) -> Any:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, str):
        text = _one_line(cell)
        return "'" + text if text.startswith(_FORMULA_STARTS) else text
    return cell


def _markdown_row(cells: Iterable[Any], escape: bool = True) -> str:
    texts = (_one_line(cell(value)) for value in cells)
    return "| " + " | ".join(_markdown(text) if escape else text for text in texts) + " |"


def _markdown(text: str) -> str:
    return "".join("\\" + letter if letter in "\\|*_`[]<>#!" else letter for letter in text)


def _one_line(text: str) -> str:
    return "".join(" " if letter in "\r\n\t" else letter for letter in str(text) if letter in "\r\n\t" or letter >= " ")
