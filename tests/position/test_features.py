from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.position.features import MIRROR, MIRROR_SIGN, N_FEATURES, SWAP, features
from posescore.terms import MIRRORED_KEYPOINTS, N_COCO
from tests.position.test_pictures import pictures

seeds = st.integers(0, 10**6)


@given(seeds, st.floats(0.05, 20), st.floats(-3000, 3000), st.floats(-3000, 3000))
@settings(max_examples=40, deadline=None)
def test_moving_and_scaling_change_nothing(seed: int, size: float, x: float, y: float) -> None:
    keypoints, confidence = pictures(seed)
    moved = (keypoints * size + np.array([x, y])).astype(np.float32)
    same = np.isclose(features(moved, confidence), features(keypoints, confidence), atol=0.02)
    assert same.mean() > 0.999  # rounding may tip a point that is just possible


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_exchanging_athletes_permutes_columns_exactly(seed: int) -> None:
    keypoints, confidence = pictures(seed)
    plain = features(keypoints, confidence)
    assert np.array_equal(features(keypoints[:, ::-1], confidence[:, ::-1]), plain[:, SWAP])


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_mirroring_permutes_columns_and_flips_signs(seed: int) -> None:
    keypoints, confidence = pictures(seed)
    order = list(MIRRORED_KEYPOINTS)
    image = keypoints[:, :, order] * np.array([-1, 1], np.float32)
    mirrored = features(image, confidence[:, :, order])
    expected = MIRROR_SIGN * features(keypoints, confidence)[:, MIRROR]
    assert np.allclose(mirrored, expected, atol=1e-4)


def test_both_symmetries_undo_themselves_and_commute() -> None:
    every = np.arange(N_FEATURES)
    assert np.array_equal(SWAP[SWAP], every)
    assert np.array_equal(MIRROR[MIRROR], every)
    assert np.array_equal(SWAP[MIRROR], MIRROR[SWAP])
    assert np.array_equal(MIRROR_SIGN[SWAP], MIRROR_SIGN)


@given(seeds, st.floats(0, 1))
@settings(max_examples=30, deadline=None)
def test_never_nan_and_bounded_whatever_is_missing(seed: int, missing: float) -> None:
    keypoints, confidence = pictures(seed, missing=missing)
    keypoints[1] = np.nan
    keypoints[2, 0, 5] = [1e6, -1e6]
    keypoints[3] = 7.0
    rows = features(keypoints, confidence)
    assert rows.shape == (8, N_FEATURES)
    assert rows.dtype == np.float32
    assert np.isfinite(rows).all()
    assert np.abs(rows).max() < 10


def test_seventeen_keypoints_equal_missing_feet() -> None:
    keypoints, confidence = pictures(3)
    keypoints[:, :, N_COCO:], confidence[:, :, N_COCO:] = np.nan, np.nan
    short = features(keypoints[:, :, :N_COCO], confidence[:, :, :N_COCO])
    assert np.array_equal(short, features(keypoints, confidence))


def test_a_small_roll_changes_features_little() -> None:
    keypoints, confidence = pictures(5, missing=0.0)
    angle = np.deg2rad(2.0)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    rolled = (keypoints @ turn.T).astype(np.float32)
    change = np.abs(features(rolled, confidence) - features(keypoints, confidence))
    assert change.mean() < 0.01


def test_upside_down_is_not_the_same() -> None:
    keypoints, confidence = pictures(5, missing=0.0)
    change = np.abs(features(-keypoints, confidence) - features(keypoints, confidence))
    assert change.mean() > 0.03


def test_no_frames_give_no_rows() -> None:
    rows = features(np.empty((0, 2, 21, 2), np.float32), np.empty((0, 2, 21), np.float32))
    assert rows.shape == (0, N_FEATURES)


def test_another_number_of_keypoints_is_refused() -> None:
    with pytest.raises(ValueError, match="17 or 21"):
        features(np.zeros((1, 2, 18, 2), np.float32), np.ones((1, 2, 18), np.float32))
