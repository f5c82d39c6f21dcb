"""Cuts to another view: noticed frame by frame, while frames are decoded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.footage.reading import Frame
from posescore.pose.estimators.estimator import Picture

_CUT_DIFFERENCE: Final = 32.0
_CUT_RATIO: Final = 5.0
_CUT_COLOURS: Final = 0.1
"""Fraction of a thumbnail's pixels, mean of three channels, whose brightness moved to another of 16
steps: .13 and .16 at cuts within one hall, up to .07 where the referee walks through the view."""


def with_cuts(frames: Iterable[Frame]) -> Iterator[tuple[Frame, bool]]:
    """Every frame, and whether it shows another view than the one before."""
    watch = CutWatch()
    for frame in frames:
        yield frame, watch.is_cut(frame.picture)


class CutWatch:
    """Notices cuts by how much a thumbnail changes, against how much it usually does.

    A cut within one hall changes less than one to another place, but it changes the mixture of
    colours at once, which no swing of the camera and nobody who walks by does.
    """

    def __init__(self) -> None:
        self._last: NDArray[np.float32] | None = None
        self._usual = 1.0

    def is_cut(self, picture: Picture) -> bool:
        """True when this picture shows another view than the last one."""
        height, width = picture.shape[:2]
        rows, columns = max(1, height // 36), max(1, width // 64)
        thumbnail = picture[::rows, ::columns].astype(np.float32)
        last, self._last = self._last, thumbnail
        if last is None or last.shape != thumbnail.shape:
            return False
        change = float(np.abs(thumbnail - last).mean())
        far = change > max(_CUT_DIFFERENCE, _CUT_RATIO * self._usual)
        near = change > max(_CUT_DIFFERENCE, _CUT_RATIO * self._usual) / 2
        cut = far or (near and _other_colours(last, thumbnail))
        if not cut:
            self._usual = 0.9 * self._usual + 0.1 * max(change, 1.0)
        return cut


def _other_colours(one: NDArray[np.float32], other: NDArray[np.float32]) -> bool:
    """Whether two thumbnails are mixed of other colours, by their histograms."""
    bins = [
        np.stack([np.bincount((t[..., k] // 16).astype(np.intp).ravel(), minlength=16)
                  for k in range(t.shape[-1])])
        for t in (one, other)
    ]  # fmt: skip
    moved = np.abs(bins[0] - bins[1]).sum(axis=1) / (2 * one[..., 0].size)
    return bool(moved.mean() > _CUT_COLOURS)
