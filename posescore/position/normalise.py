"""Keypoints of a picture as the networks take them: centred, scaled, with what is missing marked.

Nothing changes when the pair is moved or seen larger. Gravity matters (who is on top), so the
picture's upright is kept. Keypoint errors are common, so centre and scale are medians.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.terms import MIRRORED_KEYPOINTS, N_COCO, N_KEYPOINTS

Array = NDArray[np.float32]
FARTHEST: Final = 6.0
"""Coordinates end here, in units of the median distance to the centre (about half a metre)."""


def complete(keypoints_px: Array, confidence: Array) -> tuple[Array, Array]:
    """21 keypoints in float32 whose confidence is 0 exactly where the keypoint is missing.

    Arrays of 17 keypoints (COCO) are taken as well: heels and toes then count as missing. A
    keypoint without confidence counts as sure.

    Raises
    ------
    ValueError
        When the arrays are not ``(n, 2, 17 or 21, 2)`` and ``(n, 2, 17 or 21)``.
    """
    point = np.asarray(keypoints_px, np.float32)
    sure = np.asarray(confidence, np.float32)
    if point.ndim != 4 or point.shape[1:] not in ((2, N_COCO, 2), (2, N_KEYPOINTS, 2)):
        raise ValueError(f"keypoints must be (n, 2, 17 or 21, 2), not {point.shape}")
    if sure.shape != point.shape[:3]:
        raise ValueError(f"confidence must be {point.shape[:3]}, not {sure.shape}")
    extra = N_KEYPOINTS - point.shape[2]
    point = np.pad(point, ((0, 0), (0, 0), (0, extra), (0, 0)), constant_values=np.nan)
    sure = np.pad(sure, ((0, 0), (0, 0), (0, extra)), constant_values=np.nan)
    known = np.asarray(np.isfinite(point).all(-1))
    sure = np.where(np.isfinite(sure), np.clip(sure, 0.0, 1.0), 1.0)
    return np.where(known[..., None], point, np.nan), np.where(known, sure, 0.0).astype(np.float32)


def given(keypoints_px: Array, confidence: Array) -> Array:
    """``(n, 2, 21, 4)`` float32: x right, y down, known (1 or 0) and confidence. Never NaN.

    Coordinates are measured from the median of all known keypoints, in units of their median
    distance from it; a missing keypoint is four zeros. Keypoints and confidence are those that
    :func:`complete` takes.
    """
    point, sure = complete(keypoints_px, confidence)
    flat = point.reshape(len(point), 2 * N_KEYPOINTS, 2)
    centre = np.stack([_median(flat[..., 0]), _median(flat[..., 1])], 1)
    away = flat - centre[:, None]
    scale = _median(np.sqrt((away**2).sum(-1)))
    scale = np.where(scale > 1e-6, scale, 1.0)
    placed = np.clip(away / scale[:, None, None], -FARTHEST, FARTHEST).reshape(point.shape)
    known = np.isfinite(placed[..., :1])
    return np.concatenate(
        [np.nan_to_num(placed), known, np.where(known, sure[..., None], 0)], -1, dtype=np.float32
    )


def _median(values: Array) -> Array:
    """Median ``(n,)`` over axis 1 of what is not NaN; 0 where there is nothing."""
    ordered = np.sort(values, axis=1)  # NaN sorts last
    count = np.isfinite(values).sum(1)
    low, high = np.maximum(count - 1, 0) // 2, np.minimum(count // 2, np.maximum(count - 1, 0))
    middle = [np.take_along_axis(ordered, at[:, None], axis=1)[:, 0] for at in (low, high)]
    return np.asarray(np.nan_to_num((middle[0] + middle[1]) / 2))


def mirrored_picture(rows: Array) -> Array:
    """The mirror image of what :func:`given` gives: x negated, left and right exchanged."""
    image = rows[:, :, list(MIRRORED_KEYPOINTS)].copy()
    image[..., 0] *= -1
    return np.asarray(image, np.float32)
