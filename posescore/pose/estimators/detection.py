"""People found in one picture, before it is known who of them is A and who is B."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.estimators.estimator import PairEstimate
from posescore.pose.oks import area_px2, keypoint_box_px, oks
from posescore.terms import KEYPOINT_INDEX

SAME_PERSON_OKS: Final = 0.6
"""Two detections that fit each other this well are one person seen twice: two athletes wrapped
round each other stay well below (their trunks coincide, their limbs do not)."""

TRUNK: Final = tuple(
    KEYPOINT_INDEX[name] for name in ("left_shoulder", "right_shoulder", "left_hip", "right_hip")
)


@dataclass(frozen=True, slots=True, eq=False)
class Person:
    """One person in one picture.

    Parameters
    ----------
    keypoints_px
        ``(21, 2)`` float32, pixels of the whole picture, NaN where missing.
    keypoint_confidence
        ``(21,)`` float32 in [0, 1], NaN where missing.
    """

    keypoints_px: NDArray[np.float32]
    keypoint_confidence: NDArray[np.float32]

    @property
    def score(self) -> float:
        """Mean confidence over all keypoints, a missing one counting 0."""
        return float(np.nan_to_num(self.keypoint_confidence).mean())

    @property
    def size_px(self) -> float:
        """Half the sum of width and height of the box around the keypoints."""
        _, _, width, height = keypoint_box_px(self.keypoints_px)
        return max(1.0, (width + height) / 2)

    @property
    def centre_px(self) -> NDArray[np.float64]:
        """``(2,)`` float64, pixels: mean of shoulders and hips, else of all; NaN of none."""
        for points in (self.keypoints_px[list(TRUNK)], self.keypoints_px):
            known = points[np.isfinite(points).all(axis=-1)]
            if len(known):
                return np.asarray(known.mean(axis=0), dtype=np.float64)
        return np.full(2, np.nan)

    @property
    def found(self) -> bool:
        """True when at least one keypoint is known."""
        return bool(np.isfinite(self.keypoints_px).any())


def similarity(one: Person, two: Person) -> float:
    """Object keypoint similarity of two detections over the keypoints that both have."""
    both = np.isfinite(one.keypoints_px) & np.isfinite(two.keypoints_px)
    first = np.where(both, one.keypoints_px, np.nan)
    area = min(area_px2(one.keypoints_px), area_px2(two.keypoints_px))
    fit = oks(first, two.keypoints_px, area)
    return 0.0 if np.isnan(fit) else fit


def without_doubles(people: Sequence[Person]) -> list[Person]:
    """Each person once: of detections that lie on one another the most confident stays."""
    kept: list[Person] = []
    for person in sorted(people, key=lambda p: -p.score):
        if person.found and all(similarity(person, other) < SAME_PERSON_OKS for other in kept):
            kept.append(person)
    return kept


def likely_pair(people: Sequence[Person]) -> tuple[Person, Person] | None:
    """The two who are most likely the athletes; None with fewer than two.

    Notes
    -----
    Athletes are near one another, about equally large, larger than bystanders further away, and
    lower than the referee who stands beside them. Each term is in body sizes, so that none needs
    to know the picture's scale.
    """
    pairs = list(itertools.combinations(people, 2))
    return max(pairs, key=lambda pair: pair_score(*pair), default=None)


def pair_score(one: Person, two: Person) -> float:
    """How much two people look like the athletes of a match; higher is likelier."""
    mean_size = (one.size_px + two.size_px) / 2
    apart = float(np.linalg.norm(one.centre_px - two.centre_px)) / mean_size
    unequal = abs(np.log(one.size_px / two.size_px))
    low = float(one.centre_px[1] + two.centre_px[1]) / 2 / mean_size
    score = one.score + two.score + np.log(mean_size) - apart - 0.5 * unequal + 0.1 * low
    return float(score)


def pair_estimate(people: Sequence[Person]) -> PairEstimate:
    """Up to two people as an estimate, in their order."""
    estimate = PairEstimate.nobody()
    for slot, person in enumerate(people[:2]):
        estimate.keypoints_px[slot] = person.keypoints_px
        estimate.keypoint_confidence[slot] = person.keypoint_confidence
    return estimate


def people_of(estimate: PairEstimate) -> list[Person]:
    """The people of an estimate, those not found left out."""
    both = (Person(estimate.keypoints_px[s], estimate.keypoint_confidence[s]) for s in (0, 1))
    return [person for person in both if person.found]
