"""Our network in contact, MediaPipe where people stand apart: whichever is surer of both.

The pair network runs first. Where it is sure of both athletes its answer stands; else MediaPipe
is asked too, if ours sees two people apart and upright, or nobody; its answer is taken only when
it sees two people who do not overlap and are seen well: they are what it was made for.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.estimators.detection import Person, likely_pair, pair_estimate
from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.pose.estimators.mediapipe_estimator import MediaPipeEstimator
from posescore.pose.estimators.pair_network import PairNetworkEstimator
from posescore.pose.estimators.pair_prediction import NOBODY_BELOW, PairPrediction
from posescore.pose.oks import keypoint_box_px
from posescore.pose.tracking.slots import trunk_turn_deg
from posescore.terms import Step

SURE: Final = 0.72
"""Mean calibrated confidence of the less sure athlete from which MediaPipe is not asked."""

MEDIAPIPE_SURE: Final = 0.6
"""Mean confidence of the less sure of MediaPipe's two people from which they may be taken."""

MAX_OVERLAP: Final = 0.15
"""Share of the smaller person's box that the other's may cover: more is contact."""

IN_CONTACT: Final = 0.25
"""Share of the smaller athlete's box, as the network sees them, from which MediaPipe is not asked:
it could only be taken for people who do not overlap, and then one of them is the referee. On 100
rendered pictures with a referee beside a pair in contact it was taken 5 times, 5 times for him."""

UPRIGHT_DEG: Final = 60.0
"""How far a trunk may be turned from upright for MediaPipe to be asked: it finds people who stand
or sit. On the sample match it was asked 153 times without this and the limit above at .5, at twice
the price of a network's call, and its answer was never taken."""


class FusedEstimator:
    """The estimator as shipped.

    Parameters
    ----------
    network, mediapipe
        What is fused; the shipped ones when not given. Both are closed with this.

    Raises
    ------
    MissingPartError
        When weights or a system library are missing.
    """

    def __init__(
        self,
        network: PairNetworkEstimator | None = None,
        mediapipe: MediaPipeEstimator | None = None,
    ) -> None:
        self._network = network or PairNetworkEstimator()
        self._mediapipe = mediapipe or MediaPipeEstimator()
        network_step, mediapipe_step = self._network.step, self._mediapipe.step
        self._step = Step(
            "pair_network_and_mediapipe",
            {
                "sure": SURE,
                "mediapipe_sure": MEDIAPIPE_SURE,
                "max_overlap": MAX_OVERLAP,
                "in_contact": IN_CONTACT,
                "upright_deg": UPRIGHT_DEG,
                "network": dict(network_step.settings),
                "mediapipe": dict(mediapipe_step.settings),
            },
            {**network_step.model_sha256, **mediapipe_step.model_sha256},
        )

    @property
    def step(self) -> Step:
        """Name, settings and model hashes of both."""
        return self._step

    def close(self) -> None:
        """Release both."""
        self._network.close()
        self._mediapipe.close()

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        """Keypoints of both athletes, from the one or the other."""
        look = self._network.look(picture, boxes)
        ours = look.estimate()
        nobody = look.athlete_confidence.max() < NOBODY_BELOW
        if look.athlete_confidence.min() >= SURE:
            return ours
        if not _worth_asking(look) and not (nobody and not boxes):
            return ours
        people = self._mediapipe.people(picture, boxes[0] if len(boxes) == 1 else None)
        if nobody:
            return pair_estimate(likely_pair(people) or people)
        pair = likely_pair(people)
        if pair is None or not _apart_and_clear(*pair):
            return ours
        theirs = min(person.score for person in pair)
        if theirs < max(MEDIAPIPE_SURE, float(look.athlete_confidence.min())):
            return ours
        return PairEstimate(
            np.stack([person.keypoints_px for person in pair]),
            np.stack([person.keypoint_confidence for person in pair]),
        )


def _worth_asking(look: PairPrediction) -> bool:
    """True where MediaPipe might be taken: two people who stand or sit clear of each other."""
    if covered(*look.keypoints_px) > IN_CONTACT:
        return False
    people = (Person(look.keypoints_px[s], look.confidence[s]) for s in (0, 1))
    return all(abs(trunk_turn_deg(person)) <= UPRIGHT_DEG for person in people)


def _apart_and_clear(one: Person, two: Person) -> bool:
    return covered(one.keypoints_px, two.keypoints_px) <= MAX_OVERLAP


def covered(one_px: NDArray[np.floating], two_px: NDArray[np.floating]) -> float:
    """Share of the smaller of two keypoint boxes that the other covers."""
    x, y, width, height = keypoint_box_px(one_px)
    left, top, wide, high = keypoint_box_px(two_px)
    across = max(0.0, min(x + width, left + wide) - max(x, left))
    down = max(0.0, min(y + height, top + high) - max(y, top))
    return across * down / max(1.0, min(width * height, wide * high))
