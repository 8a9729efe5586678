"""A Chromium-family browser that the machine already has: draws figures as SVG and PNG, and prints HTML to PDF.

Nothing is downloaded. The browser runs without a window, with a profile of its own that is thrown away, on files only.
Helpers of the browser may outlive it by a moment; Windows deletes no file that they have open, and leaves it behind.
"""

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from base64 import b64decode
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from dashboard.web.templating import render

_ON_PATH = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "microsoft-edge-stable",
    "msedge",
)
_MAC = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
)
_WINDOWS = (
    r"Google\Chrome\Application\chrome.exe",
    r"Microsoft\Edge\Application\msedge.exe",
    r"Chromium\Application\chrome.exe",
)
_PATIENCE_S = 180


class BrowserTrouble(Exception):
    """The browser did not do what it was asked for; the message has its last words."""


@dataclass(frozen=True)
class Drawing:
    """One figure as files."""

    svg: str
    png: bytes


def find_browser(named: str | None = None) -> str | None:
    """The path of a Chromium-family browser: the one named, $SETSCREW_BROWSER, or one that is installed; or None."""
    for choice in (named, os.environ.get("SETSCREW_BROWSER")):
        if choice:
            return shutil.which(choice) or (choice if Path(choice).is_file() else None)
    candidates = [shutil.which(name) for name in _ON_PATH]
    if sys.platform == "darwin":
        candidates += _MAC
    if sys.platform == "win32":
        roots = (os.environ.get(name) for name in ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA"))
        candidates += [str(Path(root) / tail) for root in roots if root for tail in _WINDOWS]
    return next((path for path in candidates if path and Path(path).is_file()), None)


def draw(browser: str, figures: Mapping[str, Mapping[str, Any]], plotly_js: str) -> dict[str, Drawing]:
    """Each plotly figure (as its JSON dict with width and height) as SVG text and PNG at twice its size.

    Raises BrowserTrouble when the browser fails or leaves one out.
    """
    if not figures:
        return {}
    code, data = Markup(_script_safe(plotly_js)), Markup(in_script(figures))
    page = render("report/drawing.html", code=code, figures=data)
    with tempfile.TemporaryDirectory(prefix="setscrew-", ignore_cleanup_errors=True) as folder:
        source = Path(folder) / "figures.html"
        source.write_text(page, encoding="utf-8")
        words = ["--virtual-time-budget=120000", "--dump-dom", source.as_uri()]
        # A busy machine may take seconds a figure.
        out = _run(browser, folder, words, _PATIENCE_S + 5 * len(figures))
    found = re.search(r'<pre id="drawn">(.*?)</pre>', out, re.DOTALL)
    drawn = json.loads(b64decode(found.group(1))) if found and found.group(1) else {}
    missing = [name for name in figures if name not in drawn]
    if missing:
        raise BrowserTrouble(f"{browser} did not draw {', '.join(missing[:3])}.")
    return {name: Drawing(entry["svg"], b64decode(entry["png"])) for name, entry in drawn.items()}


def print_pdf(browser: str, html: Path, pdf: Path) -> None:
    """Prints an HTML file to PDF. Raises BrowserTrouble."""
    with tempfile.TemporaryDirectory(prefix="setscrew-", ignore_cleanup_errors=True) as folder:
        _run(
            browser,
            folder,
            [
                "--no-pdf-header-footer",
                "--virtual-time-budget=20000",
                f"--print-to-pdf={pdf.resolve()}",
                html.resolve().as_uri(),
            ],
        )
    if not pdf.is_file() or pdf.read_bytes()[:5] != b"%PDF-":
        raise BrowserTrouble(f"{browser} wrote no PDF.")


def in_script(value: Any) -> str:
    """JSON that may stand inside a <script>: nothing in it can end the script."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _script_safe(code: str) -> str:
    return code.replace("</script", "<\\/script")


def _run(browser: str, folder: str, words: list[str], patience_s: float = _PATIENCE_S) -> str:
    switches = [
        "--headless",
        "--disable-gpu",
        "--no-first-run",
        "--disable-sync",
        "--disable-quic",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-extensions",
        f"--user-data-dir={Path(folder) / 'profile'}",
    ]
    # The sandbox refuses to run as root, which is what containers run as.
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        switches.append("--no-sandbox")
    try:
        done = subprocess.run([browser, *switches, *words], capture_output=True, timeout=patience_s, check=False)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise BrowserTrouble(f"{browser}: {error}") from error
    if done.returncode != 0:
        words_of_it = done.stderr.decode("utf-8", "replace").strip().splitlines()[-3:]
        raise BrowserTrouble(f"{browser} ended with code {done.returncode}: {' '.join(words_of_it)}")
    return done.stdout.decode("utf-8", "replace")
