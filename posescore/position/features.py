"""What the classifier sees of two athletes: pure functions of their keypoints.

Nothing changes when the pair is moved or seen larger. Mirroring the picture, and exchanging the
athletes, only permute the columns and flip signs, by the tables :data:`MIRROR` and :data:`SWAP`,
so both symmetries hold exactly and cost nothing. Gravity matters (who is on top), so the
picture's upright is kept; a camera roll of a few degrees changes features a little, not in kind.

Missing keypoints are filled from their neighbours (:mod:`posescore.position.points`); an
athlete who was not found is put at the pair's centre; flags say what was missing. Keypoint errors
are common, so sizes and centres are medians and quantiles, and coordinates are squashed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.position.pictures import complete
from posescore.position.points import (
    BONE_END,
    BONE_M,
    BONE_START,
    BONES,
    MIRRORED_POINTS,
    N_POINTS,
    POINT,
    POINTS,
    Array,
    Pair,
    pair_of,
)

# Joints at which a limb bends: the two neighbours and the joint.
_BENDS: Final[tuple[tuple[str, str, str], ...]] = tuple(
    (a.format(s), joint.format(s), b.format(s))
    for a, joint, b in (
        ("{}_shoulder", "{}_elbow", "{}_wrist"),
        ("{}_hip", "{}_knee", "{}_ankle"),
        ("{}_shoulder", "{}_hip", "{}_knee"),
        ("{}_hip", "{}_shoulder", "{}_elbow"),
    )
    for s in ("left", "right")
)


def features(keypoints_px: Array, confidence: Array) -> Array:
    """``(n, n_features)`` float32 of keypoints ``(n, 2, 21, 2)`` and confidence ``(n, 2, 21)``.

    Missing keypoints are NaN. Arrays of 17 keypoints (COCO) are taken as well: heels and toes
    then count as missing. A keypoint without confidence counts as sure. Never NaN.
    """
    given = complete(keypoints_px, confidence)
    if not len(given[0]):
        return np.empty((0, N_FEATURES), np.float32)
    pair = pair_of(*given)
    blocks = [block.values(pair).reshape(len(pair.point), -1) for block in _BLOCKS]
    return np.concatenate(blocks, axis=1).astype(np.float32)


def _squash(values: Array, at: float = 1.0) -> Array:
    """Linear near 0, never beyond ``at`` in size: far outliers must not shout."""
    return np.asarray(values / (1.0 + np.abs(values) / at), np.float32)


def _cosine(a: Array, b: Array) -> Array:
    size = np.linalg.norm(a, axis=-1) * np.linalg.norm(b, axis=-1) + 1e-3
    return np.asarray((a * b).sum(-1) / size, np.float32)


# --- blocks: each returns (n, ...) and says how its columns permute under both symmetries ---


def _coordinates(pair: Pair) -> Array:
    return _squash(pair.point, 2.0)


def _heights(pair: Pair) -> Array:
    return _squash(pair.ground[:, None, None] - pair.point[..., 1])


def _distances(pair: Pair) -> Array:
    a, b = pair.point[:, 0, :, None], pair.point[:, 1, None, :]
    apart = np.sqrt(((a - b) ** 2).sum(-1))
    return np.asarray(apart / (apart + 0.4), np.float32)


def _bones(pair: Pair) -> Array:
    apart = np.linalg.norm(pair.point[:, :, BONE_START] - pair.point[:, :, BONE_END], axis=-1)
    return _squash(apart / BONE_M, 2.0)


def _bends(pair: Pair) -> Array:
    a, joint, b = (np.array([POINT[bend[i]] for bend in _BENDS]) for i in range(3))
    at = pair.point[:, :, joint]
    return _cosine(pair.point[:, :, a] - at, pair.point[:, :, b] - at)


def _axes(pair: Pair) -> tuple[Array, Array, Array]:
    trunk = pair.chest - pair.hips
    length = np.linalg.norm(trunk, axis=-1, keepdims=True)
    along = trunk / (length + 0.05)
    return along, np.stack([-along[..., 1], along[..., 0]], -1), length[..., 0]


def _trunk_even(pair: Pair) -> Array:
    """How upright, how foreshortened; both trunks against each other."""
    along, _, length = _axes(pair)
    cos = _cosine(along[:, 0], along[:, 1])
    width = pair.point[:, :, POINT["left_shoulder"]] - pair.point[:, :, POINT["right_shoulder"]]
    hip_width = pair.point[:, :, POINT["left_hip"]] - pair.point[:, :, POINT["right_hip"]]
    each = [along[..., 1], length, np.abs(width[..., 0]), np.abs(hip_width[..., 0])]
    block = np.stack([*each, np.repeat(cos[:, None], 2, 1)], -1)
    return np.asarray(np.clip(block, -3.0, 3.0), np.float32)


def _trunk_facing(pair: Pair) -> Array:
    """Chest or back towards the camera: the turn from left to right against the spine's.

    A mirrored picture exchanges left and right and turns the handedness, so this stays.
    """
    along, across, _ = _axes(pair)
    width = pair.point[:, :, POINT["right_shoulder"]] - pair.point[:, :, POINT["left_shoulder"]]
    hip_width = pair.point[:, :, POINT["right_hip"]] - pair.point[:, :, POINT["left_hip"]]
    facing = [(w * across).sum(-1) for w in (width, hip_width)]
    slope = [(w * along).sum(-1) for w in (width, hip_width)]
    facing_each_other = facing[0][:, :1] * facing[0][:, 1:]
    product = np.repeat(facing_each_other, 2, 1)
    return np.stack([_squash(np.asarray(v)) for v in (*facing, *map(np.abs, slope), product)], -1)


def _in_others_frame(pair: Pair) -> Array:
    """Each athlete's points along and off the opponent's spine, as the opponent lies."""
    along, across, _ = _axes(pair)
    offset = pair.point - pair.hips[:, ::-1, None]
    forward = (offset * along[:, ::-1, None]).sum(-1)
    sideways = np.abs((offset * across[:, ::-1, None]).sum(-1))
    return np.stack([_squash(forward), _squash(sideways)], -1)


def _nearest(pair: Pair) -> Array:
    """From each athlete's points to the nearest point, and the spine, of the opponent."""
    a, b = pair.point[:, 0, :, None], pair.point[:, 1, None, :]
    apart = np.sqrt(((a - b) ** 2).sum(-1))
    nearest = np.stack([apart.min(2), apart.min(1)], 1)
    foot, tip = pair.hips[:, ::-1, None], pair.chest[:, ::-1, None]
    spine = tip - foot
    part = ((pair.point - foot) * spine).sum(-1) / ((spine**2).sum(-1) + 1e-4)
    part = np.clip(part, 0, 1)[..., None]
    off = np.linalg.norm(pair.point - foot - part * spine, axis=-1)
    return np.stack([nearest / (nearest + 0.2), off / (off + 0.2)], -1)


def _signed_known(pair: Pair) -> Array:
    return np.stack([pair.known, pair.confidence], -1)


def _whole(pair: Pair) -> Array:
    return np.stack([_squash(pair.spread), _squash(pair.ground), pair.known.mean((1, 2))], -1)


@dataclass(frozen=True, slots=True)
class _Block:
    """Columns of one kind: their shape, and how both symmetries move them."""

    values: Callable[[Pair], Array]
    shape: tuple[int, ...]
    mirrored_axes: dict[int, NDArray[np.int64]]
    swapped: str = "athletes"
    flipped: tuple[int, ...] = ()
    """Indices on the last axis whose sign a mirror flips (x coordinates)."""

    def tables(self) -> tuple[NDArray[np.int64], NDArray[np.float32], NDArray[np.int64]]:
        index = np.arange(int(np.prod(self.shape))).reshape(self.shape)
        mirror = index
        for axis, order in self.mirrored_axes.items():
            mirror = np.take(mirror, order, axis=axis)
        sign = np.ones(self.shape, np.float32)
        for column in self.flipped:
            sign[..., column] = -1.0
        swap = index
        if self.swapped == "athletes":
            swap = index[::-1]
        elif self.swapped == "transpose":
            swap = index.T
        return mirror.ravel(), sign.ravel(), swap.ravel()


def _partners(names: tuple[tuple[str, ...], ...]) -> NDArray[np.int64]:
    def other(name: str) -> str:
        return str(POINTS[MIRRORED_POINTS[POINT[name]]])

    return np.array([names.index(tuple(other(n) for n in row)) for row in names])


_BONE_PARTNER: Final = _partners(tuple((a, b) for a, b, _ in BONES))
_BEND_PARTNER: Final = _partners(_BENDS)
_BLOCKS: Final[tuple[_Block, ...]] = (
    _Block(_coordinates, (2, N_POINTS, 2), {1: MIRRORED_POINTS}, flipped=(0,)),
    _Block(_heights, (2, N_POINTS), {1: MIRRORED_POINTS}),
    _Block(_distances, (N_POINTS, N_POINTS), {0: MIRRORED_POINTS, 1: MIRRORED_POINTS}, "transpose"),
    _Block(_bones, (2, len(BONES)), {1: _BONE_PARTNER}),
    _Block(_bends, (2, len(_BENDS)), {1: _BEND_PARTNER}),
    _Block(_trunk_even, (2, 5), {}),
    _Block(_trunk_facing, (2, 5), {}),
    _Block(_in_others_frame, (2, N_POINTS, 2), {1: MIRRORED_POINTS}),
    _Block(_nearest, (2, N_POINTS, 2), {1: MIRRORED_POINTS}),
    _Block(_signed_known, (2, N_POINTS, 2), {1: MIRRORED_POINTS}),
    _Block(_whole, (3,), {}, "none"),
)


def _join() -> tuple[NDArray[np.int64], NDArray[np.float32], NDArray[np.int64]]:
    mirror, sign, swap, start = [], [], [], 0
    for block in _BLOCKS:
        m, s, w = block.tables()
        mirror.append(m + start)
        sign.append(s)
        swap.append(w + start)
        start += len(m)
    return np.concatenate(mirror), np.concatenate(sign), np.concatenate(swap)


MIRROR, MIRROR_SIGN, SWAP = _join()
"""``features(mirrored)[:, i] == MIRROR_SIGN[i] * features[:, MIRROR[i]]``, and
``features(swapped)[:, i] == features[:, SWAP[i]]``."""

N_FEATURES: Final = len(SWAP)
