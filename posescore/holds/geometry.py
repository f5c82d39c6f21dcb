"""Plain geometry of two athletes in the picture, one number per instant and question.

Every function takes keypoints of the upper and the lower athlete, ``(n, 21, 2)`` in pixels (x
right, y down, missing = NaN), and returns features ``(n, n_features)`` in metres as the picture
shows them: pixels divided by :func:`scale_px`. A single camera does not show depth; how much each
feature tells is learnt from figures seen from many sides
(:mod:`posescore.lab.train.criteria.calibration`). Gravity is taken to point down in the picture.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from posescore.terms import KEYPOINT_INDEX as K
from posescore.terms import Floats

_SIDES: Final = ("left", "right")
_BONE_M: Final = (
    ("shoulder", "hip", 0.50),
    ("hip", "knee", 0.42),
    ("knee", "ankle", 0.42),
    ("shoulder", "elbow", 0.29),
    ("elbow", "wrist", 0.26),
)
"""Lengths of an adult's bones; only their ratios matter."""
_TORSO: Final = [K[f"{side}_{joint}"] for joint in ("shoulder", "hip") for side in _SIDES]


def scale_px(pair: Floats) -> Floats:
    """Pixels per metre at the pair, ``(n,)``, from keypoints ``(n, 2, 21, 2)``.

    A bone looks at most as long as it is, so a high quantile of (seen length / true length) over
    all bones of both athletes comes close. NaN where no bone is seen.
    """
    ratios = [
        np.linalg.norm(pair[:, :, K[f"{side}_{a}"]] - pair[:, :, K[f"{side}_{b}"]], axis=-1) / bone
        for a, b, bone in _BONE_M
        for side in _SIDES
    ]
    flat = np.sort(np.concatenate(ratios, axis=1), axis=1)
    count = np.isfinite(flat).sum(axis=1)
    at = np.clip(np.ceil(0.85 * count).astype(int) - 1, 0, None)
    return np.asarray(np.where(count > 0, flat[np.arange(len(flat)), at], np.nan))


def point(body: Floats, name: str) -> Floats:
    """One keypoint, ``(n, 2)``."""
    return body[:, K[name]]


def middle(body: Floats, joint: str) -> Floats:
    """Middle of a left and right joint, or the one of them that is seen, ``(n, 2)``."""
    left, right = point(body, f"left_{joint}"), point(body, f"right_{joint}")
    return np.where(np.isnan(left), right, np.where(np.isnan(right), left, (left + right) / 2))


def to_segment(p: Floats, a: Floats, b: Floats) -> Floats:
    """Distance of points from segments, ``(n,)``."""
    along = b - a
    part = ((p - a) * along).sum(-1) / np.maximum((along**2).sum(-1), 1e-9)
    return np.asarray(np.linalg.norm(p - a - np.clip(part, 0, 1)[:, None] * along, axis=-1))


def along_body(body: Floats, p: Floats) -> Floats:
    """Where points lie along a torso: 0 at the hips, 1 at the shoulders, ``(n,)``.

    The torso's seen length is taken to be at least a fifth of its width on the picture's scale, so
    that a torso seen end on gives bounded numbers.
    """
    hips, axis = middle(body, "hip"), middle(body, "shoulder") - middle(body, "hip")
    return np.asarray(((p - hips) * axis).sum(-1) / np.maximum((axis**2).sum(-1), 1e-9))


def lowest_y(upper: Floats, lower: Floats) -> Floats:
    """Height in the picture of the pair's lowest keypoints, ``(n,)`` pixels: mat near the camera.

    The third lowest keypoint, so that one wrong keypoint does not move the mat.
    """
    y = np.concatenate([upper[:, :, 1], lower[:, :, 1]], axis=1)
    y = np.where(np.isnan(y), -np.inf, y)
    third = np.partition(y, -3, axis=1)[:, -3]
    return np.where(np.isfinite(third), third, np.nan)


def torso_y(body: Floats) -> Floats:
    """Mean height in the picture of shoulders and hips, ``(n,)`` pixels."""
    seen = np.isfinite(body[:, _TORSO, 1])
    total = np.where(seen, body[:, _TORSO, 1], 0.0).sum(axis=1)
    return np.asarray(np.where(seen.any(axis=1), total / np.maximum(seen.sum(axis=1), 1), np.nan))


def leg_heights(leg_of: Floats, side: str, upper: Floats, lower: Floats, scale: Floats) -> Floats:
    """How a leg stands or lies: ``(n, 8)``. ``leg_of`` is one of the two athletes."""
    other = "right" if side == "left" else "left"
    hip, knee = point(leg_of, f"{side}_hip"), point(leg_of, f"{side}_knee")
    ankle, toe = point(leg_of, f"{side}_ankle"), point(leg_of, f"{side}_toe")
    resting = lower if leg_of is upper else upper
    columns = [
        ankle[:, 1] - knee[:, 1],
        knee[:, 1] - hip[:, 1],
        np.abs(ankle[:, 0] - knee[:, 0]),
        np.abs(knee[:, 0] - hip[:, 0]),
        lowest_y(upper, lower) - knee[:, 1],
        torso_y(resting) - knee[:, 1],
        point(leg_of, f"{other}_knee")[:, 1] - knee[:, 1],
        toe[:, 1] - knee[:, 1],
    ]
    return np.stack(columns, axis=1) / scale[:, None]


def view(upper: Floats, lower: Floats, scale: Floats) -> Floats:
    """How the pair is seen: lower torso's length, height and width of the pair, ``(n, 4)``."""
    axis = middle(lower, "shoulder") - middle(lower, "hip")
    spread = []
    for body in (upper, lower):
        joints = np.stack([middle(body, j) for j in ("shoulder", "hip", "knee", "ankle")], axis=1)
        spread.append(joints)
    both = np.concatenate(spread, axis=1)
    high = np.where(np.isnan(both), -np.inf, both).max(axis=1)
    low = np.where(np.isnan(both), np.inf, both).min(axis=1)
    size = np.where(np.isfinite(high - low), high - low, np.nan)
    return np.concatenate([np.abs(axis), size], axis=1) / scale[:, None]
