"""From key poses written by hand to poses of articulated bodies, by gradient descent.

The joints are drawn to where they were written; meanwhile feet and knees rest on the mat,
nothing sinks below it, the two bodies' flesh (capsules about the bones) does not overlap, and
every joint stays within what people can do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import torch
from torch import Tensor

from posescore.lab.bodies.body import (
    HINGES,
    Posed,
    Skeleton,
    elbow_rest,
    pose,
    six_numbers,
    split,
)
from posescore.lab.bodies.key_pose import BodyKey, Vector

JOINTS: Final = (
    ("lowerleg01.L", "knee", 0.055), ("lowerleg01.R", "knee", 0.055),
    ("foot.L", "ankle", 0.045), ("foot.R", "ankle", 0.045),
    ("lowerarm01.L", "elbow", 0.04), ("lowerarm01.R", "elbow", 0.04),
    ("wrist.L", "wrist", 0.03), ("wrist.R", "wrist", 0.03),
)  # fmt: skip
"""Bones whose heads key poses place, and the least height above the mat, metres."""

FOOT_TURN_DEG: Final = {"flat": 0.0, "free": 28.0, "instep": 62.0}
"""Pointing of the foot from the rest pose, degrees, for each way of carrying it."""

CAPSULES: Final = (
    ("root", "spine03", 0.125), ("spine03", "spine01", 0.12), ("spine01", "neck01", 0.115),
    ("neck02", "head", 0.06), ("head", "crown", 0.095),
    ("upperleg01.L", "lowerleg01.L", 0.075), ("upperleg01.R", "lowerleg01.R", 0.075),
    ("lowerleg01.L", "foot.L", 0.05), ("lowerleg01.R", "foot.R", 0.05),
    ("foot.L", "ball.L", 0.035), ("foot.R", "ball.R", 0.035),
    ("upperarm01.L", "lowerarm01.L", 0.045), ("upperarm01.R", "lowerarm01.R", 0.045),
    ("lowerarm01.L", "wrist.L", 0.035), ("lowerarm01.R", "wrist.R", 0.035),
)  # fmt: skip
"""Flesh: start, end, radius in metres. Slightly slimmer than the body, as flesh gives way."""


@dataclass(frozen=True, slots=True, eq=False)
class Target:
    """Key poses of one athlete as tensors; the first axis counts the key poses."""

    root: Tensor
    trunk: Tensor
    """``(n, 3, 3, 3)`` rotations of pelvis, chest and head."""
    joints: Tensor
    """``(n, 8, 3)`` places in the order of :data:`JOINTS`."""
    foot_turn: Tensor
    """``(n, 2)`` radians."""
    flat: Tensor
    """``(n, 2)`` 1 where the sole lies on the mat."""
    knees_down: Tensor
    """``(n, 2)`` 1 where the knee rests on the mat."""
    rests: Tensor
    """``(n, 2)`` 1 where the hips, and where the upper back, rest on the mat."""


def facing(up: Vector, front: Vector) -> Tensor:
    """Rotation of a trunk segment that points ``up`` and faces ``front``."""
    z = np.asarray(up, float) / np.linalg.norm(up)
    back = -np.asarray(front, float)
    back = back - (back @ z) * z
    back /= np.linalg.norm(back)
    return torch.from_numpy(np.stack((np.cross(back, z), back, z), axis=1))


RESTS: Final = {"no": (0.0, 0.0), "seated": (1.0, 0.0), "lying": (1.0, 1.0)}
"""Whether hips and upper back rest on the mat, for each way of resting."""

KNEE_M: Final = 0.058
HIPS_M: Final = 0.122
BACK_M: Final = 0.097
"""Heights above the mat of a joint that rests on it: half the flesh's thickness and the cloth."""


def make_target(
    keys: Sequence[BodyKey],
    knees_down: Sequence[tuple[bool, bool]] | None = None,
    rests: Sequence[str] | None = None,
) -> Target:
    """Gather key poses of one athlete; without the last two nothing rests on the mat."""
    trunk = []
    for key in keys:
        chest_up, chest_front = key.chest_up or key.up, key.chest_front or key.front
        look = key.look or chest_front
        trunk.append(
            torch.stack(
                (facing(key.up, key.front), facing(chest_up, chest_front), _head(chest_up, look))
            )
        )
    joints = [[*key.knees, *key.ankles, *key.elbows, *key.wrists] for key in keys]
    turn = [[np.deg2rad(FOOT_TURN_DEG[foot]) for foot in key.feet] for key in keys]
    flat = [[float(foot == "flat") for foot in key.feet] for key in keys]
    tensor = torch.tensor
    return Target(
        tensor([key.root for key in keys], dtype=torch.float64),
        torch.stack(trunk),
        tensor(joints, dtype=torch.float64),
        tensor(turn, dtype=torch.float64),
        tensor(flat, dtype=torch.float64),
        tensor(knees_down or [(False, False)] * len(keys), dtype=torch.float64),
        tensor([RESTS[rest] for rest in rests or ["no"] * len(keys)], dtype=torch.float64),
    )


def _head(chest_up: Vector, look: Vector) -> Tensor:
    """A head that looks one way while its crown stays as near the chest's up as it can."""
    front = np.asarray(look, float) / np.linalg.norm(look)
    up = np.asarray(chest_up, float) - (np.asarray(chest_up) @ front) * front
    return torch.from_numpy(
        np.stack((np.cross(-front, up / np.linalg.norm(up)), -front, up / np.linalg.norm(up)), 1)
    )


def _along(direction: Tensor, hinge: Tensor, rest: Tensor, rest_hinge: Tensor) -> Tensor:
    """Rotation that takes a rest bone and its hinge axis to a direction and a hinge axis."""

    def frame(bone: Tensor, axis: Tensor) -> Tensor:
        bone = torch.nn.functional.normalize(bone, dim=-1)
        axis = axis - (axis * bone).sum(-1, keepdim=True) * bone
        axis = torch.nn.functional.normalize(axis, dim=-1)
        return torch.stack((bone, axis, torch.linalg.cross(bone, axis)), -1)

    return frame(direction, hinge) @ frame(rest, rest_hinge).transpose(-1, -2)


def first_guess(target: Target, skeleton: Skeleton) -> Tensor:
    """Poses ``(n, N_NUMBERS)`` with trunk and limbs pointing where the key poses say."""
    count = len(target.root)
    blocks = [target.root, six_numbers(target.trunk).reshape(count, 18)]
    trunk = target.trunk
    knees, elbows, thighs, feet, arms = [], [], [], [], []
    for slot, side in enumerate(("L", "R")):
        hip = target.root + (trunk[:, 0] @ skeleton.between("root", f"upperleg01.{side}"))
        upper, lower = (
            target.joints[:, slot] - hip,
            target.joints[:, 2 + slot] - target.joints[:, slot],
        )
        hinge = _hinge(upper, lower, trunk[:, 0, :, 0])
        rest = skeleton.between(f"upperleg01.{side}", f"lowerleg01.{side}")
        axis = torch.tensor([1.0, 0.0, 0.0], dtype=torch.float64)
        thighs.append(_along(upper, hinge, rest.expand_as(upper), axis.expand_as(upper)))
        knees.append(_angle(upper, lower))
        feet.append(thighs[-1])
        chest = target.root + (trunk[:, 1] @ skeleton.between("root", f"upperarm01.{side}"))
        upper, lower = (
            target.joints[:, 4 + slot] - chest,
            target.joints[:, 6 + slot] - target.joints[:, 4 + slot],
        )
        rest = skeleton.between(f"upperarm01.{side}", f"lowerarm01.{side}")
        rest_axis, _ = elbow_rest(skeleton, side)
        hinge = _hinge(upper, lower, trunk[:, 1] @ rest_axis)
        arms.append(_along(upper, hinge, rest.expand_as(upper), rest_axis.expand_as(upper)))
        elbows.append(_angle(upper, lower))
    blocks += [six_numbers(part) for part in (*thighs, *feet, *arms)]
    return torch.cat((*blocks, torch.stack((*knees, *elbows), -1)), -1)


def _hinge(upper: Tensor, lower: Tensor, fallback: Tensor) -> Tensor:
    across: Tensor = torch.linalg.cross(upper, lower)
    return across + 0.02 * fallback


def _angle(upper: Tensor, lower: Tensor) -> Tensor:
    return torch.atan2(torch.linalg.cross(upper, lower).norm(dim=-1), (upper * lower).sum(-1))


def ends(skeleton: Skeleton, posed: Posed) -> dict[str, Tensor]:
    """Heads of the main bones, and the crown, heels, toes and balls of the feet."""
    found = dict(posed.head)
    up = torch.tensor([0.0, -0.02, 0.12], dtype=torch.float64)
    found["crown"] = posed.head["head"] + (posed.rotation["head"] @ up)
    for side in ("L", "R"):
        found[f"ball.{side}"] = found[f"foot.{side}"] + (
            posed.rotation[f"foot.{side}"] @ skeleton.between(f"foot.{side}", f"toe1-1.{side}")
        )
        for name, keypoint in (("heel", 17), ("toe", 19)):
            rest = skeleton.keypoints[keypoint + (side == "R")]
            bone = f"foot.{side}"
            found[f"{name}.{side}"] = posed.point(bone, skeleton.heads[bone], rest)
    return found


def capsule_ends(places: dict[str, Tensor]) -> tuple[Tensor, Tensor, Tensor]:
    """Starts ``(..., 15, 3)``, ends ``(..., 15, 3)`` and radii ``(15,)`` of the flesh."""
    starts = torch.stack([places[start] for start, _, _ in CAPSULES], -2)
    stops = torch.stack([places[end] for _, end, _ in CAPSULES], -2)
    return starts, stops, torch.tensor([r for _, _, r in CAPSULES], dtype=torch.float64)


def segment_gaps(p: Tensor, u: Tensor, q: Tensor, v: Tensor) -> Tensor:
    """Distances between segments ``p + s u`` and ``q + t v``, ``s, t`` in [0, 1]."""
    w = p - q
    a, b, c = (u * u).sum(-1), (u * v).sum(-1), (v * v).sum(-1)
    d, e = (u * w).sum(-1), (v * w).sum(-1)
    s = ((b * e - c * d) / (a * c - b * b + 1e-9)).clamp(0, 1)
    t = ((b * s + e) / (c + 1e-9)).clamp(0, 1)
    s = ((b * t - d) / (a + 1e-9)).clamp(0, 1)
    gap = w + s[..., None] * u - t[..., None] * v
    return (gap.square().sum(-1) + 1e-8).sqrt()


def overlap(one: dict[str, Tensor], other: dict[str, Tensor]) -> Tensor:
    """Depths ``(..., 15, 15)`` by which the flesh of two athletes overlaps, metres."""
    p, p_end, r = capsule_ends(one)
    q, q_end, s = capsule_ends(other)
    gaps = segment_gaps(
        p[..., :, None, :], (p_end - p)[..., :, None, :],
        q[..., None, :, :], (q_end - q)[..., None, :, :],
    )  # fmt: skip
    return (r[:, None] + s[None, :] - gaps).clamp(min=0)


TIPS: Final = ("heel", "toe")
TIP_M: Final = 0.012
"""Skin that must stay above the mat, and the height of its keypoint when it touches."""


def sunk(places: dict[str, Tensor]) -> Tensor:
    """Depths ``(..., n)`` by which the flesh reaches below the mat, metres."""
    starts, stops, radii = capsule_ends(places)
    low = torch.minimum(starts[..., 2], stops[..., 2])
    tips = torch.stack([places[f"{name}.{side}"][..., 2] for name in TIPS for side in "LR"], -1)
    return torch.cat((0.8 * radii - low, TIP_M - tips), -1).clamp(min=0)


def strain(numbers: Tensor, skeleton: Skeleton) -> Tensor:
    """What joints cannot do, one value per pose: 0 within their limits."""
    _, turned, hinges = split(numbers)
    cost = torch.zeros(numbers.shape[:-1], dtype=numbers.dtype)
    for name in HINGES:
        most = 2.6 if "knee" in name else 2.5
        cost = cost + (0.05 - hinges[name]).clamp(min=0).square()
        cost = cost + (hinges[name] - most).clamp(min=0).square()
    for one, other, least in (("pelvis", "chest", 0.45), ("chest", "head", 0.35)):
        across = turned[one].transpose(-1, -2) @ turned[other]
        for axis in range(3):
            cost = cost + (least - across[..., axis, axis]).clamp(min=0).square()
    for word in ("left", "right"):
        thigh = turned["pelvis"].transpose(-1, -2) @ turned[f"{word}_thigh"]
        cost = cost + (thigh[..., 1, 2] * -1 - 0.45).clamp(min=0).square()
        cost = cost + (-0.2 - thigh[..., 0, 0]).clamp(min=0).square()
    return cost


@dataclass(frozen=True, slots=True, eq=False)
class Weights:
    """How much each wish counts in a fit. Squared metres or squared radians each."""

    root: float = 6.0
    trunk: float = 0.4
    joints: float = 3.0
    foot: float = 0.15
    mat: float = 60.0
    sunk: float = 60.0
    overlap: float = 25.0
    strain: float = 2.0


def sole_height(skeleton: Skeleton) -> float:
    """Height of the ankle above the sole, metres."""
    lowest = float(skeleton.keypoints[17:21, 2].min())
    return float(skeleton.heads["foot.L"][2]) - lowest + 0.012


def _foot_cost(numbers: Tensor, posed: Posed, target: Target) -> Tensor:
    cost = torch.zeros(numbers.shape[:-1], dtype=numbers.dtype)
    for slot, side in enumerate(("L", "R")):
        shank, foot = posed.rotation[f"lowerleg01.{side}"], posed.rotation[f"foot.{side}"]
        turn = target.foot_turn[:, slot]
        sine, cosine = turn.sin(), turn.cos()
        zero = torch.zeros_like(sine)
        wish = shank @ torch.stack((zero, -cosine, -sine), -1)[..., None]
        toes = -foot[..., :, 1]
        free = (toes - wish[..., 0]).square().sum(-1)
        free = free + (foot[..., :, 0] - shank[..., :, 0]).square().sum(-1)
        level = 4 * (foot[..., 2, 2] - 1).square() + 4 * foot[..., 2, :2].square().sum(-1)
        ahead = -shank[..., :2, 1]
        level = level + (toes[..., :2] - ahead).square().sum(-1)
        flat = target.flat[:, slot]
        cost = cost + flat * 3 * level + (1 - flat) * free
    return cost


def wish_cost(numbers: Tensor, posed: Posed, target: Target, weights: Weights) -> Tensor:
    """How far poses are from their key poses, one value per pose."""
    _, turned, _ = split(numbers)
    trunk = torch.stack([turned[name] for name in ("pelvis", "chest", "head")], 1)
    joints = torch.stack([posed.head[bone] for bone, _, _ in JOINTS], 1)
    cost = weights.root * (posed.head["root"] - target.root).square().sum(-1)
    cost = cost + weights.trunk * (trunk - target.trunk).square().sum((-1, -2, -3))
    cost = cost + weights.joints * (joints - target.joints).square().sum((-1, -2))
    return cost + weights.foot * _foot_cost(numbers, posed, target)


def mat_cost(places: dict[str, Tensor], target: Target, sole_m: float) -> Tensor:
    """What should rest on the mat and does not, squared metres, one value per pose."""
    cost = target.rests[:, 0] * (places["root"][..., 2] - HIPS_M).square()
    cost = cost + target.rests[:, 1] * (places["spine01"][..., 2] - BACK_M).square()
    for slot, side in enumerate(("L", "R")):
        knee = places[f"lowerleg01.{side}"][..., 2] - KNEE_M
        ankle = places[f"foot.{side}"][..., 2] - sole_m
        cost = cost + target.knees_down[:, slot] * knee.square()
        cost = cost + target.flat[:, slot] * ankle.square()
    return cost


def fit(
    targets: tuple[Target, Target],
    skeletons: tuple[Skeleton, Skeleton],
    n_steps: int = 500,
    weights: Weights = Weights(),
) -> Tensor:
    """Poses ``(2, n, N_NUMBERS)`` of athletes A and B that answer their key poses."""
    start = torch.stack([first_guess(t, s) for t, s in zip(targets, skeletons, strict=True)])
    numbers = start.clone().requires_grad_()
    optimiser = torch.optim.Adam([numbers], lr=0.02)
    soles = [sole_height(skeleton) for skeleton in skeletons]
    for step in range(n_steps):
        optimiser.param_groups[0]["lr"] = 0.02 * (1 - step / n_steps) + 0.0005
        optimiser.zero_grad()
        cost = numbers.new_zeros(())
        places = []
        for slot in range(2):
            posed = pose(skeletons[slot], numbers[slot])
            places.append(ends(skeletons[slot], posed))
            cost = cost + wish_cost(numbers[slot], posed, targets[slot], weights).sum()
            mat = mat_cost(places[slot], targets[slot], soles[slot])
            cost = cost + weights.mat * mat.sum()
            cost = cost + weights.sunk * sunk(places[slot]).square().sum()
            cost = cost + weights.strain * strain(numbers[slot], skeletons[slot]).sum()
        cost = cost + weights.overlap * overlap(*places).square().sum()
        cost.backward()  # type: ignore[no-untyped-call]
        optimiser.step()
    return numbers.detach()
