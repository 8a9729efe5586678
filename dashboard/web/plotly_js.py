"""plotly.js as the pages and the report use it: the bundle of cartesian figures (see dashboard/vendored/README.md)."""

import gzip
import hashlib
from functools import cache
from pathlib import Path

_FILE = Path(__file__).parent.parent / "vendored" / "plotly-cartesian.min.js.gz"


@cache
def compressed() -> bytes:
    """The script as gzip."""
    return _FILE.read_bytes()


@cache
def script() -> bytes:
    """The script itself, in UTF-8."""
    return gzip.decompress(compressed())


def address() -> str:
    """Where the dashboard serves it; another script has another address, so that browsers may keep it for good."""
    return f"/plotly-{hashlib.sha256(compressed()).hexdigest()[:12]}.js"
