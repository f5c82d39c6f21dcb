"""What our network sees of a pair, in one read of a square or in several that are brought together.

A read errs about a limb in its own way: another cut, or the mirror image, errs elsewhere. So reads
are not averaged; their heat maps are laid over one another and read as one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.estimators.estimator import Box, PairEstimate
from posescore.pose.estimators.heat_maps import HeatMaps, best_places, body_size_px
from posescore.terms import N_KEYPOINTS

NOBODY_BELOW: Final = 0.2
"""Mean confidence under which an athlete is nobody: plain pictures stay below .03, noise below .17.
Of 120,000 athletes drawn in the looks of training .7 % are below, and of those one in a hundred is
found."""

_RELIABLE: Final = 0.3
_PAD_FRACTION: Final = 0.08
"""A box of keypoints is widened so much on each side to hold hands, feet and crowns of heads."""

_CONFIDENCE_POWER: Final = 1.5
"""Maps count by their confidence to this power; of .5, 1, 1.5 and 2.5 on 500 held-back pictures in
the looks of training none did better."""

_FAR_FRACTION: Final = 0.6
"""Beyond this fraction of the athlete's size, how far two reads lie apart tells nothing more."""


@dataclass(frozen=True, slots=True, eq=False)
class PairPrediction:
    """What the network sees, told in pixels of the whole picture.

    Parameters
    ----------
    keypoints_px
        ``(2, 21, 2)`` float32, every keypoint placed, none NaN.
    confidence
        ``(2, 21)`` float32: probability that the keypoint lies within a tenth of the athlete's
        size of the truth.
    """

    keypoints_px: NDArray[np.float32]
    confidence: NDArray[np.float32]

    @property
    def athlete_confidence(self) -> NDArray[np.float32]:
        """``(2,)`` float32: mean confidence of each athlete's keypoints."""
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
        size = (high - low) * (1 + 2 * _PAD_FRACTION)
        middle = (low + high) / 2
        return Box(float(middle[0]), float(middle[1]), float(size[0]), float(size[1]))


@dataclass(frozen=True, slots=True, eq=False)
class PairRead:
    """One read of a square, its keypoints not placed yet; the rest as in PairPrediction."""

    maps: HeatMaps
    confidence: NDArray[np.float32]

    def other_way_round(self) -> PairRead:
        """The same with the two slots exchanged."""
        maps = HeatMaps(self.maps.probability[::-1], self.maps.x_px, self.maps.y_px)
        return PairRead(maps, self.confidence[::-1])

    def confidence_product(self) -> float:
        """How sure the read is of both athletes: the product of their mean confidences."""
        return float(self.confidence.mean(axis=1).prod())


def combined(reads: Sequence[PairRead]) -> PairPrediction:
    """What several reads of one picture say as one, with the slots and the mask of the first."""
    first = reads[0]
    peaks = [first.maps.peaks_px()]
    matched = [first]
    for read in reads[1:]:
        there = read.maps.peaks_px()
        if _crossed(peaks[0], first.confidence, there, read.confidence):
            read, there = read.other_way_round(), there[::-1]
        matched.append(read)
        peaks.append(there)
    confidence = np.stack([read.confidence for read in matched])
    places = best_places(
        [read.maps for read in matched],
        (confidence + 1e-6) ** _CONFIDENCE_POWER,
        body_size_px(np.median(peaks, axis=0)),
    )
    return PairPrediction(places, confidence.mean(axis=0))


def _crossed(
    first: NDArray[np.float32],
    first_sure: NDArray[np.float32],
    other: NDArray[np.float32],
    other_sure: NDArray[np.float32],
) -> bool:
    """Whether a read's slots fit the first's better the other way round."""
    size = np.maximum(body_size_px(first), 1.0)
    apart = np.linalg.norm(first[:, None] - other[None], axis=-1) / size[:, None, None]
    both_sure = np.sqrt(first_sure[:, None] * other_sure[None])
    cost = (np.minimum(apart, _FAR_FRACTION) * both_sure).sum(axis=-1)
    return bool(cost[0, 1] + cost[1, 0] < cost[0, 0] + cost[1, 1])
