"""Where to look while it is open who the athletes are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from posescore.pose.estimators.detection import Person
from posescore.pose.tracking.opening import WHOLE_PICTURES_PER_S, Looks, opening_box
from posescore.pose.tracking.slots import Detection


def _sight(x_px: float, y_px: float, size_px: float = 100.0) -> Detection:
    share = np.random.default_rng(1).random((21, 2))
    points = (np.array([x_px, y_px]) + size_px * share).astype(np.float32)
    return Detection(Person(points, np.full(21, 0.9, np.float32)), None)


PAIR = [_sight(200, 100), _sight(320, 140)]


def test_the_first_frame_is_searched_as_a_whole() -> None:
    assert opening_box([], 0.0, 0.05) is None


@pytest.mark.parametrize("detections", [[], PAIR[:1], [*PAIR, _sight(500, 90)]])
def test_without_exactly_two_people_the_whole_picture_is_searched(
    detections: list[Detection],
) -> None:
    assert opening_box([(0, 0.0, detections)], 0.05, 0.05) is None


def test_between_whole_pictures_the_box_holds_both_people_and_little_else() -> None:
    box = opening_box([(0, 0.0, PAIR)], 0.05, 0.05)
    assert box is not None
    points = np.concatenate([detection.person.keypoints_px for detection in PAIR])
    middle, half = np.array([box.centre_x_px, box.centre_y_px]), box.width_px / 2
    assert (np.abs(points - middle) <= half).all()
    assert box.width_px == box.height_px == pytest.approx(1.1 * np.ptp(points, axis=0).max())


@pytest.mark.parametrize("frames_per_s", [7.5, 12.0, 15.0, 30.0, 60.0])
def test_whole_pictures_are_searched_five_times_a_second_at_any_rate(frames_per_s: float) -> None:
    looks: list[tuple[int, float, list[Detection]]] = []
    whole = 0
    for row in range(round(6 * frames_per_s)):
        time_s = row / frames_per_s
        whole += opening_box(looks, time_s, 0.05) is None
        looks.append((row, time_s, PAIR))
    assert whole == 6 * WHOLE_PICTURES_PER_S


@given(st.floats(0, 1e4), st.floats(0, 2))
def test_a_box_never_lasts_longer_than_the_time_between_whole_pictures(
    last_s: float, passed_s: float
) -> None:
    looks: Looks = [(0, last_s, PAIR)]
    if opening_box(looks, last_s + passed_s, 0.05) is not None:
        assert passed_s <= 1 / WHOLE_PICTURES_PER_S + 1e-6
