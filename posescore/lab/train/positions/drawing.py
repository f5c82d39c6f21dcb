"""Pictures to learn from, thousands at once: poses on their way, bent, built anew and filmed.

The same as :mod:`posescore.lab.poses.pose_variation`,
:mod:`~posescore.evaluation.poses3d.body_keypoints` and
:mod:`~posescore.evaluation.poses3d.cameras` do with numpy, as tensors on any device: no picture is
ever kept or seen twice.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import torch

from posescore.evaluation.poses3d.body_keypoints import FACE, HEAD_NOD_SD_RAD, HEAD_TURN_SD_RAD
from posescore.evaluation.poses3d.cameras import PICTURE_SIZES_PX
from posescore.evaluation.poses3d.pose_set import JOINT, MIRRORED_JOINTS
from posescore.lab.poses.pose_variation import BENDS, FLOOR_M, TREE, descendants
from posescore.lab.train.positions.chance import Chance
from posescore.lab.train.positions.fixed import fixed
from posescore.lab.train.positions.material import Material
from posescore.terms import KEYPOINT_INDEX, N_KEYPOINTS

Tensor = torch.Tensor
_SHARED: Final = tuple(name for name in KEYPOINT_INDEX if name in JOINT)


class Ways(NamedTuple):
    """The material on a device, second frames brought along."""

    first_m: Tensor  # (n, 2, 23, 3)
    second_m: Tensor  # (n, 2, 23, 3)
    bend: Tensor  # (n,)

    @classmethod
    def of(cls, material: Material, device: torch.device) -> Ways:
        """Both ends of every way."""
        from posescore.lab.train.positions.material import ends_of

        first, second = ends_of(material)
        return cls(
            torch.as_tensor(first, device=device),
            torch.as_tensor(second, device=device),
            torch.as_tensor(material.bend, dtype=torch.float32, device=device),
        )


def poses_on(ways: Ways, rows: Tensor, chance: Chance) -> Tensor:
    """A pose ``(n, 2, 23, 3)`` somewhere on each of the ways ``rows``, bent, half mirrored."""
    part = chance.even(len(rows))
    return _bent_and_mirrored(ways, rows, part, ways.bend[rows], chance)


def freer_poses_on(ways: Ways, rows: Tensor, chance: Chance) -> tuple[Tensor, Tensor]:
    """The same, and a mask ``(n,)`` of those that strayed from their way.

    A quarter is bent twice as far; in another quarter every limb and trunk of either athlete goes
    its own part of the way.
    """
    count, kind = len(rows), chance.even(len(rows))
    part = chance.even(count)
    own = torch.lerp(part[:, None], chance.even(count, 2 * N_LIMBS), 0.7)
    own = own.reshape(count, 2, N_LIMBS)[:, :, fixed(LIMB_OF_JOINT, part.device)]
    part = torch.where((kind < 0.25)[:, None, None], own, part[:, None, None])
    bend = ways.bend[rows] * torch.where(kind > 0.75, 2.0, 1.0)
    strayed = (kind < 0.25) | (kind > 0.75)
    return _bent_and_mirrored(ways, rows, part, bend, chance), strayed


def _bent_and_mirrored(
    ways: Ways, rows: Tensor, part: Tensor, bend: Tensor, chance: Chance
) -> Tensor:
    pose = mix(ways.first_m[rows], ways.second_m[rows], part)
    pose = bent(pose, bend, chance)
    image = pose[:, :, fixed(MIRRORED_JOINTS, pose.device)]
    image = image * fixed((-1.0, 1.0, 1.0), pose.device)
    return torch.where(chance.yes(0.5, len(rows), 1, 1, 1), image, pose)


def _limbs() -> list[int]:
    """Limb of each joint: trunk and head 0, arms 1 and 2, legs 3 and 4."""
    limb = [0] * len(JOINT)
    for number, root in enumerate(("left_shoulder", "right_shoulder", "left_hip", "right_hip"), 1):
        for joint in descendants(JOINT[root]):
            limb[joint] = number
    return limb


LIMB_OF_JOINT: Final = _limbs()
N_LIMBS: Final = 5


def _levels() -> list[tuple[list[int], list[int]]]:
    """Bones of the tree by their distance from the core: parents and children."""
    depth = {JOINT["core"]: 0}
    for parent, child in TREE:
        depth[child] = depth[parent] + 1
    levels: list[tuple[list[int], list[int]]] = []
    for level in range(1, max(depth.values()) + 1):
        bones = [(p, c) for p, c in TREE if depth[c] == level]
        levels.append(([p for p, _ in bones], [c for _, c in bones]))
    return levels


_LEVELS: Final = _levels()


def mix(first: Tensor, second: Tensor, part: Tensor) -> Tensor:
    """Poses ``part`` of the way, bones as long as both mixed.

    ``part`` is one for each pose ``(n,)`` or one for each of its joints ``(n, 2, 23)``.
    """
    weight = (part if part.dim() > 1 else part[:, None, None])[..., None]
    weight = weight.expand(*first.shape[:3], 1)
    straight = torch.lerp(first, second, weight)
    mixed = straight.clone()
    for bones in _LEVELS:
        parents, children = (fixed(ends, first.device) for ends in bones)
        begin, end = (
            torch.linalg.vector_norm(m[:, :, children] - m[:, :, parents], dim=-1, keepdim=True)
            for m in (first, second)
        )
        bone = straight[:, :, children] - straight[:, :, parents]
        now = torch.linalg.vector_norm(bone, dim=-1, keepdim=True).clamp_min(1e-6)
        there = mixed[:, :, parents] + bone * (torch.lerp(begin, end, weight[:, :, children]) / now)
        mixed.index_copy_(2, children, there)
    return mixed


def bent(pose: Tensor, amount: Tensor, chance: Chance) -> Tensor:
    """Poses bent a little in every joint, of other builds, shifted a little, on the floor."""
    count = len(pose)
    body = pose.reshape(2 * count, -1, 3).clone()
    share = amount.repeat_interleave(2)[:, None] * chance.even(2 * count, 1)
    spread = fixed([float(np.deg2rad(b[2])) for b in BENDS], body.device)
    turns = _rotations(spread[:, None] * share[..., None] * chance.normal(2 * count, len(BENDS), 3))
    for i, (joint, moved, _) in enumerate(BENDS):
        pivot, along = body[:, joint, None], fixed(moved, body.device)
        there = pivot + (body[:, along] - pivot) @ turns[:, i].transpose(1, 2)
        body.index_copy_(1, along, there)
    shift = 0.025 * amount[:, None, None, None] * chance.normal(count, 2, 1, 3)
    return _other_builds(body.reshape(count, 2, -1, 3) + shift, chance)


def _rotations(vector: Tensor) -> Tensor:
    """Rotation matrices ``(..., 3, 3)`` of rotation vectors (Rodrigues' formula)."""
    angle = torch.linalg.vector_norm(vector, dim=-1)
    x, y, z = (vector / angle.clamp_min(1e-9)[..., None]).unbind(-1)
    zero = torch.zeros_like(x)
    cross = torch.stack([zero, -z, y, z, zero, -x, -y, x, zero], -1).unflatten(-1, (3, 3))
    sin, cos = torch.sin(angle)[..., None, None], torch.cos(angle)[..., None, None]
    return torch.eye(3, device=vector.device) + sin * cross + (1 - cos) * (cross @ cross)


def _other_builds(pose: Tensor, chance: Chance) -> Tensor:
    count = len(pose)
    size = torch.exp(0.06 * chance.normal(count, 2, 1, 1))
    middle = pose.mean((1, 2), keepdim=True)
    pose = middle + size * (pose - middle)
    for root in ("hip", "shoulder"):
        stretch = torch.exp(0.05 * chance.normal(count, 2, 1, 1))
        for side in ("left", "right"):
            joint = JOINT[f"{side}_{root}"]
            limb, start = fixed(descendants(joint), pose.device), pose[:, :, joint, None]
            pose.index_copy_(2, limb, start + stretch * (pose[:, :, limb] - start))
    pose[..., 2] -= (pose[..., 2].amin((1, 2)) - FLOOR_M)[:, None, None]
    return pose


def _unit(vector: Tensor) -> Tensor:
    return vector / torch.linalg.vector_norm(vector, dim=-1, keepdim=True).clamp_min(1e-6)


def keypoints_of(pose: Tensor, chance: Chance) -> Tensor:
    """21 keypoints ``(n, 2, 21, 3)`` in metres, as differently as estimators see them."""
    points = pose.new_empty((len(pose), 2, N_KEYPOINTS, 3))
    there, here = (
        fixed([index[n] for n in _SHARED], pose.device) for index in (KEYPOINT_INDEX, JOINT)
    )
    points.index_copy_(2, there, pose[:, :, here])
    _place_face(points, pose, chance)
    along = _unit(pose[:, :, JOINT["neck"]] - pose[:, :, JOINT["core"]])[:, :, None]
    for part, spread, rise in (("hip", 0.14, 0.03), ("shoulder", 0.10, 0.02)):
        both = fixed([KEYPOINT_INDEX[f"{side}_{part}"] for side in ("left", "right")], pose.device)
        middle = points[:, :, both].mean(2, keepdim=True)
        width = 1 + spread * (1.6 * chance.even(len(pose), 1, 1, 1) - 1)
        lift = rise * chance.normal(len(pose), 1, 1, 1) * along
        points.index_copy_(2, both, middle + width * (points[:, :, both] - middle) + lift)
    return points + 0.012 * chance.normal(*points.shape)


def _place_face(points: Tensor, pose: Tensor, chance: Chance) -> None:
    """A face that is turned at random; in one pose of six all of it is where the head is.

    Some formats know of the head one point alone, and give it for nose, eyes and ears.
    """
    head = pose[:, :, JOINT["head"]]
    up = _unit(head - pose[:, :, JOINT["neck"]])
    right = pose[:, :, JOINT["right_shoulder"]] - pose[:, :, JOINT["left_shoulder"]]
    right = _unit(right - (right * up).sum(-1, keepdim=True) * up)
    ahead = torch.linalg.cross(up, right)
    shape = (len(pose), 2, 1)
    turn = HEAD_TURN_SD_RAD * chance.normal(*shape)
    nod = HEAD_NOD_SD_RAD * chance.normal(*shape)
    right, ahead = (
        torch.cos(turn) * right + torch.sin(turn) * ahead,
        torch.cos(turn) * ahead - torch.sin(turn) * right,
    )
    ahead, up = (
        torch.cos(nod) * ahead + torch.sin(nod) * up,
        torch.cos(nod) * up - torch.sin(nod) * ahead,
    )
    size = 1 + 0.08 * chance.normal(*shape)
    size = torch.where(chance.yes(1 / 6, len(pose), 1, 1), 0.0, size)
    for name, (x, y, z) in FACE.items():
        points[:, :, KEYPOINT_INDEX[name]] = head + size * (x * right + y * ahead + z * up)


class Filmed(NamedTuple):
    """What cameras see without an error."""

    point_px: Tensor  # (n, 2, 21, 2)
    depth_m: Tensor  # (n, 2, 21)
    px_per_m: Tensor  # (n,)


def filmed(points: Tensor, chance: Chance) -> Filmed:
    """Keypoints ``(n, 2, 21, 3)`` through a random camera each.

    The distribution is that of :func:`~posescore.evaluation.poses3d.cameras.random_cameras`,
    except that one camera in ten hangs higher, up to 85 degrees.
    """
    count = len(points)
    flat = points.reshape(count, -1, 3)
    centre = (flat.amin(1) + flat.amax(1)) / 2
    low, high = np.deg2rad((-2.0, 65.0))
    elevation = low + (high - low) * chance.even(count) ** 1.4
    steep = np.deg2rad(60.0) + np.deg2rad(25.0) * chance.even(count)
    elevation = torch.where(chance.yes(0.1, count), steep, elevation)
    azimuth = 2 * np.pi * chance.even(count)
    distance = 2.0 * 4.5 ** chance.even(count)  # 2 to 9 metres
    level = torch.cos(elevation)
    outwards = torch.stack(
        [level * torch.cos(azimuth), level * torch.sin(azimuth), torch.sin(elevation)], 1
    )
    sizes = fixed(PICTURE_SIZES_PX, points.device, torch.float32)[
        chance.whole(len(PICTURE_SIZES_PX), count)
    ]
    radius = torch.linalg.vector_norm(flat - centre[:, None], dim=2).amax(1)
    fill = 0.25 + 0.65 * chance.even(count)
    focal = fill * sizes.amin(1) / 2 * distance / radius
    shift = (1 - fill)[:, None] * sizes / 2 * (1.6 * chance.even(count, 2) - 0.8)
    roll = np.deg2rad(4.0) * chance.normal(count).clamp(-3, 3)
    axes = _axes(-outwards, roll, shift / focal[:, None])
    seen = (flat - (centre + distance[:, None] * outwards)[:, None]) @ axes.transpose(1, 2)
    depth = seen[..., 2].clamp_min(0.3)
    pixel = seen[..., :2] / depth[..., None] * focal[:, None, None]
    return Filmed(
        pixel.reshape(count, 2, -1, 2),
        depth.reshape(count, 2, -1),
        focal / depth.mean(1),
    )


def _axes(ahead: Tensor, roll: Tensor, shift: Tensor) -> Tensor:
    right = _unit(torch.linalg.cross(ahead, fixed((0.0, 0.0, 1.0), ahead.device).expand_as(ahead)))
    down = torch.linalg.cross(ahead, right)
    cos, sin = torch.cos(roll)[:, None], torch.sin(roll)[:, None]
    right, down = cos * right + sin * down, cos * down - sin * right
    ahead = _unit(ahead - shift[:, :1] * right - shift[:, 1:] * down)
    right = _unit(right - (right * ahead).sum(1, keepdim=True) * ahead)
    return torch.stack([right, torch.linalg.cross(ahead, right), ahead], 1)
