"""What the model in time sees of every instant: where both bodies are, and how they move.

Nothing changes when the pair is moved or seen larger; exchanging A and B exchanges axis 1, and the
mirror image is :func:`mirrored_features`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.film.instants import INSTANT_S, Instants
from posescore.position.normalise import Array, given, mirrored_picture
from posescore.terms import KEYPOINT_INDEX as K
from posescore.terms import Floats

_BODY: Final = [
    K[f"{side}_{joint}"]
    for joint in ("shoulder", "hip", "knee", "ankle")
    for side in ("left", "right")
]
MIRRORED_BODY: Final = (1, 0, 3, 2, 5, 4, 7, 6)
N_SPEEDS: Final = 2 * len(_BODY)
N_MOTION: Final = N_SPEEDS + 2 + 4
"""Speeds of eight joints, the camera's, heights of head and hips, hips seen, size."""
_FASTEST: Final = 4.0
"""Speeds end here, in units of the pair's scale a second (about two metres)."""
_ALIKE: Final = 0.05
"""Speeds that differ by less are alike, in the same units."""
_UNSEEN: Final = 1e3
_SCALE_INSTANTS: Final = 31
"""The scale is the median over so many instants, three seconds: movement must not change it."""


@dataclass(frozen=True, slots=True, eq=False)
class Features:
    """Features of ``n`` instants.

    Parameters
    ----------
    poses
        ``(n, 2, 21, 4)`` float32 as :func:`posescore.position.normalise.given` gives them.
    motion
        ``(n, 2, N_MOTION)`` float32; 0 where unseen. Lengths are in units of the pair's median
        distance from its centre, a median over three seconds.
    """

    poses: Array
    motion: Array

    def __len__(self) -> int:
        return len(self.poses)


def features_of(film: Instants) -> Features:
    """Features of a film's instants."""
    points = film.keypoints_px
    poses = given(points.astype(np.float32), film.confidence)
    if not len(points):
        return Features(poses, np.zeros((0, 2, N_MOTION), np.float32))
    size, scale = _scales(points)
    body = points[:, :, _BODY]
    moved = np.full_like(body, np.nan)
    moved[1:-1] = (body[2:] - body[:-2]) / (2 * INSTANT_S * scale[1:-1, None, None, None])
    camera = _camera(moved)
    speed = np.clip(moved - camera[:, None, None], -_FASTEST, _FASTEST).reshape(len(body), 2, -1)
    shown = np.broadcast_to(np.clip(camera, -_FASTEST, _FASTEST)[:, None], (len(body), 2, 2))
    larger = np.log(np.clip(size / scale, 0.1, 10.0))
    sizes = np.broadcast_to(larger[:, None, None], (len(body), 2, 1))
    motion = np.concatenate([speed, shown, _heights(points, scale), sizes], axis=-1)
    return Features(poses, np.nan_to_num(motion).astype(np.float32))


def mirrored_features(features: Features) -> Features:
    """The mirror image: x negated, left and right exchanged."""
    motion = features.motion.copy()
    speed = motion[..., :N_SPEEDS].reshape(len(motion), 2, N_SPEEDS // 2, 2)
    speed = speed[:, :, list(MIRRORED_BODY)] * np.array([-1, 1], np.float32)
    motion[..., :N_SPEEDS] = speed.reshape(len(motion), 2, N_SPEEDS)
    motion[..., N_SPEEDS] *= -1
    return Features(mirrored_picture(features.poses), motion)


def _scales(points: Floats) -> tuple[Floats, Floats]:
    """Median distance of keypoints from their centre, and its median over seconds, ``(n,)`` px."""
    flat = points.reshape(len(points), -1, 2)
    known = np.isfinite(flat[..., 0])
    count = np.maximum(known.sum(axis=1), 1)[:, None]
    centre = np.where(known[..., None], flat, 0).sum(axis=1) / count
    away = np.where(known, np.linalg.norm(flat - centre[:, None], axis=-1), np.nan)
    size = median(away)
    usual = size[np.isfinite(size)]
    size = np.where(np.isfinite(size), size, np.median(usual) if len(usual) else 1.0)
    padded = np.pad(size, _SCALE_INSTANTS // 2, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, _SCALE_INSTANTS)
    return size, np.maximum(np.median(windows, axis=1), 1e-6)


def _camera(moved: Floats) -> Floats:
    """Speed ``(n, 2)`` of the athlete who moves less, taken to be the camera's; 0 where unseen.

    Where both move about as fast it is in between, so that no rounding decides.
    """
    common = median(np.moveaxis(moved, 2, -1))
    size = np.nan_to_num(np.linalg.norm(common, axis=-1), nan=_UNSEEN)
    square = (size**2 + _ALIKE**2) ** 2
    weight = square[:, ::-1] / square.sum(axis=1, keepdims=True)
    return np.asarray((weight[..., None] * np.nan_to_num(common)).sum(axis=1))


def _heights(points: Floats, scale: Floats) -> Floats:
    """Height of head and hips over the pair's third lowest keypoint, hips seen: ``(n, 2, 3)``."""
    y = points[..., 1].reshape(len(points), -1)
    third = np.partition(np.where(np.isnan(y), -np.inf, y), -3, axis=1)[:, -3]
    mat = np.where(np.isfinite(third), third, np.nan)[:, None]
    head = median(points[:, :, :5, 1])
    hips = median(points[:, :, [K["left_hip"], K["right_hip"]], 1])
    rows = [(mat - head) / scale[:, None], (mat - hips) / scale[:, None], np.isfinite(hips)]
    heights: NDArray[np.float64] = np.stack(rows, axis=-1)
    return np.clip(heights, -12.0, 12.0)


def median(values: Floats) -> Floats:
    """Median over the last axis of what is not NaN; NaN where nothing is."""
    ordered = np.sort(values, axis=-1)
    count = np.isfinite(values).sum(axis=-1, keepdims=True)
    low = np.take_along_axis(ordered, np.maximum((count - 1) // 2, 0), axis=-1)
    high = np.take_along_axis(ordered, count // 2 * (count > 0), axis=-1)
    middle = np.where(count % 2 == 1, low, (low + high) / 2)[..., 0]
    return np.asarray(np.where(count[..., 0] > 0, middle, np.nan))
