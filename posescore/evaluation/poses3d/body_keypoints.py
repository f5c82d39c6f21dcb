"""From the pose set's 23 joints to 21 keypoints in 3D, as differently as estimators see them.

The set has no face: nose, eyes and ears are placed on a head whose turn and nod are drawn at
random around the direction of the chest. Keypoints also mean different spots to different
estimators (the hip of a surface regressor lies higher and closer in than the joint's centre), so
every draw shifts hips, shoulders, ankles and the face a little, the same way for both athletes.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import JOINT
from posescore.terms import KEYPOINT_INDEX, N_KEYPOINTS

_SHARED: Final = tuple(name for name in KEYPOINT_INDEX if name in JOINT)
HEAD_TURN_SD_RAD: Final = 0.45
HEAD_NOD_SD_RAD: Final = 0.35

# Right, forward and up of the head's centre, in metres, for an adult head.
FACE: Final = {
    "nose": (0.0, 0.115, -0.02),
    "left_eye": (-0.032, 0.095, 0.02),
    "right_eye": (0.032, 0.095, 0.02),
    "left_ear": (-0.075, 0.005, 0.0),
    "right_ear": (0.075, 0.005, 0.0),
}


def body_keypoints_m(
    joints_m: NDArray[np.float32], rng: np.random.Generator, variation: float = 1.0
) -> NDArray[np.float32]:
    """21 keypoints ``(n, 2, 21, 3)`` in metres of frames ``(n, 2, 23, 3)``.

    ``variation`` scales everything random; 0 gives the same keypoints at every call.
    """
    keypoints = np.empty((*joints_m.shape[:2], N_KEYPOINTS, 3), np.float32)
    for name in _SHARED:
        keypoints[:, :, KEYPOINT_INDEX[name]] = joints_m[:, :, JOINT[name]]
    _place_face(keypoints, joints_m, rng, variation)
    _shift_landmarks(keypoints, joints_m, rng, variation)
    return keypoints


def _unit(vectors: NDArray[np.float32]) -> NDArray[np.float32]:
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.asarray(vectors / np.maximum(length, 1e-6), np.float32)


def _place_face(
    keypoints: NDArray[np.float32],
    joints_m: NDArray[np.float32],
    rng: np.random.Generator,
    variation: float,
) -> None:
    head, neck = joints_m[:, :, JOINT["head"]], joints_m[:, :, JOINT["neck"]]
    right = joints_m[:, :, JOINT["right_shoulder"]] - joints_m[:, :, JOINT["left_shoulder"]]
    up = _unit(head - neck)
    right = _unit(right - (right * up).sum(-1, keepdims=True) * up)
    forward = np.cross(up, right)
    shape = (*joints_m.shape[:2], 1)
    turn = variation * HEAD_TURN_SD_RAD * rng.standard_normal(shape, np.float32)
    nod = variation * HEAD_NOD_SD_RAD * rng.standard_normal(shape, np.float32)
    right, forward = (
        np.cos(turn) * right + np.sin(turn) * forward,
        np.cos(turn) * forward - np.sin(turn) * right,
    )
    forward, up = np.cos(nod) * forward + np.sin(nod) * up, np.cos(nod) * up - np.sin(nod) * forward
    size = 1 + 0.08 * variation * rng.standard_normal(shape, np.float32)
    for name, (x, y, z) in FACE.items():
        spot = head + size * (x * right + y * forward + z * up)
        keypoints[:, :, KEYPOINT_INDEX[name]] = spot


def _shift_landmarks(
    keypoints: NDArray[np.float32],
    joints_m: NDArray[np.float32],
    rng: np.random.Generator,
    variation: float,
) -> None:
    """Hips and shoulders of another regressor: closer or wider, higher or lower, by frame."""
    count = len(joints_m)
    for part, spread, rise in (("hip", 0.14, 0.03), ("shoulder", 0.10, 0.02)):
        left, right = KEYPOINT_INDEX[f"left_{part}"], KEYPOINT_INDEX[f"right_{part}"]
        middle = (keypoints[:, :, left] + keypoints[:, :, right]) / 2
        width = 1 + variation * spread * rng.uniform(-1, 0.6, (count, 1, 1)).astype(np.float32)
        along = _unit(joints_m[:, :, JOINT["neck"]] - joints_m[:, :, JOINT["core"]])
        lift = variation * rise * rng.standard_normal((count, 1, 1), np.float32) * along
        for side in (left, right):
            keypoints[:, :, side] = middle + width * (keypoints[:, :, side] - middle) + lift
    jitter = rng.standard_normal(keypoints.shape, np.float32)
    keypoints += 0.012 * variation * jitter
