"""Turning bones: rotation vectors, quaternions and forward kinematics, in batches."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional


def matrix_of_rotation_vector(vector: Tensor) -> Tensor:
    """Rotation matrices ``(..., 3, 3)`` of rotation vectors ``(..., 3)`` in radians (Rodrigues)."""
    angle = vector.norm(dim=-1, keepdim=True).clamp(min=1e-8)
    axis = vector / angle
    sine, cosine = angle.sin()[..., None], angle.cos()[..., None]
    x, y, z = axis.unbind(-1)
    zero = torch.zeros_like(x)
    cross = torch.stack([zero, -z, y, z, zero, -x, -y, x, zero], -1)
    cross = cross.reshape(*vector.shape[:-1], 3, 3)
    identity = torch.eye(3, device=vector.device, dtype=vector.dtype)
    return identity + sine * cross + (1 - cosine) * (cross @ cross)


def quaternion_of_rotation_vector(vector: Tensor) -> Tensor:
    """Unit quaternions ``(..., 4)``, real part first."""
    angle = vector.norm(dim=-1, keepdim=True).clamp(min=1e-8)
    return torch.cat([(angle / 2).cos(), vector / angle * (angle / 2).sin()], -1)


def matrix_of_quaternion(quaternion: Tensor) -> Tensor:
    """Rotation matrices ``(..., 3, 3)`` of unit quaternions ``(..., 4)``."""
    w, x, y, z = quaternion.unbind(-1)
    rows = [
        1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y),
        2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x),
        2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y),
    ]  # fmt: skip
    return torch.stack(rows, -1).reshape(*quaternion.shape[:-1], 3, 3)


def product(left: Tensor, right: Tensor) -> Tensor:
    """Hamilton product of quaternions: first ``right`` turns, then ``left``."""
    a, b, c, d = left.unbind(-1)
    w, x, y, z = right.unbind(-1)
    return torch.stack(
        [
            a * w - b * x - c * y - d * z,
            a * x + b * w + c * z - d * y,
            a * y - b * z + c * w + d * x,
            a * z + b * y - c * x + d * w,
        ],
        -1,
    )


def between(start: Tensor, end: Tensor, share: Tensor) -> Tensor:
    """Quaternions ``share`` of the way from one to the other, the short way, normalised."""
    end = torch.where((start * end).sum(-1, keepdim=True) < 0, -end, end)
    return functional.normalize(start + (end - start) * share, dim=-1)


def forward_kinematics(
    rotation: Tensor, root_m: Tensor, bone_head_m: Tensor, parent: list[int]
) -> tuple[Tensor, Tensor]:
    """Transforms of all bones: a rest point ``x`` of bone ``a`` goes to ``R[a] @ x + t[a]``.

    Parameters
    ----------
    rotation
        ``(..., n_bones, 3, 3)``: each bone's turn against its parent, about its head at rest.
    root_m
        ``(..., 3)``: shift of the root in metres.
    bone_head_m
        ``(..., n_bones, 3)``: heads of the bones at rest.
    parent
        Index of each bone's parent, -1 for the root.

    Returns
    -------
    tuple
        ``R (..., n_bones, 3, 3)`` and ``t (..., n_bones, 3)``.
    """
    turns: list[Tensor] = []
    shifts: list[Tensor] = []
    for bone, above in enumerate(parent):
        turn, head = rotation[..., bone, :, :], bone_head_m[..., bone, :]
        shift = head - (turn @ head[..., None])[..., 0]
        if above < 0:
            turns.append(turn)
            shifts.append(shift + root_m)
        else:
            turns.append(turns[above] @ turn)
            shifts.append((turns[above] @ shift[..., None])[..., 0] + shifts[above])
    return torch.stack(turns, -3), torch.stack(shifts, -2)


def keypoints_of(turn: Tensor, shift: Tensor, offset: Tensor, lever_m: Tensor) -> Tensor:
    """Keypoints ``(..., n_keypoints, 3)`` of posed bodies; see :class:`corpus.rig.Rig`."""
    return torch.einsum("...ka,...ai->...ki", offset, shift) + torch.einsum(
        "...aij,...kaj->...ki", turn, lever_m
    )
