from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.footage.opencv import cv2
from posescore.pose.estimators.crop import MAX_CROP_PX, cut_out
from posescore.pose.estimators.estimator import Box
from posescore.pose.tracking.slots import square_around
from tests.pose.scenes import STANDING


@settings(max_examples=60, deadline=None)
@given(
    turn_deg=st.floats(-180, 180),
    width=st.floats(90, 900),
    height=st.floats(90, 900),
    x=st.floats(-20, 20),
    y=st.floats(-20, 20),
)
def test_a_mark_in_the_crop_maps_back_to_where_it_was(
    turn_deg: float, width: float, height: float, x: float, y: float
) -> None:
    picture = np.zeros((400, 500, 3), np.uint8)
    mark = np.array([250 + x, 200 + y])
    yy, xx = np.mgrid[:400, :500]
    blob = 255 * np.exp(-((xx - mark[0]) ** 2 + (yy - mark[1]) ** 2) / (2 * 5.0**2))
    picture[...] = blob[..., None].astype(np.uint8)
    crop = cut_out(picture, Box(250, 200, width, height, turn_deg))
    assert max(crop.picture.shape) <= MAX_CROP_PX
    weight = crop.picture[..., 0].astype(float)
    yy, xx = np.mgrid[: weight.shape[0], : weight.shape[1]]
    centre = np.array([[(xx * weight).sum(), (yy * weight).sum()]]) / weight.sum()
    np.testing.assert_allclose(crop.to_whole_px(centre)[0], mark, atol=1.5)


def test_cropping_undoes_the_turn() -> None:
    picture = np.zeros((300, 300, 3), np.uint8)
    cv2.line(picture, (150, 150), (220, 150), (255, 255, 255), 5)  # lies to the right
    crop = cut_out(picture, Box(150, 150, 200, 200, turn_deg=90)).picture
    assert crop[40, 100, 0] > 200  # stands upwards now
    assert crop[160, 100, 0] == 0


def test_a_square_holds_all_points_with_room() -> None:
    box = square_around(STANDING, margin=0.1)
    assert box.width_px == box.height_px == pytest.approx(1.2 * np.ptp(STANDING, axis=0).max())
    away = np.abs(STANDING - (box.centre_x_px, box.centre_y_px)).max()
    assert away < box.width_px / 2
