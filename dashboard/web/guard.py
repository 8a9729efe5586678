"""Who may talk to the dashboard: this machine's own browser; when told otherwise, whoever has the token."""

import hmac
import ipaddress
import secrets
import socket
from urllib.parse import urlsplit

from flask import Flask, Response, abort, redirect, request

COOKIE = "setscrew_token"
# Some minutes of a full-speed serial line in one go; longer logs go through `setscrew ingest`.
LARGEST_REQUEST = 96 * 1024 * 1024
LARGEST_LOG = 64 * 1024 * 1024

_LOCAL = ("127.0.0.1", "localhost", "::1")


def new_token() -> str:
    """A token that nobody guesses."""
    return secrets.token_urlsafe(18)


def is_loopback(host: str) -> bool:
    """Whether binding to `host` can be reached from this machine only."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def protect(server: Flask, host: str, token: str | None, script_hashes: list[str]) -> None:
    """Adds the checks to every request and the headers to every answer.

    A foreign Host header means that another site's name was pointed at this machine (DNS rebinding): refused. A
    foreign Origin means that another site's page sends here: refused.
    """
    server.config["MAX_CONTENT_LENGTH"] = LARGEST_REQUEST
    policy = "; ".join(
        [
            "default-src 'none'",
            "script-src 'self' " + " ".join(script_hashes),
            "style-src 'self' 'unsafe-inline'",  # plotly.js sizes its drawings with style attributes
            "img-src 'self' data: blob:",
            "font-src 'self'",
            "connect-src 'self'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        ]
    )

    @server.before_request
    def check() -> Response | None:
        if not _known(request.host, host, token):
            abort(403, "Setscrew answers to this machine's own address only. Open the address it printed at its start.")
        if (request.content_length or 0) > LARGEST_REQUEST:
            abort(413, "That is more than the page takes at once; use setscrew ingest.")
        origin = request.headers.get("Origin")
        if origin and urlsplit(origin).netloc != request.host:
            abort(403, "Another site's page may not talk to Setscrew.")
        if token is None:
            return None
        offered = request.args.get("token")
        if offered is not None and hmac.compare_digest(offered.encode(), token.encode()):
            answer = redirect(request.path)
            answer.set_cookie(COOKIE, token, httponly=True, samesite="Strict")
            return answer  # type: ignore[return-value]
        if not hmac.compare_digest(request.cookies.get(COOKIE, "").encode(), token.encode()):
            abort(401, "Open the whole address that Setscrew printed at its start, with its token.")
        return None

    @server.after_request
    def label(answer: Response) -> Response:
        answer.headers["Content-Security-Policy"] = policy
        answer.headers["X-Content-Type-Options"] = "nosniff"
        answer.headers["Referrer-Policy"] = "same-origin"
        answer.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        answer.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        return answer


def _known(host_header: str, bound: str, token: str | None) -> bool:
    name = (urlsplit("//" + host_header).hostname or "").lower()
    if name in _LOCAL or name == bound.lower():
        return True
    if token is None:
        return False
    # Bound to the network: the machine's own name, or a bare address, which no rebinding can produce.
    if name == socket.gethostname().lower():
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True
