"""A small memory of what was read or made last."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from typing import Generic, TypeVar

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")


class Recent(Generic[Key, Value]):
    """The newest values by key, at most ``most`` of them; safe from several threads.

    Only what can never become untrue belongs in here: nothing in it is ever called back.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._values: OrderedDict[Key, Value] = OrderedDict()

    def get(self, key: Key) -> Value | None:
        """The value of that key, or None where it is not remembered."""
        with self._lock:
            if key in self._values:
                self._values.move_to_end(key)
            return self._values.get(key)

    def put(self, key: Key, value: Value) -> Value:
        """Remember a value."""
        with self._lock:
            self._values[key] = value
            self._values.move_to_end(key)
            while len(self._values) > self._most:
                self._values.popitem(last=False)
        return value
