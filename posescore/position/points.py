"""From keypoints with errors to fifteen points of each athlete, cleaned, filled and scaled.

The head is the median of the face, a foot of heel and toe. Points farther from their own body
than its bones reach are dropped, missing ones take the place that their neighbours give them, and
everything is measured from the pair's centre in units of about a metre. All of it treats left and
right, and both athletes, alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.terms import KEYPOINT_INDEX as K

Array = NDArray[np.float32]

# The points that features are made of: the head as one, then twelve joints and two feet.
_LIMB_NAMES: Final = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "foot")
POINTS: Final[tuple[str, ...]] = (
    "head",
    *(f"{side}_{name}" for name in _LIMB_NAMES for side in ("left", "right")),
)
N_POINTS: Final = len(POINTS)
POINT: Final = {name: i for i, name in enumerate(POINTS)}
MIRRORED_POINTS: Final = np.array(
    [
        POINT[n.replace("left", "right") if n.startswith("left") else n.replace("right", "left")]
        for n in POINTS
    ]
)
_CLOSE: Final = 13
"""Points without the feet: those whose distances to the opponent's are features."""

# Bones with their lengths in metres on an adult (mean of the open pose set's bodies).
BONES: Final[tuple[tuple[str, str, float], ...]] = tuple(
    (a.format(s), b.format(s), length)
    for a, b, length in (
        ("{}_shoulder", "{}_elbow", 0.29),
        ("{}_elbow", "{}_wrist", 0.26),
        ("{}_shoulder", "{}_hip", 0.50),
        ("{}_hip", "{}_knee", 0.43),
        ("{}_knee", "{}_ankle", 0.43),
        ("head", "{}_shoulder", 0.28),
    )
    for s in ("left", "right")
)
BONE_START: Final = np.array([POINT[a] for a, _, _ in BONES])
BONE_END: Final = np.array([POINT[b] for _, b, _ in BONES])
BONE_M: Final = np.array([length for _, _, length in BONES], np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """Points in units of about a metre from the pair's centre, x right, y down."""

    point: Array  # (n, 2, 15, 2), never NaN
    known: Array  # (n, 2, 15), 1 where the estimator gave the point
    confidence: Array  # (n, 2, 15), 0 where missing
    ground: Array  # (n,), y of what lies lowest
    spread: Array  # (n,), size of the pair against the length of its bones
    hips: Array  # (n, 2, 2)
    chest: Array  # (n, 2, 2) middle of the shoulders


def _reduce(point: Array, sure: Array) -> tuple[Array, Array]:
    """Head and feet as one point each; the twelve joints as they are."""
    head_at, head_sure = _middle_of(point, sure, tuple(range(5)))
    parts, trust = [head_at], [head_sure]
    for name in _LIMB_NAMES:
        for side in ("left", "right"):
            if name == "foot":
                ends = (K[f"{side}_heel"], K[f"{side}_toe"])
                at, given = _middle_of(point, sure, ends)
            else:
                at, given = point[:, :, K[f"{side}_{name}"]], sure[:, :, K[f"{side}_{name}"]]
            parts.append(at)
            trust.append(given)
    return np.stack(parts, 2), np.stack(trust, 2)


def _middle_of(point: Array, sure: Array, which: tuple[int, ...]) -> tuple[Array, Array]:
    """Median of the points that are known: one wrong ear must not move the head."""
    chosen, trust = point[:, :, which], sure[:, :, which]
    count = np.isfinite(chosen[..., 0]).sum(-1)
    ordered = np.sort(chosen, axis=2)  # NaN sorts last
    low = np.maximum(count - 1, 0) // 2
    high = count // 2
    high = np.minimum(high, np.maximum(count - 1, 0))
    at = [np.take_along_axis(ordered, k[..., None, None], axis=2)[:, :, 0] for k in (low, high)]
    middle = (at[0] + at[1]) / 2
    return middle.astype(np.float32), (trust.sum(-1) / np.maximum(count, 1)).astype(np.float32)


def _farthest_m() -> Array:
    """How far apart two points of one body can be, ``(13, 13)`` metres: the way along bones."""
    far = np.full((_CLOSE, _CLOSE), np.inf, np.float32)
    np.fill_diagonal(far, 0.0)
    across = (("left_shoulder", "right_shoulder", 0.34), ("left_hip", "right_hip", 0.24))
    for a, b, length in (*BONES, *across):
        far[POINT[a], POINT[b]] = far[POINT[b], POINT[a]] = length
    for k in range(_CLOSE):  # Floyd and Warshall's shortest paths
        far = np.minimum(far, far[:, k, None] + far[None, k])
    return far


_FARTHEST_M: Final = _farthest_m()
_TOLERANCE: Final = 1.35
"""A limb may look this much longer than the scale allows: perspective, build, regressor."""
_ROUNDS: Final = 4
_OUTER: Final = np.array([1.0] * 3 + [1.02] * 2 + [1.04] * 2 + [1.0] * 2 + [1.02] * 2 + [1.04] * 2)
"""Which of two points that accuse each other goes first: the one farther out on the limb."""


def _drop_impossible(given: Array, scale: Array) -> Array:
    """Points without those that are farther from their own body than bones reach.

    Point by point, the one with the largest excess over all the others is dropped (both of a
    left and right that accuse each other alone; of an elbow and its wrist the wrist), in at most
    four rounds.
    """
    close = given[:, :, :_CLOSE]
    apart = np.linalg.norm(close[:, :, :, None] - close[:, :, None], axis=-1)
    reach = np.where(_FARTHEST_M > 0, _FARTHEST_M, 1.0)
    excess = apart / (reach * scale[:, None, None, None]) - _TOLERANCE
    excess = np.maximum(np.nan_to_num(excess), 0.0) * (_FARTHEST_M > 0)
    kept = np.ones(close.shape[:3], bool)
    for _ in range(_ROUNDS):
        blame = (excess * kept[:, :, None]).sum(-1) * kept * _OUTER
        worst = np.maximum(blame.max(-1, keepdims=True), 0.25)
        kept &= blame < worst - 1e-3
    cleaned = given.copy()
    cleaned[:, :, :_CLOSE][~kept] = np.nan
    return cleaned


# Where a missing point is taken from: tried in this order, each already filled where it could be.
_FALLBACKS: Final[tuple[tuple[str, tuple[str, ...]], ...]] = (
    ("{}_shoulder", ("{other}_shoulder", "head", "{}_hip", "{other}_hip", "{}_elbow")),
    ("{}_hip", ("{other}_hip", "{}_knee", "{}_shoulder", "{other}_knee")),
    ("{}_elbow", ("{}_wrist", "{}_shoulder")),
    ("{}_wrist", ("{}_elbow",)),
    ("{}_knee", ("{}_ankle", "{}_hip")),
    ("{}_ankle", ("{}_foot", "{}_knee")),
    ("{}_foot", ("{}_ankle",)),
)


def _between(filled: Array) -> None:
    """Fill what geometry gives: corners of the trunk, and the middle joints of limbs."""
    corners = {
        (part, side): filled[:, :, POINT[f"{side}_{part}"]].copy()
        for part in ("shoulder", "hip")
        for side in ("left", "right")
    }
    for (part, side), at in corners.items():
        other = "right" if side == "left" else "left"
        far = "hip" if part == "shoulder" else "shoulder"
        guess = corners[part, other] + corners[far, side] - corners[far, other]
        filled[:, :, POINT[f"{side}_{part}"]] = np.where(np.isnan(at), guess, at)
    for start, middle, end in (("shoulder", "elbow", "wrist"), ("hip", "knee", "ankle")):
        for side in ("left", "right"):
            at = filled[:, :, POINT[f"{side}_{middle}"]]
            guess = (
                filled[:, :, POINT[f"{side}_{start}"]] + filled[:, :, POINT[f"{side}_{end}"]]
            ) / 2
            filled[:, :, POINT[f"{side}_{middle}"]] = np.where(np.isnan(at), guess, at)


def _fill(point: Array) -> Array:
    filled = point.copy()
    _between(filled)
    for name, sources in _FALLBACKS:
        targets = {side: POINT[name.format(side)] for side in ("left", "right")}
        before = {side: filled[:, :, at].copy() for side, at in targets.items()}
        for side, at in targets.items():
            other = "right" if side == "left" else "left"
            value = before[side]
            for source in sources:
                from_name = source.format(side, other=other)
                from_other = from_name == name.format(other)
                spare = before[other] if from_other else filled[:, :, POINT[from_name]]
                value = np.where(np.isnan(value), spare, value)
            filled[:, :, at] = value
    middle = (filled[:, :, POINT["left_shoulder"]] + filled[:, :, POINT["right_shoulder"]]) / 2
    filled[:, :, 0] = np.where(np.isnan(filled[:, :, 0]), middle, filled[:, :, 0])
    return filled


def _quantile(values: Array, level: float) -> Array:
    """Quantile ``(n,)`` over axis 1 of the values that are not NaN; NaN where there is none."""
    ordered = np.sort(values, axis=1)  # NaN sorts last
    count = np.isfinite(values).sum(1)
    at = np.floor(level * np.maximum(count - 1, 0)).astype(np.int64)
    return np.asarray(np.take_along_axis(ordered, at[:, None], axis=1)[:, 0])


def _centre(values: Array) -> Array:
    """Median, exactly antisymmetric under reflection (the mean of both middle values)."""
    return np.asarray((_quantile(values, 0.5) - _quantile(-values, 0.5)) / 2, np.float32)


def pair_of(keypoints_px: Array, sure: Array) -> Pair:
    """Both athletes of every frame, from what :func:`complete` gives."""
    given, trust = _reduce(keypoints_px, sure)
    count = len(given)
    flat = given[:, :, :_CLOSE].reshape(count, -1, 2)
    centre = np.nan_to_num(np.stack([_centre(flat[..., 0]), _centre(flat[..., 1])], 1))
    reach = _quantile(np.linalg.norm(flat - centre[:, None], axis=-1), 0.6)
    given = _drop_impossible(given, _px_per_m(given, reach, 0.65))
    scale = _px_per_m(given, reach, 0.75)
    point = (_fill(given) - centre[:, None, None]) / scale[:, None, None, None]
    point = np.nan_to_num(point)
    known = np.isfinite(given[..., 0]).astype(np.float32)
    lowest = np.nan_to_num(_quantile(flat[..., 1], 0.92) - centre[:, 1]) / scale
    left_right = np.array([POINT["left_hip"], POINT["right_hip"]])
    shoulders = np.array([POINT["left_shoulder"], POINT["right_shoulder"]])
    return Pair(
        point=point.astype(np.float32),
        known=known,
        confidence=trust,
        ground=lowest.astype(np.float32),
        spread=(np.nan_to_num(reach) / scale).astype(np.float32),
        hips=point[:, :, left_right].mean(2).astype(np.float32),
        chest=point[:, :, shoulders].mean(2).astype(np.float32),
    )


def _px_per_m(given: Array, reach: Array, level: float) -> Array:
    """Pixels of a metre: a high quantile over bones, as most are seen foreshortened."""
    bone = np.linalg.norm(given[:, :, BONE_START] - given[:, :, BONE_END], axis=-1) / BONE_M
    scale = _quantile(bone.reshape(len(given), -1), level)
    scale = np.where(np.isfinite(scale), scale, 2 * reach)
    return np.where(np.isfinite(scale) & (scale > 1e-6), scale, 1.0).astype(np.float32)
