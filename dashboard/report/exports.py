"""A finding's tables as files: CSV for spreadsheets, Markdown and LaTeX for documents, BibTeX of the sources.

Texts may come from a log, so every format is escaped for the program that will open it.
"""

import csv
import io
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from analysis.csv_cells import csv_cell, one_line
from analysis.finding import Finding
from analysis.methods import METHODS, Source
from analysis.plain import plain
from analysis.words import cell, counted

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
    "→": r"$\rightarrow$",
    "×": r"$\times$",
    "·": r"$\cdot$",
    "°": r"\textdegree{}",
    "…": r"\ldots{}",
    "‘": "`",
    "’": "'",
    "“": "``",
    "”": "''",
    "\u00a0": r"\nobreakspace{}",
    '"': r"\textquotedbl{}",
}
# Letters that LaTeX's T1 fonts hold. Source: Knappen, Ferguson et al., the Cork encoding (TUGboat 11:4, 1990).
_T1 = frozenset(
    "ÀÁÂÃÄÅÆÇÈÉÊËÌÍÎÏÐÑÒÓÔÕÖØÙÚÛÜÝÞßàáâãäåæçèéêëìíîïðñòóôõöøùúûüýþÿĂăĄąĆćČčĎďĘęĚěĞğĹĺĽľŁłŃńŇňŐőŒœŔŕŘřŚśŞşŠšŢţŤťŮůŰűŸŹźŻżŽž"
)
# A word longer than this may be broken anywhere, for it may be wider than a column.
_LONGEST_WORD = 10
# In letters: what a column of a table has for its gap, and what it gets at most for its cells.
_GAP, _WIDEST = 4, 28
# Columns up to which a table is set in a size.
_SIZES = ((5, r"\small"), (9, r"\footnotesize"), (14, r"\scriptsize"), (10**6, r"\tiny"))


def rows(table: Mapping[str, Any]) -> Iterator[list[Any]]:
    """The rows of a column table."""
    columns = [plain(column) for _, column in table.items()]
    return (list(row) for row in zip(*columns, strict=True))


def as_csv(table: Mapping[str, Any], header: Iterable[str] = ()) -> str:
    """A table as CSV (RFC 4180), led by comment lines starting with "# "."""
    out = io.StringIO(newline="")
    for line in header:
        out.write(f"# {one_line(line)}\r\n")
    writer = csv.writer(out)
    writer.writerow([csv_cell(name) for name in table])
    writer.writerows([csv_cell(value) for value in row] for row in rows(table))
    return out.getvalue()


def as_markdown(table: Mapping[str, Any]) -> str:
    """A table as a Markdown pipe table."""
    lines = [_markdown_row(table), _markdown_row(["---"] * len(table), escape=False)]
    return "\n".join([*lines, *(_markdown_row(row) for row in rows(table))]) + "\n"


def as_latex(table: Mapping[str, Any], caption: str = "", label: str = "", most: int | None = None) -> str:
    """A table as a LaTeX `longtable` as wide as the text; it needs `array` and `longtable`, two of LaTeX's own tools.

    most: rows written.
    """
    columns = [plain(column) for _, column in table.items()]
    names = [str(name).replace("_", " ") for name in table]
    lines = list(rows(table))[:most]
    numbers = [not any(isinstance(value, str) for value in column) for column in columns]
    shares = _shares(names, lines)
    sides = {True: r"\raggedleft", False: r"\raggedright"}
    shape = "".join(
        rf">{{{sides[number]}\arraybackslash}}p{{\dimexpr {share:.4f}\linewidth-2\tabcolsep\relax}}"
        for number, share in zip(numbers, shares, strict=True)
    )
    size = next(size for most_columns, size in _SIZES if len(names) <= most_columns)
    head = [r"\hline", " & ".join(_latex_cell(name) for name in names) + r" \\", r"\hline"]
    lead = [rf"\caption{{{latex(caption)}}}" + (rf"\label{{{label}}}" if label else "") + r"\\"] if caption else []
    body = [" & ".join(_latex_cell(cell(value)) for value in line) + r" \\" for line in lines]
    begin = [rf"{{{size}\setlength{{\tabcolsep}}{{3pt}}", rf"\begin{{longtable}}{{{shape}}}"]
    top = [*lead, *head, r"\endfirsthead", *head, r"\endhead"]
    return "\n".join([*begin, *top, *body, r"\hline", r"\end{longtable}}"]) + "\n"


def _shares(names: list[str], lines: list[list[Any]]) -> list[float]:
    """The share of the line that each column gets: by its longest cell and the longest word of its head."""
    wide = [
        _GAP + max([len(word) for word in name.split()] + [min(len(cell(line[i])), _WIDEST) for line in lines])
        for i, name in enumerate(names)
    ]
    return [one / sum(wide) for one in wide]


def _latex_cell(text: str) -> str:
    # A paragraph's first word is never broken; the empty space makes it the second.
    return r"\hspace{0pt}" + latex(text)


def latex(text: str) -> str:
    """`text` with everything that LaTeX would take for a command made harmless, letters that its fonts lack written in
    others, and long words breakable.
    """
    return " ".join(_latex_word(word) for word in one_line(text).split(" ")).replace(r" \%", r"~\%")


def _latex_word(word: str) -> str:
    letters = [_letter(letter) for letter in word]
    plain_word = word.strip("().,;:").isalpha()  # which LaTeX hyphenates by itself
    if len(word) <= _LONGEST_WORD or plain_word:
        return "".join(letters)
    return "".join(one + (r"\allowbreak{}" if i % 4 == 3 or word[i] in "_/-." else "") for i, one in enumerate(letters))


def _letter(letter: str) -> str:
    if letter in _LATEX:
        return _LATEX[letter]
    if letter in _T1 or " " <= letter <= "~":
        return letter
    close = unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode()
    return "".join(_LATEX.get(one, one) for one in close) or f"[U+{ord(letter):04X}]"


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


def _markdown_row(cells: Iterable[Any], escape: bool = True) -> str:
    texts = (one_line(cell(value)) for value in cells)
    return "| " + " | ".join(_markdown(text) if escape else text for text in texts) + " |"


def _markdown(text: str) -> str:
    return "".join("\\" + letter if letter in "\\|*_`[]<>#!" else letter for letter in text)
