"""Cutting a turned rectangle out of a picture, and the way back for keypoints found in it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.footage.opencv import cv2
from posescore.pose.estimators.estimator import Box, Picture

MAX_CROP_PX: Final = 512
"""Longer side of a crop. The networks look at 224 and 256 pixels; more only costs time."""


@dataclass(frozen=True, slots=True, eq=False)
class Crop:
    """A crop and the map from its pixels back to the picture's.

    Parameters
    ----------
    picture
        ``(height, width, 3)`` uint8 RGB, contiguous.
    to_picture
        ``(2, 3)`` float64: picture pixel = ``to_picture[:, :2] @ crop pixel + to_picture[:, 2]``.
    """

    picture: Picture
    to_picture: NDArray[np.float64]

    def to_whole_px(self, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points ``(n, 2)`` float64 of the crop in pixels of the whole picture; NaN stays NaN."""
        return points_px @ self.to_picture[:, :2].T + self.to_picture[:, 2]


def cut_out(picture: Picture, box: Box) -> Crop:
    """Cut a box out of a picture, its turn undone; what lies outside the picture is black."""
    scale = min(1.0, MAX_CROP_PX / max(box.width_px, box.height_px, 1.0))
    width = max(2, round(box.width_px * scale))
    height = max(2, round(box.height_px * scale))
    turn = math.radians(box.turn_deg)
    turned = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]) / scale
    middle = np.array([width / 2, height / 2])
    centre = np.array([box.centre_x_px, box.centre_y_px])
    to_picture = np.column_stack([turned, centre - turned @ middle])
    flags = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    flags = cv2.INTER_LINEAR if box.turn_deg else flags
    crop = cv2.warpAffine(picture, to_picture, (width, height), flags=flags | cv2.WARP_INVERSE_MAP)
    return Crop(np.ascontiguousarray(crop), to_picture)
