"""Keypoints of a stretch of footage, gathered into instants a fifth of a second long."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.track import PairTrack
from posescore.terms import N_KEYPOINTS, Athlete, Floats

INSTANT_S: Final = 0.2
"""Long enough for a median to drop a wrong frame, short against the three seconds that count."""
LEAST_SURE: Final = 0.4
"""A keypoint that its estimator trusts less than this counts as unseen: where confidence is
calibrated it is more often wrong than right, and criteria hang on single keypoints."""
_ENOUGH: Final = 6
"""Keypoints an athlete needs in an instant to be judged."""
_AT_ONCE: Final = 256
"""Instants at a time: what is in between takes no more room for ten minutes than for one."""


@dataclass(frozen=True, slots=True, eq=False)
class Instants:
    """Parameters.

    edges_s
        ``(n + 1,)`` float64: where instants begin and end; all but the outer two are frame times.
    pair_px
        ``(n, 2, 21, 2)`` float64, medians over frames; missing or unsure in all = NaN.
    seen
        ``(n,)`` bool: enough keypoints of both athletes.
    """

    edges_s: Floats
    pair_px: Floats
    seen: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.seen)


def instants(track: PairTrack, start_s: float, end_s: float, first: Athlete) -> Instants:
    """Instants of ``[start_s, end_s)``, the given athlete on index 0 of the pair's axis."""
    begin, end = np.searchsorted(track.time_s, [start_s - 1e-9, end_s - 1e-9])
    time_s = track.time_s[begin:end]
    cell = np.floor((time_s + 1e-6) / INSTANT_S)
    _, opens = np.unique(cell, return_index=True)
    edges = begin + np.append(opens, len(time_s))
    pair = np.empty((len(opens), 2, N_KEYPOINTS, 2))
    for at in range(0, len(opens), _AT_ONCE):
        pair[at : at + _AT_ONCE] = _medians(track, edges[at : at + _AT_ONCE + 1])
    if first is Athlete.B:
        pair = pair[:, ::-1]
    enough = np.isfinite(pair[..., 0]).sum(axis=2) >= _ENOUGH
    edges_s = np.concatenate([[start_s], time_s[opens[1:]], [end_s]])
    return Instants(edges_s, pair, enough.all(axis=1))


def _medians(track: PairTrack, edges: NDArray[np.intp]) -> Floats:
    """Median of the frames from each edge to the next, unsure ones left out, ``(n, 2, 21, 2)``."""
    frames = track.keypoints_px[edges[0] : edges[-1]].astype(np.float64)
    sure = track.keypoint_confidence[edges[0] : edges[-1]] >= LEAST_SURE
    frames[~sure] = np.nan
    opens, counts = edges[:-1] - edges[0], np.diff(edges)
    padded = np.full((len(opens), int(counts.max()), *frames.shape[1:]), np.nan)
    for at in range(padded.shape[1]):
        has = counts > at
        padded[has, at] = frames[opens[has] + at]
    padded.sort(axis=1)
    known = np.isfinite(padded).sum(axis=1, keepdims=True)
    low = np.take_along_axis(padded, np.maximum((known - 1) // 2, 0), axis=1)[:, 0]
    high = np.take_along_axis(padded, known // 2 * (known > 0), axis=1)[:, 0]
    return np.asarray(np.where(known[:, 0] % 2 == 1, low, (low + high) / 2))
