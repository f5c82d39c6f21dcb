from __future__ import annotations

import numpy as np
import pytest

from posescore.evaluation.poses3d.cameras import random_cameras
from posescore.evaluation.poses3d.estimator_errors import (
    ErrorRates,
    estimate_badly,
    hidden,
    pair_size_px,
)
from posescore.lab.poses.pose_variation import TREE, on_floor, perturb
from posescore.lab.poses.rare_poses import AUTHORED, authored_poses
from posescore.terms import N_COCO, STATES


def _pairs(count: int, seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return (rng.uniform(-0.6, 0.6, (count, 2, 21, 3)) + np.array([0, 0, 0.7])).astype(np.float32)


def test_up_in_the_world_is_up_in_the_picture() -> None:
    low = np.zeros((400, 1, 3), np.float32)
    high = low + np.array([0, 0, 1.0], np.float32)
    points = np.concatenate([low, high], 1)
    pixel, depth = random_cameras(points, np.random.default_rng(2)).project(points)
    rise = pixel[:, 0] - pixel[:, 1]
    assert (rise[:, 1] > 0).all()
    assert (np.abs(rise[:, 0]) < 0.6 * rise[:, 1]).mean() > 0.95
    assert (depth > 0).all()


def test_axes_are_right_handed_and_orthonormal() -> None:
    points = _pairs(50)
    axes = random_cameras(points, np.random.default_rng(0)).axes
    assert np.allclose(axes @ axes.transpose(0, 2, 1), np.eye(3), atol=1e-9)
    assert np.allclose(np.linalg.det(axes), 1.0)


def test_most_of_the_pair_is_in_the_picture() -> None:
    points = _pairs(300)
    cameras = random_cameras(points, np.random.default_rng(1))
    pixel, _ = cameras.project(points)
    inside = (pixel >= 0) & (pixel < cameras.picture_size_px[:, None, None])
    assert inside.all(-1).mean() > 0.9


def test_a_body_in_front_hides_what_is_behind() -> None:
    points = np.full((1, 2, 21, 2), np.nan, np.float32)
    rng = np.random.default_rng(0)
    points[0, 0] = rng.uniform(300, 330, (21, 2))
    points[0, 1] = rng.uniform(300, 330, (21, 2))
    depth = np.full((1, 2, 21), 3.0, np.float32)
    depth[0, 1] = 4.0
    behind = hidden(points, depth, np.array([300.0], np.float32))
    assert behind[0, 1].mean() > 0.9
    assert not behind[0, 0].any()


def test_without_rates_nothing_is_wrong() -> None:
    truth = (100 * _pairs(20)[..., :2]).astype(np.float32)
    none = ErrorRates(
        noise=(0, 0), outliers=(0, 0), missing=(0, 0), body_flip=0, limb_flip=0,
        athlete_missing=0, no_feet=0, no_confidence=1,
    )  # fmt: skip
    given, confidence = estimate_badly(
        truth, np.zeros(truth.shape[:3], bool), np.random.default_rng(0), none
    )
    assert np.allclose(given, truth)
    assert (confidence == 1).all()


def test_confidence_falls_with_the_error_and_is_missing_with_the_keypoint() -> None:
    truth = (100 * _pairs(3000)[..., :2]).astype(np.float32)
    rng = np.random.default_rng(0)
    behind = rng.random(truth.shape[:3]) < 0.3
    given, confidence = estimate_badly(truth, behind, rng, ErrorRates(no_confidence=0.0))
    gone = np.isnan(given[..., 0])
    assert (np.isnan(confidence) == gone).all()
    assert 0.05 < gone[:, :, :N_COCO].mean() < 0.35
    error = np.linalg.norm(given - truth, axis=-1) / pair_size_px(truth)[:, None, None]
    assert np.corrcoef(error[~gone], confidence[~gone])[0, 1] < -0.3


@pytest.mark.parametrize("position", list(AUTHORED))
def test_authored_bodies_have_human_bones_and_lie_on_the_floor(position: str) -> None:
    poses = authored_poses(np.random.default_rng(0), 60)
    chosen = poses.take(np.array([STATES[s].position == position for s in poses.state]))
    assert len(chosen) == 60
    for parent, child in TREE:
        bone = np.linalg.norm(chosen.joints_m[:, :, parent] - chosen.joints_m[:, :, child], axis=-1)
        # What would lie under the mat is pressed onto it: a hand or foot may come out short.
        assert (bone > 0.04).mean() > 0.9
        assert np.median(bone) > 0.06
        assert (bone < 0.62).all()
    lowest = chosen.joints_m[..., 2].min((1, 2))
    assert np.allclose(lowest, lowest[0])


def test_upper_is_higher_where_the_position_says_on_top() -> None:
    poses = authored_poses(np.random.default_rng(3), 200)
    for name in ("mount", "back_mount", "knee_on_belly"):
        chosen = poses.take(np.array([STATES[s].position == name for s in poses.state]))
        hips = chosen.joints_m[:, :, [8, 9], 2].mean(-1)
        assert (hips[:, 0] > hips[:, 1]).mean() > 0.97


def test_perturbing_keeps_the_skeleton() -> None:
    poses = authored_poses(np.random.default_rng(1), 40)
    bent = perturb(poses.joints_m, np.random.default_rng(2), 1.0)
    for parent, child in TREE:
        before = np.linalg.norm(poses.joints_m[:, :, parent] - poses.joints_m[:, :, child], axis=-1)
        after = np.linalg.norm(bent[:, :, parent] - bent[:, :, child], axis=-1)
        assert (np.abs(after / before - 1) < 0.6).all()
    assert np.allclose(on_floor(bent), bent, atol=1e-5)
