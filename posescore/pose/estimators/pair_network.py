"""Both athletes' keypoints in contact: a network of our own behind the pair estimator's protocol.

The finder says where the pair is; the network reads a square around it and gives a heat map for
each of the 42 keypoints and a confidence. A picture that stands alone is read several times (test-
time augmentation), in alternative crops too where the first leaves doubts.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.pose.estimators.heat_maps import CELLS, HeatMaps, probabilities
from posescore.pose.estimators.onnx_network import SIDE_PX, OnnxNetwork, square_of
from posescore.pose.estimators.pair_finder import PairFinder
from posescore.pose.estimators.pair_prediction import PairPrediction, PairRead, combined
from posescore.resources import shipped
from posescore.terms import MIRRORED_KEYPOINTS, Step

Square = tuple[tuple[float, float], float]
"""Middle and side of a square, pixels of the picture."""

ROOM: Final = 1.2
"""Side of the square over the longer side of the pair's box; of 1.15, 1.3, 1.45 and 1.6 on rendered
pairs the first two found most athletes."""

_CELLS_PX: Final = ((np.arange(CELLS) + 0.5) * SIDE_PX / CELLS).astype(np.float32)
_MIRRORED: Final = list(MIRRORED_KEYPOINTS)

_CLOSER: Final = 0.9
"""A picture that stands alone is read again in a square so much smaller around what was found."""

_DOUBTFUL_BELOW: Final = 0.72
"""Mean confidence of the less confident athlete under which alternative crops are tried for a
picture that stands alone. Judgement, not a fit."""

_SECOND_LOOK: Final = 1.5
"""Side, over the longer side of the pair's box, of the square in which the finder looks again."""

_LAY_ANEW_BEYOND: Final = 0.35
"""The square is laid anew when its centre or side was off by more than this fraction."""


class PairNetworkEstimator:
    """Finds the pair and both athletes' keypoints with our own two networks.

    Parameters
    ----------
    network, finder
        ONNX files; the shipped ones when not given.
    threads
        See :class:`posescore.pose.estimators.onnx_network.OnnxNetwork`.
    alternative_crops
        Whether other crops than the finder's are tried for a doubtful picture without boxes.

    Raises
    ------
    MissingPartError
        When weights are missing.
    """

    def __init__(
        self,
        network: Path | None = None,
        finder: Path | None = None,
        threads: int | None = None,
        *,
        alternative_crops: bool = True,
    ) -> None:
        self._alternative_crops = alternative_crops
        self._network = OnnxNetwork(network or shipped("models", "pair_network.onnx"), threads)
        self._finder = PairFinder(finder, threads)
        self.step = Step(
            "pair_network",
            {
                "room": ROOM,
                "runtime": self._network.runtime,
                "version": 6,
                "alternative_crops": alternative_crops,
            },
            {
                "pair_network.onnx": self._network.sha256,
                "pair_finder.onnx": self._finder.sha256,
            },
        )

    def close(self) -> None:
        """Nothing to release: the networks go with the object."""

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        """Keypoints of both athletes, in the boxes together or found in the whole picture."""
        return self.look(picture, boxes).estimate()

    def look(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairPrediction:
        """All that the network sees of the pair.

        In the boxes one read does: the frames before and after it are as good as more reads. A
        picture that stands alone is read four to seven times.
        """
        if not boxes:
            box = self._finder.find(picture)
            tried = box if self._alternative_crops else None
            return self.read_augmented(picture, _square(box), around_box=tried)
        square = _square(around(boxes))
        first = combined([self.read(picture, square)])
        better = first.box()
        if better is None or not _elsewhere(square, better):
            return first
        second = combined([self.read(picture, _square(better))])
        return max(first, second, key=lambda look: float(look.athlete_confidence.min()))

    def read_augmented(
        self, picture: Picture, square: Square, around_box: Box | None = None
    ) -> PairPrediction:
        """Read a square and its mirror image, then closer around what they found."""
        reads = self._read_both_ways(picture, square)
        look = combined(reads)
        if around_box is not None and look.athlete_confidence.min() < _DOUBTFUL_BELOW:
            other = self._surer_square(picture, reads[0], around_box)
            if other is not None:
                square, first = other
                reads = [first, self.read(picture, square, mirrored=True)]
                look = combined(reads)
        better = look.box()
        if better is None:
            return look
        if _elsewhere(square, better):
            reads = self._read_both_ways(picture, _square(better))
            better = combined(reads).box() or better
        middle, side = _square(better)
        return combined([*reads, *self._read_both_ways(picture, (middle, side * _CLOSER))])

    def _surer_square(
        self, picture: Picture, first: PairRead, box: Box
    ) -> tuple[Square, PairRead] | None:
        """Another square with its read, if one is surer of both athletes than the first read.

        Tried are the whole picture, and the square around what the finder finds when it looks
        again, at the pair alone. In pictures that the pair fills the finder's box often cuts it.
        """
        height, width = picture.shape[:2]
        middle, side = (box.centre_x_px, box.centre_y_px), max(box.width_px, box.height_px)
        again = self._finder.find(picture, (middle, side * _SECOND_LOOK))
        whole = ((width / 2, height / 2), float(max(width, height)))
        tried = [(square, self.read(picture, square)) for square in (whole, _square(again))]
        surest = max(tried, key=lambda one: one[1].confidence_product())
        return surest if surest[1].confidence_product() > first.confidence_product() else None

    def _read_both_ways(self, picture: Picture, square: Square) -> list[PairRead]:
        return [self.read(picture, square, mirrored=m) for m in (False, True)]

    def read(self, picture: Picture, square: Square, *, mirrored: bool = False) -> PairRead:
        """Read one square of the picture, or its mirror image, told as of the picture itself."""
        cut, to_picture = square_of(picture, *square)
        if mirrored:
            cut = np.ascontiguousarray(cut[:, ::-1])
        heat, _, _, confidence = self._network.run(cut)
        probability = probabilities(heat)
        if mirrored:
            probability = np.ascontiguousarray(probability[:, _MIRRORED, :, ::-1])
            confidence = confidence[:, _MIRRORED]
        scale, corner = to_picture[0, 0], to_picture[:, 2].astype(np.float32)
        cells_px = _CELLS_PX * np.float32(scale)
        maps = HeatMaps(probability, cells_px + corner[0], cells_px + corner[1])
        return PairRead(
            maps, np.asarray(1 / (1 + np.exp(-np.clip(confidence, -30, 30))), np.float32)
        )


def _elsewhere(square: Square, better: Box) -> bool:
    """Whether the pair turned out to lie elsewhere in a square than thought."""
    (centre_px, side_px), (other, wanted) = square, _square(better)
    off = max(abs(other[0] - centre_px[0]), abs(other[1] - centre_px[1])) / side_px
    return off >= _LAY_ANEW_BEYOND or abs(np.log(wanted / side_px)) >= 2 * _LAY_ANEW_BEYOND


def around(boxes: tuple[Box, ...]) -> Box:
    """The upright box around several."""
    low = np.min(
        [(b.centre_x_px - b.width_px / 2, b.centre_y_px - b.height_px / 2) for b in boxes], 0
    )
    high = np.max(
        [(b.centre_x_px + b.width_px / 2, b.centre_y_px + b.height_px / 2) for b in boxes], 0
    )
    middle, size = (low + high) / 2, high - low
    return Box(float(middle[0]), float(middle[1]), float(size[0]), float(size[1]))


def _square(box: Box) -> Square:
    side = ROOM * max(box.width_px, box.height_px, 16.0)
    return (box.centre_x_px, box.centre_y_px), float(side)
