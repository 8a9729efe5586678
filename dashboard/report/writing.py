"""The report as files: HTML, PDF, and everything in it again as figures, tables and sources."""

import json
from base64 import b64encode
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from analysis.finding import Finding
from analysis.words import counted
from dashboard.report import exports
from dashboard.report.argument import sections
from dashboard.report.browser import BrowserTrouble, Drawing, draw, find_browser, in_script, print_pdf
from dashboard.report.content import Content
from dashboard.report.document import document
from dashboard.report.document_blocks import pictured
from dashboard.report.latex import write_latex
from dashboard.report.report_figures import figures as every_figure
from dashboard.report.report_figures import picture_name
from dashboard.web import plotly_js
from dashboard.web.filters import in_words
from dashboard.web.templating import part, render


@dataclass(frozen=True)
class Written:
    """What was written, and what could not be."""

    html: Path
    pdf: Path | None
    files: tuple[Path, ...]
    remarks: tuple[str, ...]


def write_report(content: Content, folder: Path, browser: str | None = None) -> Written:
    """Writes the report into `folder`, which is made when it is missing. Raises OSError where it cannot be written.

    Without a browser the HTML draws its figures itself when it is opened, and there are no PDF and no figure files.
    """
    folder.mkdir(parents=True, exist_ok=True)
    parts = sections(content)
    alts = pictured(parts)
    figures = {name: figure for name, figure in every_figure(content).items() if name in alts}
    remarks: list[str] = []
    drawn: dict[str, Drawing] = {}
    found = find_browser(browser)
    if found is None:
        remarks.append(
            "No Chromium-family browser was found, so there is no PDF and there are no figure files. Open the HTML in "
            "any browser and print it, or name a browser with --browser."
        )
    else:
        try:
            drawn = draw(found, figures, plotly_code())
        except BrowserTrouble as trouble:
            remarks.append(f"The figures could not be written as files: {trouble}")
    html = folder / "report.html"
    pictures, scripts = _pictures(figures, drawn, alts)
    html.write_text(document(content, parts, pictures, scripts), encoding="utf-8")
    files = _write_figures(drawn, folder / "figures") + _write_tables(content, folder / "tables")
    files += [*_write_sources(content, folder), write_latex(content, parts, set(drawn), folder)]
    pdf: Path | None = folder / "report.pdf"
    try:
        if found is None or pdf is None:
            pdf = None
        else:
            pdf.unlink(missing_ok=True)
            print_pdf(found, html, pdf)
    except BrowserTrouble as trouble:
        pdf = None
        remarks.append(f"The PDF could not be made: {trouble}")
    return Written(html, pdf, tuple(files), tuple(remarks))


def plotly_code() -> str:
    """plotly.js as text."""
    return plotly_js.script().decode("utf-8")


def _pictures(
    figures: Mapping[str, Any], drawn: Mapping[str, Drawing], alts: Mapping[str, str]
) -> tuple[dict[str, Markup], Markup]:
    if drawn or not figures:
        return {name: _image(drawing, alts[name]) for name, drawing in drawn.items()}, Markup("")
    code = Markup(plotly_code().replace("</script", "<\\/script"))
    places = {name: part("plot", name, alts[name]) for name in figures}
    return places, render("report/plots.html", code=code, figures=Markup(in_script(figures)))


def _image(drawing: Drawing, alt: str) -> Markup:
    data = b64encode(drawing.svg.encode()).decode()
    return part("picture", f"data:image/svg+xml;base64,{data}", alt)


def _write_figures(drawn: dict[str, Drawing], folder: Path) -> list[Path]:
    if not drawn:
        return []
    folder.mkdir(exist_ok=True)
    files = []
    for name, drawing in drawn.items():
        svg, png = folder / f"{name}.svg", folder / f"{name}.png"
        svg.write_text(drawing.svg, encoding="utf-8")
        png.write_bytes(drawing.png)
        files += [svg, png]
    return files


def _write_tables(content: Content, folder: Path) -> list[Path]:
    folder.mkdir(exist_ok=True)
    files = []
    for g, game in enumerate(content.games):
        for finding in (*game.findings, *(content.side_by_side if g == 0 else ())):
            head = exports.header(finding, in_words(game.selection), content.fingerprint)
            for name, table in finding.tables.items():
                files += _write_table(folder / f"{picture_name(g, finding)}-{name}", finding, table, head)
    return files


def _write_table(stem: Path, finding: Finding, table: Any, head: list[str]) -> list[Path]:
    texts = {
        ".csv": exports.as_csv(table, head),
        ".md": exports.as_markdown(table),
        ".tex": exports.as_latex(
            table, f"{finding.title}. {counted(finding.players, 'player')}, {counted(finding.runs, 'run')}."
        ),
    }
    files = []
    for ending, words in texts.items():
        path = stem.with_name(stem.name + ending)
        path.write_text(words, encoding="utf-8", newline="")
        files.append(path)
    return files


def _write_sources(content: Content, folder: Path) -> list[Path]:
    bib, data = folder / "sources.bib", folder / "findings.json"
    bib.write_text(exports.as_bibtex(content.sources), encoding="utf-8")
    games = [
        {"game": game.selection.game, "findings": [finding.to_json() for finding in game.findings]}
        for game in content.games
    ]
    holds = {"setscrew": content.setscrew, "fingerprint": content.fingerprint, "games": games}
    data.write_text(json.dumps(holds, ensure_ascii=False, allow_nan=False, indent=1), encoding="utf-8")
    return [bib, data]
