"""An articulated body: the skeleton of the parametric body model `anny`, posed by segments.

A pose is a root position, one rotation for every segment of the trunk, thigh, foot and upper
arm, and one angle for every knee and elbow, so bones keep their lengths whatever is done to the
numbers. All rotations are written as the first two rows of six numbers that need not be
orthonormal; linear blends of poses are therefore poses again.

Axes: the rest body stands upright, faces -y, its left is +x, up is +z. Metres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import torch
from torch import Tensor

SEGMENTS: Final = (
    "pelvis",
    "chest",
    "head",
    "left_thigh",
    "right_thigh",
    "left_foot",
    "right_foot",
    "left_upper_arm",
    "right_upper_arm",
)
"""Segments with a rotation of their own, in the order of a pose's numbers."""

HINGES: Final = ("left_knee", "right_knee", "left_elbow", "right_elbow")
"""Joints with one flexion angle, radians, 0 when straight."""

N_NUMBERS: Final = 3 + 6 * len(SEGMENTS) + len(HINGES)
"""Length of a pose: root position, segment rotations, hinge angles."""

SPINE: Final = (("spine05", 0.12), ("spine04", 0.3), ("spine03", 0.55), ("spine02", 0.8))
"""Bones between pelvis and chest, and how far each has turned from the one to the other."""

NECK: Final = (("neck01", 0.3), ("neck02", 0.55), ("neck03", 0.8))
"""Bones between chest and head, likewise."""

SHOULDER_SHARE: Final = 0.28
"""How much of the arm's swing the shoulder girdle takes part in (a third, as in people)."""


def orthonormal(six: Tensor) -> Tensor:
    """Rotations ``(..., 3, 3)`` from ``(..., 6)``: Gram-Schmidt on two columns."""
    first = torch.nn.functional.normalize(six[..., :3], dim=-1)
    second = six[..., 3:] - (six[..., 3:] * first).sum(-1, keepdim=True) * first
    second = torch.nn.functional.normalize(second, dim=-1)
    return torch.stack((first, second, torch.linalg.cross(first, second)), dim=-1)


def six_numbers(rotation: Tensor) -> Tensor:
    """Inverse of :func:`orthonormal`: ``(..., 3, 3)`` to ``(..., 6)``."""
    return torch.cat((rotation[..., :, 0], rotation[..., :, 1]), dim=-1)


def about_axis(axis: Tensor, angle: Tensor) -> Tensor:
    """Rotation by ``angle`` radians ``(...)`` about a unit ``axis (3,)`` (Rodrigues)."""
    x, y, z = axis.unbind(-1)
    zero = torch.zeros_like(x)
    cross = torch.stack((zero, -z, y, z, zero, -x, -y, x, zero), -1).reshape(*axis.shape[:-1], 3, 3)
    eye = torch.eye(3, dtype=axis.dtype)
    sine, cosine = angle.sin()[..., None, None], angle.cos()[..., None, None]
    return eye + sine * cross + (1 - cosine) * (cross @ cross)


@dataclass(frozen=True, slots=True, eq=False)
class Skeleton:
    """Rest positions of the joints and keypoints of one athlete.

    Parameters
    ----------
    heads
        Rest position ``(3,)`` of every bone's head, by the body model's bone name, with the
        root at the origin.
    keypoints
        ``(21, 3)`` rest positions of :data:`posescore.terms.KEYPOINTS`.
    """

    heads: Mapping[str, Tensor]
    keypoints: Tensor

    def between(self, start: str, end: str) -> Tensor:
        """Rest vector from one bone's head to another's."""
        return self.heads[end] - self.heads[start]


@dataclass(frozen=True, slots=True, eq=False)
class Posed:
    """World rotations ``(..., 3, 3)`` and head positions ``(..., 3)`` of the bones of a pose."""

    rotation: dict[str, Tensor]
    head: dict[str, Tensor]

    def point(self, bone: str, rest_head: Tensor, rest_point: Tensor) -> Tensor:
        """World position of a point that is fixed to a bone."""
        return self.head[bone] + (self.rotation[bone] @ (rest_point - rest_head)[..., None])[..., 0]


def split(numbers: Tensor) -> tuple[Tensor, dict[str, Tensor], dict[str, Tensor]]:
    """Root ``(..., 3)``, rotations and hinge angles of poses ``(..., N_NUMBERS)``."""
    count = 6 * len(SEGMENTS)
    six = numbers[..., 3 : 3 + count].reshape(*numbers.shape[:-1], len(SEGMENTS), 6)
    rotations = dict(zip(SEGMENTS, orthonormal(six).unbind(-3), strict=True))
    hinges = dict(zip(HINGES, numbers[..., 3 + count :].unbind(-1), strict=True))
    return numbers[..., :3], rotations, hinges


def _blend(one: Tensor, other: Tensor, share: float) -> Tensor:
    return orthonormal((1 - share) * six_numbers(one) + share * six_numbers(other))


def _chain(
    posed: Posed, skeleton: Skeleton, names: tuple[str, ...], rotations: list[Tensor]
) -> None:
    """Hang ``names[1:]`` one on the other, starting at ``names[0]``, which is posed."""
    head, rotation = dict(posed.head), dict(posed.rotation)
    for parent, name, turned in zip(names, names[1:], rotations, strict=False):
        step = skeleton.between(parent, name)
        head[name] = head[parent] + (rotation[parent] @ step[..., None])[..., 0]
        rotation[name] = turned
    posed.head.update(head)
    posed.rotation.update(rotation)


def _pose_trunk(posed: Posed, skeleton: Skeleton, turned: Mapping[str, Tensor]) -> None:
    spine = ("root", *(name for name, _ in SPINE), "spine01")
    shares = [share for _, share in SPINE]
    blends = [_blend(turned["pelvis"], turned["chest"], share) for share in shares]
    _chain(posed, skeleton, spine, [*blends, turned["chest"]])
    neck = ("spine01", *(name for name, _ in NECK), "head")
    blends = [_blend(turned["chest"], turned["head"], share) for _, share in NECK]
    _chain(posed, skeleton, neck, [*blends, turned["head"]])


def knee_axis() -> Tensor:
    """Axis of knee flexion in the rest frame: turning about it brings the heel back."""
    return torch.tensor([1.0, 0.0, 0.0], dtype=torch.float64)


def elbow_rest(skeleton: Skeleton, side: str) -> tuple[Tensor, Tensor]:
    """Axis of elbow flexion in the rest frame and the flexion of the rest pose, radians."""
    upper = skeleton.between(f"upperarm01.{side}", f"lowerarm01.{side}")
    fore = skeleton.between(f"lowerarm01.{side}", f"wrist.{side}")
    cross = torch.linalg.cross(upper, fore)
    angle = torch.atan2(cross.norm(), (upper * fore).sum())
    return cross / cross.norm(), angle


def _pose_leg(
    posed: Posed,
    skeleton: Skeleton,
    turned: Mapping[str, Tensor],
    hinges: Mapping[str, Tensor],
    side: str,
) -> None:
    word = "left" if side == "L" else "right"
    thigh = turned[f"{word}_thigh"]
    shank = thigh @ about_axis(knee_axis().to(thigh.dtype), hinges[f"{word}_knee"])
    names = ("root", f"upperleg01.{side}", f"lowerleg01.{side}", f"foot.{side}")
    _chain(posed, skeleton, names, [thigh, shank, turned[f"{word}_foot"]])


def _pose_arm(
    posed: Posed,
    skeleton: Skeleton,
    turned: Mapping[str, Tensor],
    hinges: Mapping[str, Tensor],
    side: str,
) -> None:
    word = "left" if side == "L" else "right"
    chest, arm = turned["chest"], turned[f"{word}_upper_arm"]
    rest = skeleton.between(f"upperarm01.{side}", f"lowerarm01.{side}")
    rest = rest / rest.norm()
    reach = (chest.transpose(-1, -2) @ (arm @ rest)[..., None])[..., 0]
    girdle = skeleton.between(f"clavicle.{side}", f"upperarm01.{side}")
    girdle = (girdle / girdle.norm()).expand(reach.shape)
    swing = SHOULDER_SHARE * torch.linalg.cross(girdle, reach - rest)
    angle = (swing.square().sum(-1) + 1e-12).sqrt()
    clavicle = chest @ about_axis(swing / angle[..., None], angle)
    axis, rest_flexion = elbow_rest(skeleton, side)
    fore = arm @ about_axis(axis, hinges[f"{word}_elbow"] - rest_flexion)
    names = (
        "spine01",
        f"clavicle.{side}",
        f"upperarm01.{side}",
        f"lowerarm01.{side}",
        f"wrist.{side}",
    )
    _chain(posed, skeleton, names, [clavicle, arm, fore, fore])


def pose(skeleton: Skeleton, numbers: Tensor) -> Posed:
    """Pose a skeleton.

    Parameters
    ----------
    skeleton
        Rest positions.
    numbers
        ``(..., N_NUMBERS)`` float64 poses.

    Returns
    -------
    Posed
        World rotations and heads of the main bones.
    """
    root, turned, hinges = split(numbers)
    posed = Posed({"root": turned["pelvis"]}, {"root": root})
    _pose_trunk(posed, skeleton, turned)
    for side in ("L", "R"):
        _pose_leg(posed, skeleton, turned, hinges, side)
        _pose_arm(posed, skeleton, turned, hinges, side)
    return posed


KEYPOINT_BONES: Final = (
    "head", "head", "head", "head", "head",
    "upperarm01.L", "upperarm01.R", "lowerarm01.L", "lowerarm01.R", "wrist.L", "wrist.R",
    "upperleg01.L", "upperleg01.R", "lowerleg01.L", "lowerleg01.R", "foot.L", "foot.R",
    "foot.L", "foot.R", "foot.L", "foot.R",
)  # fmt: skip
"""The bone that each of the 21 keypoints is fixed to."""


def keypoints(skeleton: Skeleton, posed: Posed) -> Tensor:
    """World positions ``(..., 21, 3)`` of the keypoints of a pose."""
    points = [
        posed.point(bone, skeleton.heads[bone], rest)
        for bone, rest in zip(KEYPOINT_BONES, skeleton.keypoints, strict=True)
    ]
    return torch.stack(points, dim=-2)


@dataclass(frozen=True, slots=True)
class Build:
    """Shape of a body, in the body model's own parameters, each 0 to 1."""

    height: float
    muscle: float
    weight: float
    gender: float = 0.0
    """0 is male, 1 female."""
    age: float = 0.62


def phenotype(build: Build) -> dict[str, float]:
    """The body model's arguments for a build."""
    return {
        "gender": build.gender,
        "age": build.age,
        "muscle": build.muscle,
        "weight": build.weight,
        "height": build.height,
        "proportions": 0.6,
    }


def make_skeleton(build: Build) -> Skeleton:
    """Rest skeleton of a build, read from the body model."""
    import anny

    model = anny.Anny()
    with torch.no_grad():
        out = model(phenotype_kwargs=phenotype(build))
        names = anny.KeypointsRegressor.coco(model)
        found = dict(zip(names.labels, names(out)[0], strict=True))
    root = out["rest_bone_heads"][0, 0]
    heads = {
        name: out["rest_bone_heads"][0, index] - root
        for index, name in enumerate(model.bone_labels)
    }
    # The regressed points belong to the posed body, whose root bone stands at its own place.
    posed_root = out["bone_poses"][0, 0, :3, 3]
    points = [found[_REGRESSED[i]] - posed_root for i in range(len(_REGRESSED))]
    return Skeleton(heads, torch.stack(points))


_REGRESSED: Final = (
    "nose", "left_eye", "right_eye", "left_ear", "right_ear",
    "left_shoulder", "right_shoulder", "left_elbow", "right_elbow", "left_wrist", "right_wrist",
    "left_hip", "right_hip", "left_knee", "right_knee", "left_ankle", "right_ankle",
    "left_heel", "right_heel", "left_big_toe", "right_big_toe",
)  # fmt: skip
