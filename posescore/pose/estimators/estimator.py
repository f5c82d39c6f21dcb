"""The seam between a picture and the keypoints of the two athletes in it.

Everything that finds keypoints sits behind :class:`PairEstimator`: MediaPipe's landmarker, or a
network for the tangled pair. Following through a video (:mod:`posescore.pose.tracking.follow`)
knows only this protocol.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from posescore.terms import Step

Picture = NDArray[np.uint8]
"""``(height, width, 3)`` uint8, RGB, upright as shown."""


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in pixels of the whole picture, possibly turned about its centre.

    ``turn_deg`` is how far the rectangle is turned clockwise as seen on the screen; cropping a
    box undoes the turn, so that what lay along the box's own axes comes out upright.
    """

    centre_x_px: float
    centre_y_px: float
    width_px: float
    height_px: float
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class PairEstimate:
    """Keypoints of up to two athletes in one picture, in no particular order of slots.

    Parameters
    ----------
    keypoints_px
        ``(2, 21, 2)`` float32, pixels of the whole picture (x right, y down), NaN where missing.
        An athlete who was not found is NaN throughout.
    keypoint_confidence
        ``(2, 21)`` float32 in [0, 1]: the estimator's own confidence; NaN where missing.
    """

    keypoints_px: NDArray[np.float32]
    keypoint_confidence: NDArray[np.float32]

    def __post_init__(self) -> None:
        if self.keypoints_px.shape != (2, 21, 2) or self.keypoint_confidence.shape != (2, 21):
            raise ValueError("a pair estimate holds two athletes of 21 keypoints")

    @classmethod
    def nobody(cls) -> PairEstimate:
        """Nobody was found."""
        return cls(np.full((2, 21, 2), np.nan, np.float32), np.full((2, 21), np.nan, np.float32))


class PairEstimator(Protocol):
    """Finds the two athletes of one picture; every call stands alone."""

    @property
    def step(self) -> Step:
        """Name, settings and model hashes: the provenance and the key of cached poses."""
        ...

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        """Keypoints of both athletes.

        ``boxes`` are where the athletes, or the pair as one, are thought to be; without any the
        estimator searches the whole picture. The third person in view is not an athlete.
        """
        ...

    def close(self) -> None:
        """Release what the estimator holds."""
        ...
