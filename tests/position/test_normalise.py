from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.evaluation.poses3d.pose_set import swapped_states
from posescore.position.classifier import PositionClassifier
from posescore.position.network import PairNetworks
from posescore.position.normalise import FARTHEST, mirrored_picture
from posescore.position.normalise import given as as_given
from posescore.terms import MIRRORED_KEYPOINTS, N_COCO, STATES

seeds = st.integers(0, 10**6)


def pictures(seed: int, count: int = 8, missing: float = 0.2) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    centre = rng.uniform(200, 600, (count, 2, 1, 2))
    keypoints = (centre + rng.normal(0, 120, (count, 2, 21, 2))).astype(np.float32)
    confidence = rng.uniform(0.1, 1, (count, 2, 21)).astype(np.float32)
    gone = rng.random((count, 2, 21)) < missing * rng.random((count, 1, 1)) * 2
    gone[0, 1] = True
    keypoints[gone], confidence[gone] = np.nan, np.nan
    return keypoints, confidence


@pytest.fixture(scope="module")
def networks() -> PairNetworks:
    return PositionClassifier.load().networks


@given(seeds, st.floats(0.05, 20), st.floats(-3000, 3000), st.floats(-3000, 3000))
@settings(max_examples=30, deadline=None)
def test_moving_and_scaling_change_nothing(seed: int, size: float, x: float, y: float) -> None:
    keypoints, confidence = pictures(seed)
    moved = (keypoints * size + np.array([x, y])).astype(np.float32)
    assert np.allclose(as_given(moved, confidence), as_given(keypoints, confidence), atol=0.02)


@given(seeds)
@settings(max_examples=30, deadline=None)
def test_a_mirrored_picture_is_the_mirror_of_what_is_given(seed: int) -> None:
    keypoints, confidence = pictures(seed)
    order = list(MIRRORED_KEYPOINTS)
    image = keypoints[:, :, order] * np.array([-1, 1], np.float32)
    mirrored = as_given(image, confidence[:, :, order])
    assert np.allclose(mirrored, mirrored_picture(as_given(keypoints, confidence)), atol=1e-4)


@given(seeds, st.floats(0, 1))
@settings(max_examples=30, deadline=None)
def test_never_nan_and_bounded_whatever_is_missing(seed: int, missing: float) -> None:
    keypoints, confidence = pictures(seed, missing=missing)
    keypoints[1] = np.nan
    keypoints[2, 0, 5] = [1e6, -1e6]
    keypoints[3] = 7.0
    rows = as_given(keypoints, confidence)
    assert rows.shape == (8, 2, 21, 4)
    assert np.isfinite(rows).all()
    assert np.abs(rows).max() <= FARTHEST
    assert not rows[1].any()


def test_seventeen_keypoints_equal_missing_feet() -> None:
    keypoints, confidence = pictures(3)
    keypoints[:, :, N_COCO:], confidence[:, :, N_COCO:] = np.nan, np.nan
    short = as_given(keypoints[:, :, :N_COCO], confidence[:, :, :N_COCO])
    assert np.array_equal(short, as_given(keypoints, confidence))


def test_exchanging_athletes_exchanges_the_answer(networks: PairNetworks) -> None:
    rows = as_given(*pictures(5, 200))
    for fold in range(6):
        plain = networks.logits(rows, fold)
        assert plain.shape == (200, 2, len(STATES))
        exchanged = networks.logits(rows[:, ::-1], fold)[..., swapped_states()]
        assert np.allclose(exchanged, plain, atol=1e-3)


def test_a_picture_is_judged_alone(networks: PairNetworks) -> None:
    rows = as_given(*pictures(6, 150))
    assert np.allclose(networks.logits(rows[70:75], 0), networks.logits(rows, 0)[70:75], atol=1e-3)


def test_no_pictures_give_no_answers(networks: PairNetworks) -> None:
    assert networks.logits(np.empty((0, 2, 21, 4), np.float32), 5).size == 0


def test_every_fold_has_networks_of_its_own(networks: PairNetworks) -> None:
    rows = as_given(*pictures(6, 5))
    answers = [networks.logits(rows, fold) for fold in range(6)]
    assert all(np.abs(a - b).max() > 0.1 for a, b in pairwise(answers))


@pytest.mark.parametrize("count", [18, 20])
def test_another_number_of_keypoints_is_refused(count: int) -> None:
    with pytest.raises(ValueError, match="17 or 21"):
        as_given(np.zeros((1, 2, count, 2), np.float32), np.ones((1, 2, count), np.float32))


def test_no_pictures_are_given_as_none() -> None:
    nothing = np.empty((0, 2, 21, 2), np.float32)
    assert as_given(nothing, nothing[..., 0]).shape == (0, 2, 21, 4)
