"""A figure of rigid bones, built from the pelvis outwards, limbs by two-bone inverse kinematics."""

from __future__ import annotations

from typing import Final

import numpy as np

from posescore.terms import KEYPOINT_INDEX, KEYPOINTS, Floats

_TORSO_M: Final = 0.50
THIGH_M: Final = 0.42
SHANK_M: Final = 0.42
_UPPER_ARM_M: Final = 0.29
_FOREARM_M: Final = 0.26
_HIP_HALF_M: Final = 0.12
_SHOULDER_HALF_M: Final = 0.18
_KNEE_ON_MAT_M: Final = 0.055
_ANKLE_ON_MAT_M: Final = 0.09


def unit(vector: Floats) -> Floats:
    """Vectors ``(..., 3)`` of length one."""
    length = np.linalg.norm(vector, axis=-1, keepdims=True)
    return np.asarray(vector / np.maximum(length, 1e-9))


def bent(root: Floats, target: Floats, first_m: float, second_m: float, pole: Floats) -> Floats:
    """Joint between two bones from ``root`` towards ``target``, bending towards ``pole``.

    Returns ``(n, 2, 3)``: the joint and the end, which is the target where it is in reach.
    """
    way = target - root
    reach = np.linalg.norm(way, axis=-1, keepdims=True)
    along = way / np.maximum(reach, 1e-9)
    reach = np.clip(reach, abs(first_m - second_m) + 0.12, first_m + second_m - 0.005)
    part = (reach**2 + first_m**2 - second_m**2) / (2 * reach)
    aside = unit(pole - (pole * along).sum(-1, keepdims=True) * along)
    joint = root + part * along + np.sqrt(np.maximum(first_m**2 - part**2, 0.0)) * aside
    return np.stack([joint, root + reach * along], axis=-2)


class Body:
    """One figure for each of n variations, built from the pelvis outwards."""

    def __init__(self, pelvis: Floats, spine: Floats, facing: Floats) -> None:
        self.points = np.full((len(pelvis), len(KEYPOINTS), 3), np.nan)
        spine = unit(spine)
        self.right = unit(np.cross(facing, spine))
        self.front = np.cross(spine, self.right)
        self.spine = spine
        neck = pelvis + _TORSO_M * spine
        for side, sign in (("left", -1.0), ("right", 1.0)):
            self[f"{side}_hip"] = pelvis + sign * _HIP_HALF_M * self.right
            self[f"{side}_shoulder"] = neck + sign * _SHOULDER_HALF_M * self.right
        self._face(neck)

    def __setitem__(self, name: str, at: Floats) -> None:
        self.points[:, KEYPOINT_INDEX[name]] = at

    def __getitem__(self, name: str) -> Floats:
        return self.points[:, KEYPOINT_INDEX[name]]

    def _face(self, neck: Floats) -> None:
        head = neck + 0.20 * self.spine + 0.03 * self.front
        self["nose"] = head + 0.10 * self.front
        for side, sign in (("left", -1.0), ("right", 1.0)):
            self[f"{side}_eye"] = (
                head + 0.08 * self.front + sign * 0.03 * self.right + 0.03 * self.spine
            )
            self[f"{side}_ear"] = head + sign * 0.075 * self.right

    def leg(self, side: str, ankle: Floats, pole: Floats) -> None:
        """Put an ankle; the knee bends towards ``pole``."""
        hip = self[f"{side}_hip"]
        both = bent(hip, ankle, THIGH_M, SHANK_M, pole)
        self[f"{side}_knee"], self[f"{side}_ankle"] = both[:, 0], both[:, 1]
        self.place_foot(side)

    def kneel(self, side: str, towards: Floats, shank_towards: Floats) -> None:
        """Put a knee on the mat in a horizontal direction from the hip, the shank along the mat."""
        hip = self[f"{side}_hip"]
        drop = np.clip(hip[:, 2:] - _KNEE_ON_MAT_M, 0.0, THIGH_M - 0.01)
        out = np.sqrt(THIGH_M**2 - drop**2)
        flat = unit(towards * np.array([1.0, 1.0, 0.0]))
        knee = hip + out * flat - drop * np.eye(3)[2]
        ankle = knee + SHANK_M * unit(shank_towards * np.array([1.0, 1.0, 0.0]))
        ankle[:, 2] = knee[:, 2] + _ANKLE_ON_MAT_M - _KNEE_ON_MAT_M
        self[f"{side}_knee"], self[f"{side}_ankle"] = knee, ankle
        self.place_foot(side)

    def arm(self, side: str, wrist: Floats, pole: Floats) -> None:
        """Put a wrist; the elbow bends towards ``pole``."""
        shoulder = self[f"{side}_shoulder"]
        both = bent(shoulder, wrist, _UPPER_ARM_M, _FOREARM_M, pole)
        self[f"{side}_elbow"], self[f"{side}_wrist"] = both[:, 0], both[:, 1]

    def place_foot(self, side: str) -> None:
        """Heel and toe of a leg that is placed, the foot at a right angle to the shank."""
        knee, ankle = self[f"{side}_knee"], self[f"{side}_ankle"]
        shank = unit(ankle - knee)
        ahead = unit(knee - self[f"{side}_hip"]) + 0.3 * self.front
        ahead = unit(ahead - (ahead * shank).sum(-1, keepdims=True) * shank)
        self[f"{side}_heel"] = ankle + 0.06 * shank - 0.05 * ahead
        self[f"{side}_toe"] = ankle + 0.08 * shank + 0.14 * ahead
