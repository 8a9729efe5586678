"""The report as LaTeX: the same sections as the HTML, with labels, references and citations, to be worked on."""

from collections.abc import Iterable, Sequence, Set
from pathlib import Path

from dashboard.report.content import Content
from dashboard.report.document import title_of
from dashboard.report.document_blocks import (
    Article,
    Block,
    Bullets,
    Cite,
    Figure,
    Heading,
    Piece,
    Ref,
    Say,
    Section,
    Sources,
    Table,
    Tone,
    Verbatim,
    numbered,
)
from dashboard.report.exports import as_latex, latex
from dashboard.report.places_to_write import GAPS

_HEAD = r"""% Compile with: pdflatex report; bibtex report; pdflatex report; pdflatex report
% It needs LaTeX with its recommended packages and fonts
% (Debian: apt install texlive-latex-recommended texlive-fonts-recommended).
\documentclass[11pt,a4paper]{article}
\usepackage[T1]{fontenc}
\usepackage[utf8]{inputenc}
\usepackage{mathpazo,courier}
\usepackage{textcomp}
\usepackage[margin=22mm]{geometry}
\usepackage{graphicx,array,longtable}
\usepackage[font=small,labelfont=bf]{caption}
\usepackage[hidelinks]{hyperref}
\captionsetup{hypcap=false}
\setlength{\parindent}{0pt}
\setlength{\parskip}{4pt plus 1pt}
\setlength{\emergencystretch}{4em}
"""
# Share of the line that a figure takes: over the whole page, or one of the appendix.
_LARGE, _SMALL = 1.0, 0.6
_LEVELS = {2: "section", 3: "subsection"}


def write_latex(content: Content, sections: Sequence[Section], drawn: Set[str], folder: Path) -> Path:
    """Writes report.tex beside the figures and sources.bib. `drawn`: names of the figures that are there as files."""
    path = folder / "report.tex"
    path.write_text(as_document(content, sections, drawn), encoding="utf-8")
    return path


def as_document(content: Content, sections: Sequence[Section], drawn: Set[str]) -> str:
    """The whole LaTeX document."""
    return _Writer(sections, drawn).document(content, sections)


class _Writer:
    def __init__(self, sections: Sequence[Section], drawn: Set[str]):
        self.names = numbered(sections)
        self.drawn = drawn

    def document(self, content: Content, sections: Sequence[Section]) -> str:
        authors = content.about.authors or GAPS["authors"]
        made = f"{content.made_at}, data fingerprint {content.fingerprint}, Setscrew {content.setscrew}"
        lines = [
            _HEAD + rf"\title{{{latex(title_of(content))}}}",
            rf"\author{{{latex(authors)}}}",
            rf"\date{{{latex(made)}}}",
            r"\begin{document}",
            r"\maketitle",
        ]
        for section in sections:
            if section.apart:
                lines += [r"\clearpage", r"\appendix"]
            star = "*" if section.leads else ""
            lines.append(rf"\{_LEVELS[section.level]}{star}{{{latex(section.heading)}}}")
            lines += self.blocks(section.blocks, _LARGE)
        return "\n".join([*lines, r"\end{document}"]) + "\n"

    def blocks(self, blocks: Iterable[Block], width: float) -> list[str]:
        return [line for block in blocks for line in self.block(block, width)]

    def block(self, block: Block, width: float) -> list[str]:
        match block:
            case Say():
                return [self.paragraph(block), ""]
            case Heading():
                return [rf"\subsection*{{{latex(block.text)}}}"]
            case Bullets():
                items = [rf"\item {self.text(item)}" for item in block.items]
                return [r"\begin{itemize}", *items, r"\end{itemize}"] if items else []
            case Verbatim():
                lines = [latex(line) or "~" for line in block.text.splitlines()]
                return [r"{\small\ttfamily\raggedright", *(rf"{line}\par" for line in lines), "}"]
            case Figure():
                return self.figure(block, width)
            case Table():
                return [as_latex(block.columns, block.caption, f"tab:{block.label}", block.most)]
            case Article():
                return self.blocks(block.blocks, _LARGE if block.wide else _SMALL)
            case Sources():
                # BibTeX lists all that are cited, those of the appendix too.
                return [] if block.further else [r"\bibliographystyle{unsrt}", r"\bibliography{sources}"]

    def paragraph(self, block: Say) -> str:
        words = "".join(self.piece(piece) for piece in block.pieces)
        lead = rf"\textbf{{{latex(block.lead)}}} " if block.lead else ""
        if block.tone in (Tone.GAP, Tone.WARNING):
            return rf"{lead}\emph{{{words}}}"
        return rf"{lead}{{\small {words}}}" if block.tone == Tone.ASIDE else lead + words

    def piece(self, piece: Piece) -> str:
        match piece:
            case Cite():
                return rf"\cite{{{piece.key}}}"
            case Ref():
                return self.reference(piece.label)
            case _:
                return self.text(piece)

    def reference(self, label: str) -> str:
        if self.names[label].startswith("Table"):
            return rf"Table~\ref{{tab:{label}}}"
        return rf"Figure~\ref{{fig:{label}}}" if label in self.drawn else "the figure in report.html"

    @staticmethod
    def text(text: str) -> str:
        """What stands between backticks is code, as in the HTML."""
        return "".join(
            rf"\texttt{{{latex(piece)}}}" if i % 2 else latex(piece) for i, piece in enumerate(text.split("`"))
        )

    def figure(self, figure: Figure, width: float) -> list[str]:
        if figure.name not in self.drawn:
            return []
        return [
            r"\begin{center}\begin{minipage}{\linewidth}\centering",
            rf"\includegraphics[width={width}\linewidth,height=.5\textheight,keepaspectratio]{{figures/{figure.name}.png}}",
            rf"\captionof{{figure}}{{{latex(figure.caption)}}}\label{{fig:{figure.label}}}",
            r"\end{minipage}\end{center}",
        ]
