"""Squares cut out of pictures show what lies there, at any size and place."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.pose.estimators.onnx_network import SIDE_PX, square_of


def _ramps(width_px: int, height_px: int) -> np.ndarray:
    """A picture whose red rises to the right and green downwards."""
    picture = np.zeros((height_px, width_px, 3), np.uint8)
    picture[..., 0] = np.linspace(20, 120, width_px)[None]
    picture[..., 1] = np.linspace(20, 120, height_px)[:, None]
    return picture


@settings(deadline=None, max_examples=60)
@given(
    st.integers(40, 2200),
    st.integers(40, 1300),
    st.floats(0, 1),
    st.floats(0, 1),
    st.floats(30, 4000),
)
def test_a_square_shows_what_its_map_says(
    width_px: int, height_px: int, across: float, down: float, side_px: float
) -> None:
    picture = _ramps(width_px, height_px)
    centre = (across * width_px, down * height_px)
    square, to_picture = square_of(picture, centre, side_px)
    assert square.shape == (SIDE_PX, SIDE_PX, 3)
    at = np.arange(SIDE_PX) + 0.5
    room = 2 * max(2, side_px / SIDE_PX) + 2  # blocks and blending at the picture's edges
    for axis, size in ((0, width_px), (1, height_px)):
        place = to_picture[axis, axis] * at + to_picture[axis, 2]
        inside = (place > room) & (place < size - room)
        others = np.arange(SIDE_PX)
        other_size, other = (height_px, 1) if axis == 0 else (width_px, 0)
        other_place = to_picture[other, other] * at + to_picture[other, 2]
        others = others[(other_place > room) & (other_place < other_size - room)]
        if not inside.any() or not len(others):
            continue
        line = (
            square[others[len(others) // 2], :, 0]
            if axis == 0
            else square[:, others[len(others) // 2], 1]
        )
        expected = 20 + 100 * (place - 0.5) / max(1, size - 1)
        np.testing.assert_allclose(line[inside], expected[inside], atol=2.5)


def test_a_square_beside_the_picture_is_grey() -> None:
    square, _ = square_of(_ramps(640, 360), (5000.0, 200.0), 600.0)
    assert (square == 128).all()


def test_a_picture_thinner_than_a_block_is_shown() -> None:
    square, _ = square_of(np.full((3, 2000, 3), 40, np.uint8), (1000.0, 1.5), 2000.0)
    assert (square[SIDE_PX // 2, :, 0] < 128).all()


def test_part_of_a_large_picture_is_as_if_the_rest_were_not_there() -> None:
    random = np.random.default_rng(2)
    picture = random.integers(0, 256, (720, 1280, 3), np.uint8)
    other = random.integers(0, 256, (720, 1280, 3), np.uint8)
    other[100:620, 300:980] = picture[100:620, 300:980]
    for centre, side in (((640.0, 360.0), 512.0), ((601.3, 355.2), 515.0)):
        one, two = square_of(picture, centre, side)[0], square_of(other, centre, side)[0]
        np.testing.assert_array_equal(one[2:-2, 2:-2], two[2:-2, 2:-2])
