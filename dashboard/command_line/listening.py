"""Serving the dashboard: what `show` and `demo` share."""

import argparse
import re
import sys
from pathlib import Path
from typing import Any

from dashboard.command_line import exits


def port_number(text: str) -> int:
    """A TCP port from 0 (any that is free) to 65535; for argparse, which shows the message."""
    if not re.fullmatch(r"[0-9]{1,5}", text) or int(text) > 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port: give a number from 0 (any that is free) to 65535")
    return int(text)


def serve_at(host: str, port: int, study: Any, recordings: Path, **more: Any) -> int:
    """Serves until it is interrupted; returns the exit code. more: as for `dashboard.web.serving.serve`."""
    from dashboard.web.serving import serve

    try:
        serve(study, recordings, host, port, **more)
    except OSError as error:
        print(f"{host}:{port} cannot be listened at ({error.strerror}); try --port 0.", file=sys.stderr)
        return exits.INPUT
    return exits.OK
