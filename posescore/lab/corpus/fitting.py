"""Fits the rig to frames of the pose set: 23 joints of each athlete to rotations of 20 bones."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from posescore.evaluation.poses3d.pose_set import JOINT
from posescore.lab.corpus.rig import N_BONES, SPOTS, Rig
from posescore.lab.corpus.skeleton import (
    forward_kinematics,
    keypoints_of,
    matrix_of_rotation_vector,
)
from posescore.terms import KEYPOINT_INDEX

_LIMB_JOINTS: Final = tuple(
    f"{side}_{name}"
    for name in ("hip", "shoulder", "ankle", "knee", "elbow", "wrist", "toe", "heel")
    for side in ("left", "right")
)
_JOINT_WEIGHT: Final = tuple(0.3 if n.endswith(("toe", "heel")) else 1.0 for n in _LIMB_JOINTS)
_SPOT_WEIGHT: Final = (0.15, 0.15, 0.1, 0.1, 0.2, 0.05)
_HEAD_WEIGHT: Final = 0.3
_REST_WEIGHT: Final = 0.02
"""Pulls every bone a little to its rest: what the joints leave open stays relaxed."""


@dataclass(frozen=True, slots=True, eq=False)
class Fits:
    """Poses of the rig for frames of the pose set.

    Parameters
    ----------
    rotation_vector
        ``(n_shapes, n_frames, 2, 20, 3)`` float16, radians.
    root_m
        ``(n_shapes, n_frames, 2, 3)`` float32.
    error_m
        ``(n_shapes, n_frames, 2)`` float32: mean distance of the twelve main joints.
    """

    rotation_vector: NDArray[np.float16]
    root_m: NDArray[np.float32]
    error_m: NDArray[np.float32]

    def save(self, path: Path) -> None:
        """Write to one compressed file."""
        np.savez_compressed(
            path,
            rotation_vector=self.rotation_vector,
            root_m=self.root_m,
            error_m=self.error_m,
        )

    @classmethod
    def load(cls, path: Path) -> Fits:
        """Read what :meth:`save` wrote."""
        with np.load(path, allow_pickle=False) as data:
            return cls(data["rotation_vector"], data["root_m"], data["error_m"])


def fit_all(
    rig: Rig, joints_m: NDArray[np.float32], device: str = "cpu", iterations: int = 220
) -> Fits:
    """Fit every shape to every frame; the first shape starts from rest, the others from it.

    Parameters
    ----------
    rig
        The bodies.
    joints_m
        ``(n_frames, 2, 23, 3)`` float32:
        :attr:`posescore.evaluation.poses3d.pose_set.PoseSet.joints_m`.
    device
        Where to compute.
    iterations
        Steps of Adam for the first shape; the others take half. 220 reach about 3 cm.
    """
    targets = torch.tensor(joints_m.reshape(-1, *joints_m.shape[2:]), device=device)
    rotation, root, error = [], [], []
    start: Tensor | None = None
    for shape in range(len(rig.rest_m)):
        steps = iterations if start is None else iterations // 2
        vector, shift, distance = _fit_shape(rig, shape, targets, start, steps)
        start = vector if start is None else start
        rotation.append(vector.cpu().numpy().astype(np.float16))
        root.append(shift.cpu().numpy())
        error.append(distance.cpu().numpy())
    frames = (len(rig.rest_m), -1, 2)
    return Fits(
        np.stack(rotation).reshape(*frames, N_BONES, 3),
        np.stack(root).reshape(*frames, 3),
        np.stack(error).reshape(frames),
    )


def _fit_shape(
    rig: Rig, shape: int, targets: Tensor, start: Tensor | None, steps: int
) -> tuple[Tensor, Tensor, Tensor]:
    model = JointsLoss(rig, shape, targets)
    first = torch.zeros(len(targets), N_BONES, 3, device=targets.device)
    if start is None:
        first[:, 0] = model.root_turn()
    else:
        first.copy_(start)
    vector = first.requires_grad_()
    shift = model.root_shift(first.detach()).requires_grad_()
    optimiser = torch.optim.Adam([vector, shift], lr=0.05)
    schedule = torch.optim.lr_scheduler.MultiStepLR(
        optimiser, [int(steps * 0.6), int(steps * 0.85)], gamma=0.35
    )
    distance = torch.zeros(len(targets))
    for _ in range(steps):
        loss, distance = model(vector, shift)
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        schedule.step()
    return vector.detach(), shift.detach(), distance.detach()


class JointsLoss:
    """How far the posed body is from the joints asked for."""

    def __init__(self, rig: Rig, shape: int, targets: Tensor) -> None:
        device = targets.device

        def tensor(array: NDArray[np.float32]) -> Tensor:
            return torch.tensor(array, device=device)

        self.parent = [int(p) for p in rig.parent]
        self.heads = tensor(rig.bone_head_m[shape])
        self.offset = tensor(rig.keypoint_offset[shape])
        self.lever = tensor(rig.keypoint_lever_m[shape])
        self.spot = tensor(rig.spot_m[shape])
        self.spot_bone = torch.tensor(rig.spot_bone, device=device)
        self.limbs = [KEYPOINT_INDEX[name] for name in _LIMB_JOINTS]
        self.ears = [KEYPOINT_INDEX["left_ear"], KEYPOINT_INDEX["right_ear"]]
        self.limb_target = targets[:, [JOINT[name] for name in _LIMB_JOINTS]]
        self.spot_target = targets[:, [JOINT[name] for name in SPOTS]]
        self.head_target = targets[:, JOINT["head"]]
        self.limb_weight = torch.tensor(_JOINT_WEIGHT, device=device)
        self.spot_weight = torch.tensor(_SPOT_WEIGHT, device=device)

    def root_turn(self) -> Tensor:
        """The turn that lays hips and shoulders best on their targets (Kabsch)."""
        rest = self.lever.sum(1)[self.limbs][:4]
        rest = rest - rest.mean(0)
        goal = self.limb_target[:, :4] - self.limb_target[:, :4].mean(1, keepdim=True)
        left, _, right = torch.linalg.svd(torch.einsum("ki,bkj->bij", rest, goal))
        sign = torch.linalg.det(right.mT @ left.mT)
        flip = torch.ones_like(left[..., 0])
        flip[..., 2] = sign
        return _rotation_vector(right.mT @ torch.diag_embed(flip) @ left.mT)

    def root_shift(self, vector: Tensor) -> Tensor:
        """The shift that lays the middle of hips and shoulders on its target."""
        zero = torch.zeros(len(vector), 3, device=vector.device)
        keypoints, _ = self._pose(vector, zero)
        middle = keypoints[:, self.limbs][:, :4].mean(1)
        return self.limb_target[:, :4].mean(1) - middle

    def _pose(self, vector: Tensor, shift: Tensor) -> tuple[Tensor, Tensor]:
        turn, move = forward_kinematics(
            matrix_of_rotation_vector(vector), shift, self.heads, self.parent
        )
        spots = torch.einsum("bnij,nj->bni", turn[:, self.spot_bone], self.spot)
        return keypoints_of(turn, move, self.offset, self.lever), spots + move[:, self.spot_bone]

    def __call__(self, vector: Tensor, shift: Tensor) -> tuple[Tensor, Tensor]:
        """What is lost in all, and the mean distance of each body's limbs in metres."""
        keypoints, spots = self._pose(vector, shift)
        limb = ((keypoints[:, self.limbs] - self.limb_target) ** 2).sum(-1)
        spot = ((spots - self.spot_target) ** 2).sum(-1)
        head = ((keypoints[:, self.ears].mean(1) - self.head_target) ** 2).sum(-1)
        loss = (
            (limb * self.limb_weight).mean(1)
            + (spot * self.spot_weight).mean(1)
            + _HEAD_WEIGHT * head
            + _REST_WEIGHT * (vector[:, 1:] ** 2).mean((1, 2))
        )
        return loss.sum(), limb[:, :12].sqrt().mean(1)


def _rotation_vector(matrix: Tensor) -> Tensor:
    """Rotation vectors of matrices, from the axis of the quaternion of largest real part."""
    trace = matrix.diagonal(dim1=-2, dim2=-1).sum(-1)
    diagonal = torch.cat([trace[..., None], matrix.diagonal(dim1=-2, dim2=-1)], -1)
    squares = torch.stack(
        [1 + trace, *(1 - trace + 2 * diagonal[..., k] for k in (1, 2, 3))], -1
    ).clamp(min=1e-9)
    off = matrix - matrix.mT
    real = torch.stack([off[..., 2, 1], off[..., 0, 2], off[..., 1, 0]], -1)
    both = matrix + matrix.mT
    xy, xz, yz = both[..., 0, 1], both[..., 0, 2], both[..., 1, 2]
    rows = torch.stack(
        [
            torch.cat([squares[..., :1], real], -1),
            torch.stack([real[..., 0], squares[..., 1], xy, xz], -1),
            torch.stack([real[..., 1], xy, squares[..., 2], yz], -1),
            torch.stack([real[..., 2], xz, yz, squares[..., 3]], -1),
        ],
        -2,
    )
    best = squares.argmax(-1)
    quaternion = torch.take_along_dim(rows, best[..., None, None], -2)[..., 0, :]
    quaternion = torch.nn.functional.normalize(quaternion, dim=-1)
    quaternion = torch.where(quaternion[..., :1] < 0, -quaternion, quaternion)
    sine = quaternion[..., 1:].norm(dim=-1, keepdim=True).clamp(min=1e-9)
    return quaternion[..., 1:] / sine * 2 * torch.atan2(sine, quaternion[..., :1])
