"""The presentation time of every frame: the only conversion between frame index and seconds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class FrameClock:
    """Presentation times of a video's frames, in the order they are shown.

    Parameters
    ----------
    pts_s
        ``(n_frames,)`` float64, seconds from the first frame, strictly rising, starting at 0.
    end_s
        Seconds at which the last frame stops being shown.
    """

    pts_s: NDArray[np.float64]
    end_s: float

    def __post_init__(self) -> None:
        if self.pts_s.ndim != 1 or not len(self.pts_s):
            raise ValueError("a frame clock needs at least one frame")
        if not np.isfinite(self.pts_s).all() or (np.diff(self.pts_s) <= 0).any():
            raise ValueError("presentation times must rise from frame to frame")
        if not self.pts_s[-1] < self.end_s < np.inf:
            raise ValueError("the last frame must be shown for some time")

    @classmethod
    def steady(cls, n_frames: int, frames_per_s: float) -> FrameClock:
        """A clock of constant frame rate."""
        pts_s = np.arange(n_frames, dtype=np.float64) / frames_per_s
        return cls(pts_s, n_frames / frames_per_s)

    def __len__(self) -> int:
        return len(self.pts_s)

    def time_s(self, frame_index: int) -> float:
        """Presentation time of a frame, seconds."""
        return float(self.pts_s[frame_index])

    def middle_s(self, frame_index: int) -> float:
        """The middle of the time a frame is shown: the safe place to seek to."""
        after = self.end_s if frame_index + 1 == len(self) else self.pts_s[frame_index + 1]
        return float((self.pts_s[frame_index] + after) / 2)

    def frame_index(self, time_s: float) -> int:
        """Index of the frame shown at an instant; instants outside give the first or last frame."""
        found = int(np.searchsorted(self.pts_s, time_s, side="right")) - 1
        return min(max(found, 0), len(self) - 1)

    @property
    def mean_frames_per_s(self) -> float:
        """Average frame rate over the whole footage."""
        return len(self) / self.end_s
