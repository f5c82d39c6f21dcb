"""A track at even instants, ten a second: computed once for a film, then sliced."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.track import PairTrack
from posescore.terms import N_KEYPOINTS, Floats

INSTANT_S: Final = 0.1
"""Short against the three seconds that count, long enough for a median to drop a wrong frame."""
LEAST_CONFIDENCE: Final = 0.4
"""Where any frame of an instant is surer than this of a keypoint, those that are not are left
out: they are more often wrong than right where confidence is calibrated."""
_FILLED: Final = 1
"""So many instants without a frame in a row take over the one before them (slow footage)."""
_AT_ONCE: Final = 256
"""Instants at a time: what is in between takes no more room for ten minutes than for one."""


@dataclass(frozen=True, slots=True, eq=False)
class Instants:
    """Keypoints of instants of :data:`INSTANT_S`, the first at 0 s.

    Parameters
    ----------
    keypoints_px
        ``(n, 2, 21, 2)`` float64, pixels; slot A first; medians over frames, NaN where missing.
    confidence
        ``(n, 2, 21)`` float32: mean over the same frames, NaN where missing.
    end_s
        Seconds at which the footage ends.
    """

    keypoints_px: Floats
    confidence: NDArray[np.float32]
    end_s: float

    def __len__(self) -> int:
        return len(self.keypoints_px)

    @property
    def edges_s(self) -> Floats:
        """``(n + 1,)``: where instants begin, and the end."""
        return np.append(np.arange(len(self)) * INSTANT_S, self.end_s)


def instants_of(track: PairTrack) -> Instants:
    """Medians over the frames of every tenth of a second, at any frame rate, even or not."""
    count = max(1, int(np.ceil(track.end_s / INSTANT_S - 1e-6))) if len(track) else 0
    points = np.full((count, 2, N_KEYPOINTS, 2), np.nan)
    confidence = np.full((count, 2, N_KEYPOINTS), np.nan, np.float32)
    if not count:
        return Instants(points, confidence, track.end_s)
    cell = np.floor((track.time_s + 1e-6) / INSTANT_S).astype(np.intp).clip(0, count - 1)
    filled, opens = np.unique(cell, return_index=True)
    edges = np.append(opens, len(cell))
    for at in range(0, len(filled), _AT_ONCE):
        rows = filled[at : at + _AT_ONCE]
        points[rows], confidence[rows] = _gathered(track, edges[at : at + _AT_ONCE + 1])
    last = np.maximum.accumulate(np.where(np.isin(np.arange(count), filled), np.arange(count), -1))
    late = np.arange(count) - last
    taken = np.flatnonzero((late > 0) & (late <= _FILLED) & (last >= 0))
    points[taken], confidence[taken] = points[last[taken]], confidence[last[taken]]
    return Instants(points, confidence, track.end_s)


def _gathered(track: PairTrack, edges: NDArray[np.intp]) -> tuple[Floats, NDArray[np.float32]]:
    """Median place and mean confidence of the frames from each edge to the next."""
    frames = track.keypoints_px[edges[0] : edges[-1]].astype(np.float64)
    trust = np.nan_to_num(track.keypoint_confidence[edges[0] : edges[-1]])
    opens, counts = edges[:-1] - edges[0], np.diff(edges)
    known = np.isfinite(frames).all(-1)
    sure = known & (trust >= LEAST_CONFIDENCE)
    some = np.repeat(np.maximum.reduceat(sure, opens, axis=0), counts, axis=0)
    taken = np.where(some, sure, known)
    frames[~taken] = np.nan
    total = np.add.reduceat(np.where(taken, trust, 0.0), opens, axis=0)
    number = np.add.reduceat(taken.astype(np.float64), opens, axis=0)
    mean = np.where(number > 0, total / np.maximum(number, 1), np.nan)
    return _medians(frames, opens, counts), mean.astype(np.float32)


def _medians(frames: Floats, opens: NDArray[np.intp], counts: NDArray[np.intp]) -> Floats:
    """Medians of ragged stretches of frames, NaN left out."""
    most = int(counts.max())
    if most == 1:
        return frames
    padded = np.full((len(opens), most, *frames.shape[1:]), np.nan)
    for at in range(most):
        has = counts > at
        padded[has, at] = frames[opens[has] + at]
    padded.sort(axis=1)
    known = np.isfinite(padded).sum(axis=1, keepdims=True)
    low = np.take_along_axis(padded, np.maximum((known - 1) // 2, 0), axis=1)[:, 0]
    high = np.take_along_axis(padded, known // 2 * (known > 0), axis=1)[:, 0]
    return np.asarray(np.where(known[:, 0] % 2 == 1, low, (low + high) / 2))
