from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from posescore.errors import MissingPartError
from posescore.evaluation.poses3d.body_keypoints import body_keypoints_m
from posescore.evaluation.poses3d.pose_set import (
    JOINT,
    alignment,
    load_pose_set,
    mirrored,
    nearest_distance_m,
    split_entries,
    swapped_states,
)
from posescore.terms import KEYPOINT_INDEX, STATES, Position
from tests.evaluation.pose_sets import pose_set_or_skip


def _turned(frames: np.ndarray, angle: float) -> np.ndarray:
    cos, sin = np.cos(angle), np.sin(angle)
    turn = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]], np.float32)
    return frames @ turn.T + np.array([0.7, -0.4, 0.0], np.float32)


def _random_frames(count: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((count, 2, 23, 3)).astype(np.float32)


def test_an_absent_set_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(MissingPartError, match="POSESCORE_POSES3D"):
        load_pose_set(tmp_path / "none.npz")


def test_a_file_of_another_kind_is_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "poses3d.npz"
    path.write_text("no")
    with pytest.raises(MissingPartError, match="is not a pose set"):
        load_pose_set(path)


def test_no_entry_is_on_both_sides_of_the_split() -> None:
    entry = np.random.default_rng(1).integers(0, 90, 700)
    train, test = split_entries(entry, 0.25, seed=3)
    assert not set(entry[train]) & set(entry[test])
    assert (train ^ test).all()
    assert test.any()


@pytest.mark.parametrize("mirror", [False, True])
@pytest.mark.parametrize("swap", [False, True])
def test_the_same_pose_is_found_however_it_is_turned(mirror: bool, swap: bool) -> None:
    frames = _random_frames(6)
    other = mirrored(frames) if mirror else frames
    other = other[:, ::-1] if swap else other
    distance = nearest_distance_m(_turned(frames, 1.1), other)
    assert np.all(distance < 1e-4)


def test_distance_is_the_least_mean_over_joints_of_all_turns() -> None:
    a, b = _random_frames(1, 1), _random_frames(1, 2)
    best = np.inf
    for variant in (b, mirrored(b), b[:, ::-1], mirrored(b)[:, ::-1]):
        for angle in np.linspace(0, 2 * np.pi, 721):
            turned = _turned(variant, angle)
            home = turned[..., :2].mean((1, 2)) - a[..., :2].mean((1, 2))
            turned[..., :2] -= home
            best = min(best, float(np.sqrt(((a - turned) ** 2).sum(-1).mean())))
    assert alignment(a, b).rms_m[0, 0] == pytest.approx(best, abs=2e-3)


def test_exchanging_twice_changes_no_state() -> None:
    swap = swapped_states()
    assert (swap[swap] == np.arange(len(STATES))).all()


def test_the_set_reads_and_backs_are_told_apart_by_geometry() -> None:
    pose_set = pose_set_or_skip()
    named = pose_set.labelled
    positions = {STATES[i].position for i in np.unique(named.state)}
    assert {Position.BACK_CONTROL, Position.BACK_MOUNT, Position.KNEE_ON_BELLY} <= positions
    for row in np.flatnonzero([STATES[s].position is Position.BACK_MOUNT for s in named.state]):
        upper = STATES[named.state[row]].upper
        assert upper is not None
        hips = [JOINT["left_hip"], JOINT["right_hip"]]
        heights = named.joints_m[row][:, hips, 2].mean(1)
        assert heights[upper.slot] > heights[upper.other.slot]


def test_left_stays_left_and_the_nose_points_out_of_the_chest() -> None:
    pose_set = pose_set_or_skip()
    keypoints = body_keypoints_m(pose_set.joints_m[:500], np.random.default_rng(0), variation=0)
    at = {name: keypoints[:, :, i] for name, i in KEYPOINT_INDEX.items()}
    for part in ("shoulder", "knee", "toe"):
        given = pose_set.joints_m[:500, :, JOINT[f"left_{part}"]]
        assert np.allclose(at[f"left_{part}"], given, atol=1e-5)
    ears = at["left_ear"] - at["right_ear"]
    shoulders = at["left_shoulder"] - at["right_shoulder"]
    assert ((ears * shoulders).sum(-1) > 0).mean() > 0.99
    head = pose_set.joints_m[:500, :, JOINT["head"]]
    assert np.allclose(np.linalg.norm(at["nose"] - head, axis=-1), 0.117, atol=2e-3)
