from __future__ import annotations

import numpy as np
import pytest

from posescore.evaluation.poses3d.pose_set import JOINT, JOINTS
from posescore.lab.poses.top_poses import AUTHORS, authored_top_poses
from posescore.terms import STATES, Position


@pytest.mark.parametrize("position", list(AUTHORS))
def test_every_position_has_its_frames_on_the_mat(position: Position) -> None:
    poses = authored_top_poses(np.random.default_rng(0), 50)
    of_it = np.array([STATES[s].position is position for s in poses.state])
    frames = poses.joints_m[of_it]
    assert frames.shape == (50, 2, len(JOINTS), 3)
    assert np.isfinite(frames).all()
    assert np.allclose(frames[..., 2].min((1, 2)), 0.03, atol=1e-4)
    assert (poses.entry < 0).all()


def _trunks(frames: np.ndarray) -> np.ndarray:
    """Unit directions of both trunks, ``(n, 2, 3)``."""
    along = frames[:, :, JOINT["neck"]] - frames[:, :, JOINT["core"]]
    return np.asarray(along / np.linalg.norm(along, axis=-1, keepdims=True))


def test_side_control_lies_across_the_chest() -> None:
    frames = AUTHORS[Position.SIDE_CONTROL](np.random.default_rng(0), 400)
    trunk = _trunks(frames)
    angle = np.rad2deg(np.arccos(np.clip((trunk[:, 0] * trunk[:, 1]).sum(1), -1, 1)))
    assert 75 < np.median(angle) < 105
    assert np.quantile(angle, 0.02) > 25
    assert np.quantile(angle, 0.98) < 145
    neck = frames[:, 0, JOINT["neck"]] - frames[:, 1, JOINT["neck"]]
    assert np.median(np.linalg.norm(neck, axis=1)) < 0.5  # chest on chest


def test_a_half_guard_holds_one_ankle_between_the_legs() -> None:
    frames = AUTHORS[Position.HALF_GUARD](np.random.default_rng(0), 400)
    ankles = [frames[:, 0, JOINT[f"{side}_ankle"]] for side in ("left", "right")]
    legs = [frames[:, 1, JOINT[f"{side}_ankle"]] for side in ("left", "right")]
    held, free = (
        np.median([np.linalg.norm(ankle - leg, axis=1) for leg in legs]) for ankle in ankles
    )
    assert held < 0.3 < free
    assert (frames[:, 0, JOINT["head"], 2] > frames[:, 1, JOINT["core"], 2]).mean() > 0.95
