"""Asking about two frames at once changes no answer, only when it is given."""

from __future__ import annotations

import threading

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from posescore.footage.clock import FrameClock
from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.pose.estimators.prefetch import KEPT_FRACTION, prefetching, settled_box, with_next
from posescore.pose.tracking.follow import follow
from posescore.terms import Step
from tests.pose.scenes import Body, Scene, SceneEstimator, path

HERE, THERE = Box(50, 50, 40, 40), Box(90, 50, 40, 40)


class Told:
    """Answers with the shade of the picture and the middle of the box."""

    def __init__(self) -> None:
        self.asked: list[tuple[int, tuple[Box, ...]]] = []
        self.threads: set[str] = set()

    @property
    def step(self) -> Step:
        return Step("told")

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        self.threads.add(threading.current_thread().name)
        self.asked.append((int(picture[0, 0, 0]), boxes))
        made = PairEstimate.nobody()
        made.keypoints_px[0] = picture[0, 0, 0]
        made.keypoints_px[1] = boxes[0].centre_x_px if boxes else 0
        return made

    def close(self) -> None:
        """Nothing to release."""


def picture(shade: int) -> Picture:
    return np.full((4, 4, 3), shade, np.uint8)


@given(st.lists(st.sampled_from([HERE, THERE, None]), min_size=1, max_size=12))
def test_answers_are_those_of_asking_one_by_one(boxes: list[Box | None]) -> None:
    estimator = Told()
    frames = [picture(shade) for shade in range(len(boxes))]
    with prefetching(estimator) as both:
        for box, (frame, following) in zip(boxes, with_next(frames), strict=True):
            answer = both.estimate(frame, box, following)
            alone = Told().estimate(frame, () if box is None else (box,))
            np.testing.assert_array_equal(answer.keypoints_px, alone.keypoints_px)
    assert not any(t.name.startswith("next-frame") for t in threading.enumerate())


def test_a_pair_that_keeps_its_place_is_asked_about_once_a_frame_in_two_threads() -> None:
    estimator = Told()
    frames = [picture(shade) for shade in range(6)]
    with prefetching(estimator) as both:
        for frame, following in with_next(frames):
            both.estimate(frame, HERE, following)
    assert sorted(shade for shade, _ in estimator.asked) == list(range(6))
    assert len(estimator.threads) == 2


def test_an_error_about_the_next_frame_is_raised_when_that_frame_is_reached() -> None:
    class Broken(Told):
        def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
            if picture[0, 0, 0] == 1:
                raise ValueError("broken")
            return super().estimate(picture, boxes)

    frames = [picture(0), picture(1)]
    with prefetching(Broken()) as both:
        both.estimate(frames[0], HERE, frames[1])
        with pytest.raises(ValueError, match="broken"):
            both.estimate(frames[1], HERE, None)


@given(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2), st.floats(0.8, 1.25))
def test_a_place_is_kept_while_the_pair_is_hardly_off(x: float, y: float, size: float) -> None:
    wanted = Box(50 + 40 * x, 50 + 40 * y, 40 * size, 40 * size)
    off = max(abs(x), abs(y), abs(size - 1))
    if abs(off - KEPT_FRACTION) > 1e-9:
        assert settled_box(HERE, wanted) == (HERE if off < KEPT_FRACTION else wanted)
    assert settled_box(None, wanted) == wanted
    assert settled_box(HERE, None) is None


def test_every_item_comes_with_the_one_after_it() -> None:
    assert list(with_next([])) == []
    assert list(with_next([1])) == [(1, None)]
    assert list(with_next([1, 2, 3])) == [(1, 2), (2, 3), (3, None)]


def test_following_gives_the_same_whether_or_not_answers_come_ahead(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    moving = path((0, 150, 150), (60, 260, 170), (89, 300, 240), n_frames=90)
    bodies = [Body(moving, (228, 226, 220), scale=0.6),
              Body(moving + np.array([70, 0]), (40, 70, 150), scale=0.6)]  # fmt: skip
    scene = Scene(bodies, FrameClock.steady(90, 30))
    ahead = follow(scene, SceneEstimator(scene), every=1)
    monkeypatch.setattr(
        "posescore.pose.tracking.follow.with_next", lambda items: ((i, None) for i in items)
    )
    alone = follow(scene, SceneEstimator(scene), every=1)
    np.testing.assert_array_equal(ahead.keypoints_px, alone.keypoints_px)
