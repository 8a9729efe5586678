"""Sheets as files: HTML, and PDF where the machine has a Chromium-family browser."""

from collections.abc import Mapping
from pathlib import Path

from markupsafe import Markup

from dashboard.report.browser import BrowserTrouble, find_browser, print_pdf


def write_sheets(
    sheets: Mapping[str, Markup], folder: Path, browser: str | None = None
) -> tuple[list[Path], list[str]]:
    """The files written, and remarks on what could not be. sheets: a file's name without its ending -> its HTML.

    Makes the folder where it is missing. Raises OSError where it cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    found, files, remarks = find_browser(browser), [], []
    for name, sheet in sheets.items():
        html, pdf = folder / f"{name}.html", folder / f"{name}.pdf"
        html.write_text(sheet, encoding="utf-8")
        files.append(html)
        pdf.unlink(missing_ok=True)
        if found is None:
            continue
        try:
            print_pdf(found, html, pdf)
            files.append(pdf)
        except BrowserTrouble as trouble:
            remarks.append(f"{pdf} could not be made: {trouble}")
    if found is None:
        remarks.append(
            "No Chromium-family browser was found, so there is no PDF: open the HTML in any browser and print it."
        )
    return files, remarks
