"""More poses out of those of the set: between neighbours, bent in the joints, other builds.

Bones keep their lengths: whatever is mixed or turned is rebuilt from the core outwards with the
lengths of the frame it came from, and the pair is put back onto the floor.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import JOINT

FLOOR_M: Final = 0.03
"""Height of the lowest joint of a pair that lies on the floor (half a hand's thickness)."""

_SIDES: Final = ("left", "right")
_LIMB_TREE: Final = (
    ("core", "{}_hip"),
    ("{}_hip", "{}_knee"),
    ("{}_knee", "{}_ankle"),
    ("{}_ankle", "{}_heel"),
    ("{}_heel", "{}_toe"),
    ("core", "{}_shoulder"),
    ("{}_shoulder", "{}_elbow"),
    ("{}_elbow", "{}_wrist"),
    ("{}_wrist", "{}_hand"),
    ("{}_hand", "{}_fingers"),
)
TREE: Final[tuple[tuple[int, int], ...]] = (
    *(
        (JOINT[parent.format(side)], JOINT[child.format(side)])
        for parent, child in _LIMB_TREE
        for side in _SIDES
    ),
    (JOINT["core"], JOINT["neck"]),
    (JOINT["neck"], JOINT["head"]),
)
"""Bones as (parent, child), parents first."""


def descendants(joint: int) -> list[int]:
    """Joints that move with one: all that its bones lead to."""
    below = [joint]
    for parent, child in TREE:
        if parent in below:
            below.append(child)
    return below[1:]


# Where a body bends at random: the joint and the standard deviation of the turn in degrees.
_UPPER_BODY: Final = [
    child
    for root in ("neck", "left_shoulder", "right_shoulder")
    for child in [JOINT[root], *descendants(JOINT[root])]
]
BENDS: Final[tuple[tuple[int, list[int], float], ...]] = (
    (JOINT["core"], _UPPER_BODY, 6.0),
    *(
        (JOINT[f"{side}_{name}"], descendants(JOINT[f"{side}_{name}"]), spread)
        for name, spread in (
            ("hip", 8.0),
            ("knee", 8.0),
            ("ankle", 10.0),
            ("shoulder", 14.0),
            ("elbow", 14.0),
        )
        for side in _SIDES
    ),
    (JOINT["neck"], [JOINT["head"]], 15.0),
)


def _rotation(vector: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rotation matrices ``(n, 3, 3)`` of rotation vectors ``(n, 3)`` (Rodrigues' formula)."""
    angle = np.linalg.norm(vector, axis=1)
    x, y, z = (vector / np.maximum(angle, 1e-9)[:, None]).T
    zero = np.zeros_like(x)
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], 1).reshape(-1, 3, 3)
    sin, cos = np.sin(angle)[:, None, None], np.cos(angle)[:, None, None]
    return np.asarray(np.eye(3) + sin * cross + (1 - cos) * (cross @ cross), np.float64)


def perturb(
    frames_m: NDArray[np.float32],
    rng: np.random.Generator,
    amount: float | NDArray[np.float64] = 1.0,
) -> NDArray[np.float32]:
    """Frames ``(n, 2, 23, 3)`` bent a little in every joint, of other builds, shifted a little.

    ``amount`` (one, or one a frame) is how much of the full spread is used; each athlete of
    each frame draws its own share of it, so that some stay close to where they come from.
    """
    count = len(frames_m)
    body = frames_m.reshape(2 * count, -1, 3).astype(np.float64)
    given = np.broadcast_to(np.asarray(amount, np.float64), count)
    share = np.repeat(given, 2)[:, None] * rng.random((2 * count, 1))
    for joint, moved, spread in BENDS:
        turn = _rotation(np.deg2rad(spread) * share * rng.standard_normal((2 * count, 3)))
        pivot = body[:, joint, None]
        body[:, moved] = pivot + np.einsum("nij,nkj->nki", turn, body[:, moved] - pivot)
    shift = 0.025 * given[:, None, None, None] * rng.standard_normal((count, 2, 1, 3))
    pairs = body.reshape(count, 2, -1, 3) + shift
    return other_builds(pairs.astype(np.float32), rng)


def other_builds(
    frames_m: NDArray[np.float32], rng: np.random.Generator, amount: float = 1.0
) -> NDArray[np.float32]:
    """Taller and shorter athletes with longer or shorter legs, put back onto the floor."""
    count = len(frames_m)
    body = frames_m.copy()
    size = np.exp(0.06 * amount * rng.standard_normal((count, 2, 1, 1))).astype(np.float32)
    middle = body.mean((1, 2), keepdims=True)
    body = middle + size * (body - middle)
    for root, spread in (("hip", 0.05), ("shoulder", 0.05)):
        stretch = np.exp(spread * amount * rng.standard_normal((count, 2, 1, 1)))
        for side in _SIDES:
            joint = JOINT[f"{side}_{root}"]
            limb = descendants(joint)
            start = body[:, :, joint, None]
            body[:, :, limb] = start + stretch.astype(np.float32) * (body[:, :, limb] - start)
    return on_floor(body)


def on_floor(frames_m: NDArray[np.float32]) -> NDArray[np.float32]:
    """Each pair raised or lowered as a whole until its lowest joint is on the floor."""
    lowest = frames_m[..., 2].min((1, 2))
    floored = frames_m.copy()
    floored[..., 2] -= (lowest - FLOOR_M)[:, None, None]
    return floored


def mix(
    first_m: NDArray[np.float32], second_m: NDArray[np.float32], part: NDArray[np.float64]
) -> NDArray[np.float32]:
    """Frames between two, ``part`` ``(n,)`` of the way, with the bone lengths of both mixed.

    Points are mixed in a straight line and the bones then brought back to length from the core
    outwards; between frames less than half a metre apart the difference to turning joints is
    small.
    """
    weight = part[:, None, None, None]
    straight = (1 - weight) * first_m + weight * second_m
    mixed = straight.copy()
    for parent, child in TREE:
        bone = straight[:, :, child] - straight[:, :, parent]
        length = [
            np.linalg.norm(m[:, :, child] - m[:, :, parent], axis=-1, keepdims=True)
            for m in (first_m, second_m)
        ]
        wanted = (1 - weight[..., 0]) * length[0] + weight[..., 0] * length[1]
        now = np.maximum(np.linalg.norm(bone, axis=-1, keepdims=True), 1e-6)
        mixed[:, :, child] = mixed[:, :, parent] + bone * (wanted / now)
    return mixed.astype(np.float32)
