"""Which estimator is believed, with both replaced by ones that say what they are told."""

from __future__ import annotations

from typing import Any

import numpy as np

from posescore.pose.estimators.detection import Person
from posescore.pose.estimators.estimator import Box, Picture
from posescore.pose.estimators.fused_estimator import FusedEstimator
from posescore.pose.estimators.pair_prediction import PairPrediction
from posescore.terms import Step

PICTURE = np.zeros((100, 300, 3), np.uint8)


class Network:
    step = Step("network")

    def __init__(self, confidence: float) -> None:
        self.confidence = confidence

    def look(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairPrediction:
        sure = np.full((2, 21), self.confidence, np.float32)
        points = np.full((2, 21, 2), 7, np.float32)
        return PairPrediction(points, sure, sure, np.zeros((2, 64, 64), np.float32))

    def close(self) -> None: ...


class MediaPipe:
    step = Step("mediapipe")

    def __init__(self, score: float, gap_px: float) -> None:
        self.score, self.gap_px, self.asked = score, gap_px, 0

    def people(self, picture: Picture, box: Box | None = None) -> list[Person]:
        self.asked += 1
        body = np.random.default_rng(0).uniform(0, 80, (21, 2)).astype(np.float32)
        sure = np.full(21, self.score, np.float32)
        shift = np.array([self.gap_px, 0], np.float32)
        return [Person(body + k * shift, sure) for k in (0, 1)]

    def close(self) -> None: ...


def fused(network: Any, mediapipe: Any) -> FusedEstimator:
    return FusedEstimator(network, mediapipe)


def is_ours(estimate: Any) -> bool:
    return bool((estimate.keypoints_px == 7).all())


def test_a_sure_network_is_believed_without_asking() -> None:
    mediapipe = MediaPipe(0.95, 150)
    assert is_ours(fused(Network(0.8), mediapipe).estimate(PICTURE))
    assert mediapipe.asked == 0


def test_an_unsure_network_yields_to_two_clear_people_apart() -> None:
    assert not is_ours(fused(Network(0.4), MediaPipe(0.9, 150)).estimate(PICTURE))


def test_people_in_contact_or_seen_badly_are_not_taken() -> None:
    assert is_ours(fused(Network(0.4), MediaPipe(0.9, 20)).estimate(PICTURE))
    assert is_ours(fused(Network(0.4), MediaPipe(0.5, 150)).estimate(PICTURE))


def test_where_the_network_sees_nobody_mediapipe_decides() -> None:
    estimate = fused(Network(0.05), MediaPipe(0.4, 20)).estimate(PICTURE)
    assert not is_ours(estimate)
    assert np.isfinite(estimate.keypoints_px).all()


class Standing:
    """Two standing people some way apart, not seen well; ``lying`` turns the second."""

    step = Step("network")

    def __init__(self, gap_px: float, lying: bool = False) -> None:
        body = np.random.default_rng(0).uniform(10, 30, (21, 2)).astype(np.float32)
        body[5:7, 1], body[11:13, 1] = 10.0, 30.0
        other = body[:, ::-1] if lying else body
        self.points = np.stack([body, other + np.array([gap_px, 0], np.float32)])

    def look(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairPrediction:
        sure = np.full((2, 21), 0.5, np.float32)
        return PairPrediction(self.points, sure, sure, np.zeros((2, 64, 64), np.float32))

    def close(self) -> None: ...


HINT = (Box(60, 40, 100, 60),)


def test_in_a_followed_video_mediapipe_is_asked_where_people_stand_apart() -> None:
    mediapipe = MediaPipe(0.9, 150)
    network = Standing(60)
    found = fused(network, mediapipe).estimate(PICTURE, HINT).keypoints_px
    assert not np.array_equal(found, network.points)
    assert mediapipe.asked == 1


def test_in_a_followed_video_mediapipe_is_not_asked_where_it_cannot_win() -> None:
    mediapipe = MediaPipe(0.9, 150)
    for network in (Standing(5), Standing(60, lying=True)):
        found = fused(network, mediapipe).estimate(PICTURE, HINT).keypoints_px
        np.testing.assert_array_equal(found, network.points)
    assert mediapipe.asked == 0


def test_two_who_overlap_are_never_given_up_for_one_of_them_and_a_referee() -> None:
    mediapipe = MediaPipe(0.9, 150)
    network = Standing(5)
    np.testing.assert_array_equal(
        fused(network, mediapipe).estimate(PICTURE).keypoints_px, network.points
    )
    assert mediapipe.asked == 0
