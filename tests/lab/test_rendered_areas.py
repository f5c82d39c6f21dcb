"""Test pictures count an athlete's area from the body, and take a stricter yardstick."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("torch")
pytest.importorskip("anny")

from posescore.lab.pictures.rendered_pictures import area_px2
from posescore.lab.pictures.rendered_scores import with_keypoint_area
from posescore.lab.stage.handheld import View
from posescore.lab.stage.renderer import Stance
from posescore.pose.coco import PosedPicture


def test_area_is_half_of_the_box_around_the_flesh() -> None:
    ahead = np.array([[1.0, 0, 0], [0, 1.0, 0], [0, 0, 1.0]])
    view = View(ahead, np.zeros(3), 100.0, (200, 200))
    ends = np.array([[0.0, 0.0, 2.0]]), np.array([[1.0, 0.0, 2.0]])
    stance = Stance(np.zeros((1, 3, 4), np.float32), *ends, np.array([0.2]))
    # 1 m and a fifth of a metre on each side at 2 m and 100 px focal length: 70 by 20 px.
    assert area_px2(stance, view) == pytest.approx(0.5 * 70 * 20)


def test_the_stricter_yardstick_is_half_of_the_box_around_the_keypoints() -> None:
    points = np.zeros((2, 21, 2), np.float32)
    points[:, 1] = [30, 10]
    points[1, 2:] = np.nan
    sure = np.ones((2, 21), np.float32)
    picture = PosedPicture("0.jpg", None, None, None, points, sure, np.full(2, 9.0))
    assert with_keypoint_area(picture).area_px2.tolist() == [150, 150]
