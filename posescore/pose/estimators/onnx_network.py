"""Runs a network that reads square pictures."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.footage.opencv import cv2
from posescore.pose.estimators.estimator import Picture
from posescore.pose.estimators.session import opened_network

SIDE_PX: Final = 256
"""The networks read squares of this side."""

_PAD_SHADE: Final = 128
_MAX_THREADS: Final = 4


def usual_threads(cores: int | None) -> int:
    """How many threads compute on a machine of so many cores: one core is left to decoding.

    Two threads answer a square in 12 ms instead of 18, but take 25 ms of both cores for it; with
    frames decoded beside, following is faster with one.
    """
    return min(_MAX_THREADS, max(1, (cores or 1) - 1))


class OnnxNetwork:
    """One network: a square picture in, arrays out.

    Parameters
    ----------
    threads
        How many threads compute; :func:`usual_threads` when not given.

    Raises
    ------
    MissingPartError
        When the file or the runtime is missing or broken.
    """

    def __init__(self, path: Path, threads: int | None = None) -> None:
        opened = opened_network(path, threads or usual_threads(os.cpu_count()))
        self._session, self.sha256, self.runtime = opened

    def run(self, square: Picture) -> list[NDArray[np.float32]]:
        """Outputs for a ``(256, 256, 3)`` uint8 RGB square, without the axis of pictures."""
        results = self._session.run(None, {"picture": np.ascontiguousarray(square)[None]})
        return [np.asarray(result[0], np.float32) for result in results]


def square_of(
    picture: Picture, centre_px: tuple[float, float], side_px: float
) -> tuple[Picture, NDArray[np.float64]]:
    """Cut a square out and bring it to 256 x 256; grey where it lies beyond the picture.

    Returns
    -------
    tuple
        The square, and ``(2, 3)`` float64: pixel of the picture =
        ``m[:, :2] @ pixel of the square + m[:, 2]``, centres of pixels at half numbers in both.
    """
    scale = side_px / SIDE_PX
    corner = np.array(centre_px) - side_px / 2
    to_picture = np.column_stack([np.eye(2) * scale, corner])
    source, moved = _shrunk(picture, to_picture, side_px)
    # OpenCV counts from centres of pixels at whole numbers.
    shifted = moved.copy()
    shifted[:, 2] = moved[:, 2] + moved[:, :2] @ np.array([0.5, 0.5]) - 0.5
    square = cv2.warpAffine(
        source,
        shifted,
        (SIDE_PX, SIDE_PX),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(_PAD_SHADE,) * 3,
    )
    return np.asarray(square, np.uint8), to_picture


def _shrunk(
    picture: Picture, to_picture: NDArray[np.float64], side_px: float
) -> tuple[Picture, NDArray[np.float64]]:
    """What the square shows, brought to less than twice its size, and the map to that.

    Means over whole blocks of pixels: a far larger picture would flicker when sampled.
    """
    shrink = int(side_px / SIDE_PX)
    if shrink < 2:
        return picture, to_picture
    blocks = np.maximum(1, np.array(picture.shape[1::-1]) // shrink)
    first = np.floor(to_picture[:, 2] / shrink).astype(int) - 1
    behind = np.ceil((to_picture[:, 2] + side_px) / shrink).astype(int) + 1
    first, behind = np.clip(first, 0, blocks - 1), np.clip(behind, 1, blocks)
    behind = np.maximum(behind, first + 1)
    (left, top), (right, bottom) = first * shrink, behind * shrink
    size = (int(behind[0] - first[0]), int(behind[1] - first[1]))
    shown = cv2.resize(picture[top:bottom, left:right], size, interpolation=cv2.INTER_AREA)
    moved = to_picture.copy()
    moved[:, 2] -= (left, top)
    return np.asarray(shown, np.uint8), moved / shrink
