"""Answers worked out once, and kept until the study changes."""

import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import TypeVar

_KEPT = 256
_Answer = TypeVar("_Answer")


class Memory:
    """The last answers, by what was asked. Safe to use from several threads."""

    def __init__(self) -> None:
        self.version = 1  # grows with every `forget`
        self._answers: OrderedDict[tuple[object, ...], object] = OrderedDict()
        self._lock = threading.Lock()
        self._gates: dict[tuple[object, ...], threading.Lock] = {}

    def forget(self) -> None:
        """Lets go of every answer, also of those that are being worked out."""
        with self._lock:
            self.version += 1
            self._answers.clear()

    def once(self, key: tuple[object, ...], answer: Callable[[], _Answer]) -> _Answer:
        """What `answer` answers; who asks the same while that is worked out waits for it, and asks not again."""
        with self._lock:
            if key in self._answers:
                self._answers.move_to_end(key)
                return self._answers[key]  # type: ignore[return-value]
            gate = self._gates.setdefault(key, threading.Lock())
        with gate:
            with self._lock:
                if key in self._answers:
                    return self._answers[key]  # type: ignore[return-value]
                version = self.version
            found = answer()
            with self._lock:
                self._gates.pop(key, None)
                if version == self.version:
                    self._answers[key] = found
                    if len(self._answers) > _KEPT:
                        self._answers.popitem(last=False)
        return found
