"""Minibatches out of larger draws: launching the drawing costs the same for one as for many."""

from __future__ import annotations

from dataclasses import fields
from typing import Final

from posescore.simulation.corpus.pictures import Batch, PictureMaker

_DRAWN_AT_ONCE: Final = 2
_WHOLE_DRAWN_AT_ONCE: Final = 3


class Supply:
    """Hands out minibatches of one size, each picture once."""

    def __init__(self, maker: PictureMaker, size: int, *, whole: bool) -> None:
        self._maker, self._size, self._whole = maker, size, whole
        self._waiting: list[Batch] = []

    def next(self) -> Batch:
        """The next minibatch."""
        if not self._waiting:
            times = _WHOLE_DRAWN_AT_ONCE if self._whole else _DRAWN_AT_ONCE
            drawn = self._maker.batch(times * self._size, whole=self._whole)
            self._waiting = [part_of(drawn, k * self._size, self._size) for k in range(times)]
        return self._waiting.pop()


def part_of(batch: Batch, start: int, count: int) -> Batch:
    """Some pictures of a batch with their truth."""
    values = {f.name: getattr(batch, f.name)[start : start + count] for f in fields(Batch)}
    return Batch(**values)
