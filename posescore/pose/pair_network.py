"""Both athletes' keypoints in contact: a network of our own behind the pair estimator's protocol.

The finder says where the pair is; the network reads a square around it and gives a heat map for
each of the 42 keypoints, how sure each is, and a mask for each athlete. When the pair turns out to
lie elsewhere in the square than thought, the square is laid anew and read once more.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.footage.opencv import cv2
from posescore.pose.estimator import Box, PairEstimate, Picture
from posescore.pose.heat_maps import CELLS, HeatMaps, best_places, body_size_px, shares
from posescore.pose.onnx_network import SIDE_PX, OnnxNetwork, square_of
from posescore.pose.pair_finder import PairFinder
from posescore.pose.several_reads import agreed
from posescore.resources import shipped
from posescore.terms import MIRRORED_KEYPOINTS, N_KEYPOINTS, Step

ROOM: Final = 1.2
"""Side of the square over the longer side of the pair's box; of 1.15, 1.3, 1.45 and 1.6 on rendered
pairs the first two found most athletes."""

HEAT_CELLS: Final = CELLS
_CELLS_PX: Final = ((np.arange(CELLS) + 0.5) * SIDE_PX / CELLS).astype(np.float32)
_ONE_READ: Final = np.ones((1, 2, N_KEYPOINTS), np.float32)
_MIRRORED: Final = list(MIRRORED_KEYPOINTS)
_RELIABLE: Final = 0.3
NOBODY_BELOW: Final = 0.12
"""Mean confidence under which an athlete is nobody: empty pictures and noise stay below .06."""

_CLOSER: Final = 0.9
"""A picture that stands alone is read again in a square this much smaller, around what was found.
On 240 held-back pictures in the looks of training both athletes were found in .69 by one read, .72
by a square and its mirror image, .75 by these four; squares turned by 20 degrees, or a fifth
larger, found fewer alone and added nothing."""

_LAY_ANEW_BEYOND: Final = 0.35
"""The square is laid anew when its centre or side was off by more than this share."""

_PAD_SHARE: Final = 0.08
"""A box of keypoints is widened so much on each side to hold hands, feet and crowns of heads."""


@dataclass(frozen=True, slots=True, eq=False)
class PairLook:
    """What the network sees in one square.

    Parameters
    ----------
    keypoints_px
        ``(2, 21, 2)`` float32, pixels of the whole picture.
    confidence
        ``(2, 21)`` float32: probability that the keypoint lies within a tenth of the athlete's
        size of the truth.
    visible
        ``(2, 21)`` float32: probability that nothing hides the keypoint.
    mask
        ``(2, 64, 64)`` float32: probability that a cell of the square shows the athlete.
    to_picture
        ``(2, 3)`` float64: from pixels of the 256 x 256 square to the picture's.
    """

    keypoints_px: NDArray[np.float32]
    confidence: NDArray[np.float32]
    visible: NDArray[np.float32]
    mask: NDArray[np.float32]
    to_picture: NDArray[np.float64]

    @property
    def athlete_confidence(self) -> NDArray[np.float32]:
        """``(2,)``: mean confidence of each athlete's keypoints."""
        return np.asarray(self.confidence.mean(axis=1), np.float32)

    def estimate(self) -> PairEstimate:
        """Keypoints and their confidence; an athlete who is nobody is NaN throughout."""
        nobody = self.athlete_confidence < NOBODY_BELOW
        points, confidence = self.keypoints_px.copy(), self.confidence.copy()
        points[nobody], confidence[nobody] = np.nan, np.nan
        return PairEstimate(points, confidence)

    def box(self) -> Box | None:
        """Box around the keypoints that are reliable; None when hardly any are."""
        points = self.keypoints_px[self.confidence >= _RELIABLE]
        if len(points) < N_KEYPOINTS // 2:
            return None
        low, high = points.min(axis=0), points.max(axis=0)
        size = (high - low) * (1 + 2 * _PAD_SHARE)
        middle = (low + high) / 2
        return Box(float(middle[0]), float(middle[1]), float(size[0]), float(size[1]))


class PairNetworkEstimator:
    """Finds the pair and both athletes' keypoints with our own two networks.

    Parameters
    ----------
    network, finder
        ONNX files; the shipped ones when not given.
    threads
        See :class:`posescore.pose.onnx_network.OnnxNetwork`.

    Raises
    ------
    MissingPartError
        When weights are missing.
    """

    def __init__(
        self, network: Path | None = None, finder: Path | None = None, threads: int | None = None
    ) -> None:
        self._network = OnnxNetwork(network or shipped("models", "pair_network.onnx"), threads)
        self._finder = PairFinder(finder, threads)
        self._step = Step(
            "pair_network",
            {"room": ROOM, "runtime": self._network.runtime, "version": 4},
            {
                "pair_network.onnx": self._network.sha256,
                "pair_finder.onnx": self._finder.sha256,
            },
        )

    @property
    def step(self) -> Step:
        """Name, settings and model hashes."""
        return self._step

    def close(self) -> None:
        """Nothing to release: the networks go with the object."""

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        """Keypoints of both athletes, in the boxes together or found in the whole picture."""
        return self.look(picture, boxes).estimate()

    def estimate_whole(self, picture: Picture) -> PairEstimate:
        """Keypoints when the picture itself is the crop: pulled to a square."""
        height, width = picture.shape[:2]
        square = np.asarray(cv2.resize(picture, (SIDE_PX, SIDE_PX)), np.uint8)
        middle = (SIDE_PX / 2, SIDE_PX / 2)
        look = self._read_thoroughly(square, middle, SIDE_PX)
        scale = np.array([width, height], np.float32) / SIDE_PX
        points = np.asarray(look.keypoints_px * scale, np.float32)
        return PairEstimate(points, look.confidence)

    def look(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairLook:
        """All that the network sees of the pair.

        In the boxes one read does: the frames before and after it are as good as more reads. A
        picture that stands alone is read four times.
        """
        if not boxes:
            return self._read_thoroughly(picture, *_square(self._finder.find(picture).box))
        centre, side = _square(around(boxes))
        first = self.read(picture, centre, side)
        better = first.box()
        if better is None or not _elsewhere(centre, side, better):
            return first
        second = self.read(picture, *_square(better))
        return max(first, second, key=lambda look: float(look.athlete_confidence.min()))

    def _read_thoroughly(
        self, picture: Picture, centre_px: tuple[float, float], side_px: float
    ) -> PairLook:
        """Read a square and its mirror image, then closer around what they found, and agree."""
        looks = self._read_both_ways(picture, centre_px, side_px)
        better = _together(looks).box()
        if better is None:
            return _together(looks)
        if _elsewhere(centre_px, side_px, better):
            looks = self._read_both_ways(picture, *_square(better))
            better = _together(looks).box() or better
        centre, side = _square(better)
        return _together([*looks, *self._read_both_ways(picture, centre, side * _CLOSER)])

    def _read_both_ways(
        self, picture: Picture, centre_px: tuple[float, float], side_px: float
    ) -> list[PairLook]:
        return [self.read(picture, centre_px, side_px, mirrored=m) for m in (False, True)]

    def read(
        self,
        picture: Picture,
        centre_px: tuple[float, float],
        side_px: float,
        *,
        mirrored: bool = False,
    ) -> PairLook:
        """Read one square of the picture, or its mirror image, told as of the picture itself."""
        square, to_picture = square_of(picture, centre_px, side_px)
        if mirrored:
            square = np.ascontiguousarray(square[:, ::-1])
        heat, mask, visible, sure = self._network.run(square)
        mask = mask.reshape(2, HEAT_CELLS, HEAT_CELLS)
        points: NDArray[np.floating] = decoded(heat)
        if mirrored:
            points = (points * [-1, 1] + [SIDE_PX, 0])[:, _MIRRORED]
            visible, sure, mask = visible[:, _MIRRORED], sure[:, _MIRRORED], mask[..., ::-1]
        points = points @ to_picture[:, :2].T + to_picture[:, 2]
        return PairLook(
            points.astype(np.float32), _sigmoid(sure), _sigmoid(visible), _sigmoid(mask), to_picture
        )


def _together(looks: list[PairLook]) -> PairLook:
    """What several looks at one picture agree on, with the first one's mask."""
    points, sure, crossed = agreed(
        np.stack([look.keypoints_px for look in looks]), np.stack([k.confidence for k in looks])
    )
    seen = [
        look.visible[::-1] if other else look.visible
        for look, other in zip(looks, crossed, strict=True)
    ]
    visible = np.asarray(np.mean(seen, axis=0), np.float32)
    return PairLook(points, sure, visible, looks[0].mask, looks[0].to_picture)


def _elsewhere(centre_px: tuple[float, float], side_px: float, better: Box) -> bool:
    """Whether the pair turned out to lie elsewhere in a square than thought."""
    other, wanted = _square(better)
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


def _square(box: Box) -> tuple[tuple[float, float], float]:
    side = ROOM * max(box.width_px, box.height_px, 16.0)
    return (box.centre_x_px, box.centre_y_px), side


def decoded(heat: NDArray[np.float32]) -> NDArray[np.float32]:
    """Keypoints ``(2, 21, 2)`` in pixels of the square, from heat logits ``(2, 21, 4096)``."""
    maps = HeatMaps(shares(heat), _CELLS_PX, _CELLS_PX)
    return best_places([maps], _ONE_READ, body_size_px(maps.peaks_px()))


def _sigmoid(logits: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(1 / (1 + np.exp(-np.clip(logits, -30, 30))), np.float32)
