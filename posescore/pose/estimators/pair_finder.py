"""Where the two athletes are in a whole picture, without a hint: a small network of our own."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from posescore.pose.estimators.estimator import Box, Picture
from posescore.pose.estimators.onnx_network import SIDE_PX, OnnxNetwork, square_of
from posescore.resources import shipped

_SMALLEST_FRACTION: Final = 0.04


class PairFinder:
    """Finds the box around both athletes, the referee and bystanders left out.

    Parameters
    ----------
    threads
        See :class:`posescore.pose.estimators.onnx_network.OnnxNetwork`.

    Raises
    ------
    MissingPartError
        When the weights are missing.
    """

    def __init__(self, path: Path | None = None, threads: int | None = None) -> None:
        self._network = OnnxNetwork(path or shipped("models", "pair_finder.onnx"), threads)
        self.sha256 = self._network.sha256

    def find(
        self, picture: Picture, within: tuple[tuple[float, float], float] | None = None
    ) -> Box:
        """The pair's box in pixels of the picture.

        Parameters
        ----------
        picture
            ``(height, width, 3)`` uint8 RGB.
        within
            Middle and side of the square to look in; the whole picture when not given.
        """
        height, width = picture.shape[:2]
        whole = ((width / 2, height / 2), float(max(width, height)))
        (middle, side_px) = within or whole
        square, to_picture = square_of(picture, middle, side_px)
        edges, _ = self._network.run(square)
        probability = np.exp(edges - edges.max(axis=1, keepdims=True))
        probability /= probability.sum(axis=1, keepdims=True)
        bins = (np.arange(probability.shape[1]) + 0.5) / probability.shape[1]
        left, top, right, bottom = (probability @ bins) * SIDE_PX
        low = to_picture[:, :2] @ np.array([left, top]) + to_picture[:, 2]
        high = to_picture[:, :2] @ np.array([right, bottom]) + to_picture[:, 2]
        smallest = _SMALLEST_FRACTION * side_px
        size = np.maximum(high - low, smallest)
        middle = (low + high) / 2
        return Box(float(middle[0]), float(middle[1]), float(size[0]), float(size[1]))
