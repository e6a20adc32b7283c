"""What was worked once from facts that never change, kept in memory for the next reader."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

T = TypeVar("T")


class Remembered(Generic[T]):
    """The latest `most` results by key; the key must name all that a result depends on, so that none grows stale."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._known: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """What is known under the key, made now where nothing is."""
        with self._lock:
            if key in self._known:
                self._known.move_to_end(key)
                return self._known[key]
        made = make()
        with self._lock:
            self._known[key] = made
            while len(self._known) > self._most:
                self._known.popitem(last=False)
        return made
