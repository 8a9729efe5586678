"""A server that is stopped: what was asked is answered, and nothing is written into what others open afterwards."""

import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from typing import Any

import pytest

from dashboard.web.web_server import WebServer

STOPS = 200
REQUESTS = 4  # under way in each
CANARIES = 20  # pipes opened right afterwards
ASKED = b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"


def words(_: Any, start: Callable[..., Any]) -> list[bytes]:
    start("200 OK", [("Content-Length", "5")])
    return [b"hello"]


@contextmanager
def running(application: Callable[..., Any]) -> Iterator[WebServer]:
    server = WebServer(application, "127.0.0.1", 0)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield server
    thread.join(60)
    assert not thread.is_alive()


def asking(server: WebServer) -> socket.socket:
    client = socket.create_connection(("127.0.0.1", server.port), timeout=60)
    client.sendall(ASKED)
    return client


def waitress_threads() -> int:
    return sum(thread.name.startswith("waitress") for thread in threading.enumerate())


def test_no_byte_goes_into_what_was_opened_after_the_server_was_stopped():
    """Hundreds of times under requests, beside canaries: new pipes, which get the numbers that the server had."""
    before, answered = waitress_threads(), 0

    def slow(environ: Any, start: Callable[..., Any]) -> list[bytes]:
        going.release()
        time.sleep(0.004)
        return words(environ, start)

    for _ in range(STOPS):
        going = threading.Semaphore(0)
        with ExitStack() as stack, running(slow) as server:
            clients = [stack.enter_context(closing(asking(server))) for _ in range(REQUESTS)]
            for _ in clients:
                assert going.acquire(timeout=60)
            server.close()
            canaries = [os.pipe() for _ in range(CANARIES)]
            time.sleep(0.006)  # longer than an answer takes
            for reading, writing in canaries:
                os.close(writing)
                written = os.read(reading, 100)
                os.close(reading)
                assert written == b""
            answered += sum(client.recv(1000).endswith(b"hello") for client in clients)
    assert answered == STOPS * REQUESTS
    assert waitress_threads() <= before


def test_a_browser_that_does_not_read_does_not_hold_the_server():
    """The thread that waits for it is cut off and ends; then everything is closed."""
    going = threading.Event()

    def endless(_: Any, start: Callable[..., Any]) -> Iterator[bytes]:
        start("200 OK", [])
        while True:
            yield b"x" * 1_000_000
            going.set()

    before = waitress_threads()
    with running(endless) as server, closing(asking(server)):
        assert going.wait(60)
        server.close(patience_s=0.2)
        assert waitress_threads() <= before
        assert server._map == {}


def test_what_a_thread_may_still_write_to_stays_open():
    going, let_go = threading.Event(), threading.Event()

    def stuck(environ: Any, start: Callable[..., Any]) -> list[bytes]:
        going.set()
        let_go.wait(60)
        return words(environ, start)

    with running(stuck) as server, closing(asking(server)):
        assert going.wait(60)
        server.close(patience_s=0.1)
        triggers = [one.trigger for one in server._listening]
        assert triggers
        for trigger in triggers:
            os.fstat(trigger.trigger)
        with pytest.raises(OSError):  # but nobody is let in
            asking(server)
        let_go.set()
        until = time.monotonic() + 60
        while server._server.task_dispatcher.threads and time.monotonic() < until:
            time.sleep(0.01)
        assert not server._server.task_dispatcher.threads
        server.close()
        assert server._map == {}
