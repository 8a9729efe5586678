"""Waitress at one address, stopped so that no thread of it outlives what it writes to.

A thread that has answered wakes the loop by writing one byte into the trigger, a pipe. Were the pipe closed before
that, the byte would go into whatever file or port was opened next under the same number.
"""

import socket
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

from waitress import wasyncore
from waitress.server import BaseWSGIServer, create_server

_THREADS = 8
_LOOK_S = 1.0
_DRAIN_LOOK_S = 0.004


def refuse_a_port_in_use(host: str, port: int) -> None:
    """Raises OSError where somebody listens at `port` already.

    Waitress asks for SO_REUSEADDR, by which Windows gives the port of a server that runs to the next one.
    """
    if port:
        for family, kind, protocol, _, address in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM):
            with socket.socket(family, kind, protocol) as trial:
                trial.bind(address)


class WebServer:
    """A WSGI application being served. `run` in one thread; `close` from any, once."""

    def __init__(self, application: Callable[..., Any], host: str, port: int, **more: Any):
        """Listens at once; `more` are waitress's own settings. Raises OSError for a port in use."""
        if sys.platform == "win32":
            refuse_a_port_in_use(host, port)
        self._map: dict[int, Any] = {}
        self._server = create_server(
            application, map=self._map, host=host, port=port, threads=_THREADS, ident="setscrew", **more
        )
        # One for each address that the host's name means.
        self._listening = [one for one in self._map.values() if isinstance(one, BaseWSGIServer)]
        self._stop = threading.Event()
        self._looping = threading.Lock()

    @property
    def port(self) -> int:
        """The port, also where any that is free was asked for."""
        return int(self._listening[0].effective_port)

    def run(self) -> None:
        """Answers until `close` is called from another thread, or an interrupt comes."""
        with self._looping:
            while not self._stop.is_set():
                wasyncore.loop(timeout=_LOOK_S, map=self._map, count=1)

    def close(self, patience_s: float = 5.0) -> None:
        """Takes no more requests, lets those under way be answered, and closes everything.

        A thread that is still at work after `patience_s` is cut off from its browser. As long as one is there, the
        pipes that it may write to stay open: the end of the process closes them.
        """
        for one in self._listening:
            one.accepting = False
        self._stop.set()
        self._listening[0].pull_trigger()
        with self._looping:
            threads = self._server.task_dispatcher.threads
            self._server.task_dispatcher.set_thread_count(0)
            self._until_none(threads, patience_s)
            self._cut_off()
            self._until_none(threads, patience_s)
            if threads:
                for one in self._listening:
                    wasyncore.dispatcher.close(one)  # the port alone
            else:
                wasyncore.close_all(self._map)

    def _until_none(self, threads: set[int], patience_s: float) -> None:
        """Goes on sending what is answered until no thread is left."""
        until = time.monotonic() + patience_s
        while threads and time.monotonic() < until:
            wasyncore.loop(timeout=_DRAIN_LOOK_S, map=self._map, count=1)

    def _cut_off(self) -> None:
        """Lets threads that wait for a browser to read go on, and end."""
        for one in self._listening:
            for channel in list(one.active_channels.values()):
                with channel.outbuf_lock:
                    channel.connected = False
                    channel.outbuf_lock.notify_all()
