"""Serves the dashboard with waitress, and lets everything end tidily."""

import sys
import threading
import webbrowser
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from dashboard.state.dashboard_session import Session
from dashboard.web.app import build_app
from dashboard.web.guard import LARGEST_REQUEST, is_loopback, new_token
from dashboard.web.web_server import WebServer


def serve(
    study: Any,
    recordings: Path,
    host: str,
    port: int,
    open_browser: bool = True,
    pictures: Path | None = None,
    thrown_away: bool = False,
    game: str | None = None,
) -> None:
    """Serves until it is interrupted, then stops recordings and closes the study. Raises OSError for a port in use.

    thrown_away: whoever calls deletes study and recordings afterwards; the live page says so. game: the one on which
    the dashboard opens, else that which was played most.
    """
    session = Session(study, recordings, thrown_away)
    try:
        token = None if is_loopback(host) else new_token()
        app = build_app(session, host, token, pictures)
        server = WebServer(
            app.server, host, port, clear_untrusted_proxy_headers=True, max_request_body_size=LARGEST_REQUEST
        )
        try:
            words = urlencode({name: word for name, word in (("token", token), ("game", game)) if word})
            address = f"http://{_written(host)}:{server.port}/" + (f"?{words}" if words else "")
            print(
                f"Setscrew is at {address}\nStop it with Ctrl+C; recordings end tidily then.",
                file=sys.stderr,
                flush=True,
            )
            if token:
                print(
                    "Anybody with this address can read and change the study. Share it with your team only.",
                    file=sys.stderr,
                )
            session.jobs.start("read ahead", session.read_ahead)
            if open_browser:
                threading.Timer(0.3, webbrowser.open, [address]).start()
            server.run()
        except KeyboardInterrupt:
            pass
        finally:
            server.close()
    finally:
        session.close()


def _written(host: str) -> str:
    if host in ("0.0.0.0", "::"):
        return "127.0.0.1"
    return f"[{host}]" if ":" in host else host
