"""The sample match's keypoints as COCO keypoints JSON: where they are and whether they are seen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.lab.stage.handheld import View
from posescore.terms import BONES, KEYPOINTS

OUTSIDE: Final = 0
HIDDEN: Final = 1
SEEN: Final = 2

_OWN_FLESH_M: Final = 0.07
"""Flesh that reaches within this of a keypoint is the keypoint's own and does not hide it."""


def hidden(
    points: NDArray[np.float64],
    place: NDArray[np.float64],
    starts: NDArray[np.float64],
    ends: NDArray[np.float64],
    radii: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Whether flesh stands between the camera and each point.

    Parameters
    ----------
    points
        ``(n_points, 3)``, metres.
    place
        ``(3,)`` where the camera stands.
    starts, ends, radii
        ``(n_capsules, 3)``, ``(n_capsules, 3)`` and ``(n_capsules,)``: all flesh in view.
    """
    ray = (place - points)[:, None, :]
    origin, bone = points[:, None, :], (ends - starts)[None, :, :]
    own = _distance(origin, np.zeros_like(ray), starts[None], bone)
    blocked = _distance(origin, ray, starts[None], bone) < radii
    return np.asarray((blocked & (own > radii + _OWN_FLESH_M)).any(axis=1))


def _distance(
    p: NDArray[np.float64],
    u: NDArray[np.float64],
    q: NDArray[np.float64],
    v: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Distances between segments ``p + s u`` and ``q + t v``, ``s, t`` in [0, 1]."""
    w = p - q
    a, b, c = (u * u).sum(-1), (u * v).sum(-1), (v * v).sum(-1)
    d, e = (u * w).sum(-1), (v * w).sum(-1)
    s = np.clip((b * e - c * d) / (a * c - b * b + 1e-12), 0, 1)
    t = np.clip((b * s + e) / (c + 1e-12), 0, 1)
    s = np.clip((b * t - d) / (a + 1e-12), 0, 1)
    return np.asarray(np.linalg.norm(w + s[..., None] * u - t[..., None] * v, axis=-1))


def marks(
    points: NDArray[np.float64], is_hidden: NDArray[np.bool_], view: View
) -> NDArray[np.float64]:
    """``(n_points, 3)``: x and y in pixels to a tenth, and COCO's visibility flag."""
    width, height = view.size_px
    pixels = view.project(points)
    inside = (pixels[:, 0] >= 0) & (pixels[:, 0] < width) & (pixels[:, 1] >= 0)
    inside &= (pixels[:, 1] < height) & (pixels[:, 2] > 0)
    flag = np.where(inside, np.where(is_hidden, HIDDEN, SEEN), OUTSIDE)
    found = np.column_stack((np.round(pixels[:, :2], 1), flag))
    found[~inside] = 0
    return found


def coco(
    marked: NDArray[np.float64], time_s: NDArray[np.float64], size_px: tuple[int, int]
) -> dict[str, object]:
    """COCO keypoints data of ``marked (n_frames, 2, 21, 3)``."""
    images = [
        {
            "id": index + 1,
            "file_name": "match.mp4",
            "frame_index": index,
            "time_s": round(float(at_s), 6),
            "width": size_px[0],
            "height": size_px[1],
        }
        for index, at_s in enumerate(time_s)
    ]
    annotations = [
        _annotation(marked[frame, slot], 2 * frame + slot + 1, frame + 1, slot + 1)
        for frame in range(len(marked))
        for slot in range(2)
    ]
    category = {
        "id": 1,
        "name": "person",
        "supercategory": "person",
        "keypoints": list(KEYPOINTS),
        "skeleton": [[one + 1, other + 1] for one, other in BONES],
    }
    return {
        "info": {"description": "Rendered and invented sample match", "version": "1"},
        "images": images,
        "annotations": annotations,
        "categories": [category],
    }


def _annotation(
    marked: NDArray[np.float64], number: int, image: int, track: int
) -> dict[str, object]:
    inside = marked[marked[:, 2] > OUTSIDE, :2]
    low, high = (inside.min(0), inside.max(0)) if len(inside) else (np.zeros(2), np.zeros(2))
    width, height = (float(v) for v in np.round(high - low, 1))
    return {
        "id": number,
        "image_id": image,
        "category_id": 1,
        "track_id": track,
        "iscrowd": 0,
        "num_keypoints": len(inside),
        "bbox": [float(low[0]), float(low[1]), width, height],
        "area": round(width * height, 1),
        "keypoints": _flat(marked),
    }


def _flat(marked: NDArray[np.float64]) -> Sequence[float]:
    rows = []
    for x, y, flag in marked.tolist():
        rows += [x, y, int(flag)]
    return rows
