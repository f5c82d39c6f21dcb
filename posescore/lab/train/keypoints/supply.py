"""Minibatches out of larger draws: launching the drawing costs the same for one as for many."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

from posescore.lab.corpus.pictures import Batch


class Supply:
    """Hands out minibatches of one size, each picture once, from draws of several.

    A minibatch is gone when the next draw is made: use it before asking again.
    """

    def __init__(self, draw: Callable[[], Batch], size: int) -> None:
        self._draw, self._size = draw, size
        self._waiting: list[Batch] = []

    def next(self) -> Batch:
        """The next minibatch."""
        if not self._waiting:
            drawn = self._draw()
            times = len(drawn.picture) // self._size
            self._waiting = [part_of(drawn, k * self._size, self._size) for k in range(times)]
        return self._waiting.pop()


def part_of(batch: Batch, start: int, count: int) -> Batch:
    """Some pictures of a batch with their truth."""
    values = {f.name: getattr(batch, f.name)[start : start + count] for f in fields(Batch)}
    return Batch(**values)
