"""What following found in the frames it looked at, before anything is mended."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posescore.pose.tracking.slots import Detection
from posescore.terms import N_KEYPOINTS


@dataclass(slots=True, eq=False)
class RawTrack:
    """Finds of both slots in the analysed frames; the arrays are changed in place by mending.

    Parameters
    ----------
    frame_index
        ``(n,)`` int64.
    time_s
        ``(n,)`` float64.
    keypoints_px
        ``(n, 2, 21, 2)`` float32, NaN where missing.
    keypoint_confidence
        ``(n, 2, 21)`` float32, NaN where missing.
    colour
        ``(n, 2, 3)`` float64: the gi's L*a*b* colour as seen in the frame, NaN where unknown.
    cut
        ``(n,)`` bool: the camera cut to another view just before this frame.
    """

    frame_index: NDArray[np.int64]
    time_s: NDArray[np.float64]
    keypoints_px: NDArray[np.float32]
    keypoint_confidence: NDArray[np.float32]
    colour: NDArray[np.float64]
    cut: NDArray[np.bool_]

    @classmethod
    def empty(cls, frame_index: NDArray[np.signedinteger], time_s: NDArray[np.float64]) -> RawTrack:
        """A track of frames ``(n,)`` in which nobody was found: all NaN, no cut."""
        n = len(frame_index)
        return cls(
            np.asarray(frame_index, dtype=np.int64),
            time_s,
            np.full((n, 2, N_KEYPOINTS, 2), np.nan, np.float32),
            np.full((n, 2, N_KEYPOINTS), np.nan, np.float32),
            np.full((n, 2, 3), np.nan),
            np.zeros(n, dtype=np.bool_),
        )

    def put(self, row: int, slot: int, detection: Detection) -> None:
        """Write a detection into a slot."""
        self.keypoints_px[row, slot] = detection.person.keypoints_px
        self.keypoint_confidence[row, slot] = detection.person.keypoint_confidence
        if detection.colour is not None:
            self.colour[row, slot] = detection.colour

    @property
    def found(self) -> NDArray[np.bool_]:
        """``(n, 2)`` bool: an athlete has at least one keypoint that is not NaN."""
        return np.asarray(np.isfinite(self.keypoints_px).any(axis=(2, 3)))

    @property
    def size_px(self) -> NDArray[np.float64]:
        """``(n, 2)`` float64, pixels: half of width and height of each body's box; 1 for nobody."""
        points = self.keypoints_px.astype(np.float64)
        low = np.where(np.isfinite(points), points, np.inf).min(axis=2)
        high = np.where(np.isfinite(points), points, -np.inf).max(axis=2)
        sides = np.where(np.isfinite(low) & np.isfinite(high), high - low, 0.0)
        return np.asarray(np.maximum(sides.mean(axis=-1), 1.0))

    def exchange(self, rows: NDArray[np.bool_]) -> None:
        """Swap both slots in the rows ``(n,)`` that are True."""
        for array in (self.keypoints_px, self.keypoint_confidence, self.colour):
            array[rows] = array[rows][:, ::-1]

    def drop(self, rows: NDArray[np.bool_], slot: int) -> None:
        """Mark a slot missing (NaN) in the rows ``(n,)`` that are True."""
        for array in (self.keypoints_px, self.keypoint_confidence, self.colour):
            array[rows, slot] = np.nan
