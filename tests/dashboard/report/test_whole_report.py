"""The report as files, of a demo game with its targets: complete, five to eight pages, and LaTeX compiles it."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from dashboard.cli import main
from dashboard.command_line import exits
from dashboard.report.browser import find_browser
from tests.dashboard.accessible import faults
from tests.needs import need

DEMO = Path(__file__).parents[3] / "demo_logs"
HEADINGS = [
    "The playtest",
    "The evidence",
    "The change, and what is expected of it",
    "Did it help?",
    "Limits",
    "What we did, and what we make of it",
    "Methods and sources",
]
# Points by which a line may stick out without being seen.
_SEEN_PT = 5


@pytest.fixture(scope="module")
def whole(demo_study, tmp_path_factory) -> Path:
    """The folder of a written report."""
    need(find_browser(), "no Chromium-family browser is installed (Debian: apt install chromium)")
    folder = tmp_path_factory.mktemp("report")
    words = [
        "--game",
        "Soot Wardens",
        "--targets",
        str(DEMO / "targets_soot_wardens.toml"),
        "--authors",
        "Team Lantern",
    ]
    assert main(["report", "--study", str(demo_study), "--out", str(folder), *words]) == exits.OK
    return folder


@pytest.mark.browser
def test_the_report_is_whole(whole, demo_study, capsys):
    html = (whole / "report.html").read_text(encoding="utf-8")
    assert re.findall(r"<h2>\d+\. (.*?)</h2>", html) == HEADINGS
    assert "<h2>Summary</h2>" in html and "<h2>A. " in html
    assert "<script" not in html and not re.search(r'(?:src|href)="https?:', html)
    assert "most newcomers see the second chimney" in html and "runs given up" in html
    # Each figure says what it shows, of how many, and has words for those who do not see it.
    figures = re.findall(r"<figure.*?</figure>", html, re.DOTALL)
    assert len(figures) > 15
    for figure in figures:
        assert re.search(r'<img alt="[^"]{20,}"', figure) and "Figure " in figure, figure[-400:]
        assert re.search(r"n: \d+ players?, \d+ runs?", figure) or "counted" in figure, figure[-400:]
    fingerprint = re.search(r"data fingerprint <code>([0-9a-f]{12})</code>", html)
    assert fingerprint is not None
    assert main(["findings", "--study", str(demo_study), "--json", "--question", "deaths"]) == exits.OK
    assert fingerprint[1] in capsys.readouterr().out
    svgs, pngs = list((whole / "figures").glob("*.svg")), list((whole / "figures").glob("*.png"))
    assert len(svgs) == len(pngs) == html.count("data:image/svg+xml") == len(figures)
    assert all(path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n" for path in pngs)
    bib = (whole / "sources.bib").read_text(encoding="utf-8")
    assert bib.count("@") == html.count('<li id="source-') > 3


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1280])
def test_the_report_read_in_a_browser_is_accessible(whole, chromium, width):
    page = chromium.new_page(viewport={"width": width, "height": 800})
    page.goto((whole / "report.html").as_uri())
    assert page.locator("figure img").count() > 15
    assert faults(page) == []
    page.close()


@pytest.mark.browser
def test_the_argument_takes_five_to_eight_pages(whole):
    need(shutil.which("pdftotext"), "pdftotext is not installed (Debian: apt install poppler-utils)")
    text = subprocess.run(
        ["pdftotext", str(whole / "report.pdf"), "-"], capture_output=True, check=True
    ).stdout.decode()
    pages = [" ".join(page.split()) for page in text.split("\f")]
    apart = next(i for i, page in enumerate(pages) if page.startswith("Appendix"))
    assert 5 <= apart <= 8
    assert all(heading in " ".join(pages[:apart]) for heading in HEADINGS) and "Team Lantern" in pages[0]


@pytest.mark.browser
def test_latex_and_bibtex_take_it_without_complaint(whole, tmp_path):
    for program in ("pdflatex", "bibtex"):
        need(
            shutil.which(program),
            f"{program} is not installed (Debian: apt install texlive-latex-recommended texlive-fonts-recommended)",
        )
    shutil.copytree(whole, tmp_path / "report")
    log = compiled(tmp_path / "report", "report", bibtex=True)
    assert "undefined" not in log and "multiply defined" not in log
    assert wide_lines(log) == []
    assert (tmp_path / "report" / "report.pdf").stat().st_size > 100_000


@pytest.mark.browser
def test_every_exported_table_fits_its_line(whole, tmp_path):
    need(
        shutil.which("pdflatex"),
        "pdflatex is not installed (Debian: apt install texlive-latex-recommended texlive-fonts-recommended)",
    )
    tables = [one for one in sorted((whole / "tables").glob("*.tex")) if one.stat().st_size < 20_000]
    assert len(tables) > 30
    head = [r"\documentclass[a4paper]{article}\usepackage[margin=22mm]{geometry}\usepackage[T1]{fontenc}"]
    head.append(r"\usepackage{mathpazo,array,longtable}\begin{document}")
    lines = [*head, *(one.read_text(encoding="utf-8") for one in tables), r"\end{document}"]
    (tmp_path / "tables.tex").write_text("\n".join(lines), encoding="utf-8")
    assert wide_lines(compiled(tmp_path, "tables")) == []


def compiled(folder: Path, name: str, bibtex: bool = False) -> str:
    """The log of the last of the runs that LaTeX takes; BibTeX must not warn."""

    def run(*words: str) -> str:
        done = subprocess.run(words, cwd=folder, capture_output=True, check=False, timeout=240)
        assert done.returncode == 0, done.stdout.decode("utf-8", "replace")[-3000:]
        return done.stdout.decode("utf-8", "replace")

    latex = ("pdflatex", "-interaction=nonstopmode", "-halt-on-error", "-no-shell-escape", name)
    run(*latex)
    if bibtex:
        said = run("bibtex", name)
        assert "arning" not in said and "rror" not in said, said
        run(*latex)
    run(*latex)
    return (folder / f"{name}.log").read_text(encoding="utf-8", errors="replace")


def wide_lines(log: str) -> list[str]:
    """What LaTeX says of lines that stick out by more than can be seen."""
    found = re.findall(r"Overfull \\hbox \(([\d.]+)pt too wide\)[^\n]*", log)
    return [width for width in found if float(width) > _SEEN_PT]
