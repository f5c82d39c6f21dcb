"""Bodies fitted to every frame of a walked match: 23 joints to the renderer's bones, in one go.

The rig and its distance from the joints are those of :mod:`posescore.lab.corpus.fitting`;
here all frames of an athlete are fitted together, and bones may not jump from frame to frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from posescore.evaluation.poses3d.pose_set import JOINT
from posescore.lab.bodies.fitting import CAPSULES
from posescore.lab.bodies.flesh import Rig as FullRig
from posescore.lab.corpus.fitting import JointsLoss
from posescore.lab.corpus.rig import BONE, N_BONES, Rig
from posescore.lab.corpus.skeleton import (
    forward_kinematics,
    keypoints_of,
    matrix_of_rotation_vector,
)

STEADY: Final = 0.03
"""Weight of the bones' change of turn from one frame to the next (squares of second differences):
what the joints leave open moves smoothly, what they say is followed."""
_CROWN_M: Final = 0.17
_LIMBS: Final = (("hip", "knee"), ("knee", "ankle"), ("shoulder", "elbow"), ("elbow", "wrist"))


@dataclass(frozen=True, slots=True, eq=False)
class FittedBody:
    """One athlete in every frame.

    Parameters
    ----------
    turn, shift_m
        ``(n_frames, 20, 3, 3)`` and ``(n_frames, 20, 3)`` float32: a rest point ``x`` of a bone
        lies at ``turn @ x + shift_m``; the turn holds the body's size.
    keypoints_m
        ``(n_frames, 21, 3)`` float32.
    error_m
        ``(n_frames,)`` float32: mean distance of the twelve main joints from those asked for.
    size
        How much larger the body is than the rig's, so that its limbs are as long as the joints'.
    """

    turn: NDArray[np.float32]
    shift_m: NDArray[np.float32]
    keypoints_m: NDArray[np.float32]
    error_m: NDArray[np.float32]
    size: float


def limb_length_m(joints_m: NDArray[np.floating]) -> float:
    """Mean length of thighs, shanks, upper arms and forearms of joints ``(..., 23, 3)``."""
    lengths = [
        np.linalg.norm(joints_m[..., JOINT[f"{s}_{a}"], :] - joints_m[..., JOINT[f"{s}_{b}"], :],
                       axis=-1).mean()
        for a, b in _LIMBS
        for s in ("left", "right")
    ]  # fmt: skip
    return float(np.mean(lengths))


def _rest_limb_m(rig: Rig, shape: int) -> float:
    heads = rig.bone_head_m[shape]
    chains = (("upperleg01", "lowerleg01", "foot"), ("upperarm01", "lowerarm01", "wrist"))
    pairs = [(f"{c[i]}.{s}", f"{c[i + 1]}.{s}") for c in chains for i in (0, 1) for s in "LR"]
    return float(np.mean([np.linalg.norm(heads[BONE[a]] - heads[BONE[b]]) for a, b in pairs]))


def _sized(rig: Rig, size: float) -> Rig:
    return replace(
        rig,
        bone_head_m=rig.bone_head_m * np.float32(size),
        keypoint_lever_m=rig.keypoint_lever_m * np.float32(size),
        spot_m=rig.spot_m * np.float32(size),
    )


def fit_body(
    rig: Rig,
    shape: int,
    joints_m: NDArray[np.float32],
    device: str = "cpu",
    iterations: int = 180,
    steady: float = STEADY,
) -> FittedBody:
    """Fit a body of the rig to an athlete's joints.

    Parameters
    ----------
    rig, shape
        The bodies, and which of them.
    joints_m
        ``(n_frames, 23, 3)`` float32 joints in the order of the open pose set.
    device
        Where to compute.
    iterations
        Steps of Adam; all frames take them together.
    steady
        See :data:`STEADY`.
    """
    size = limb_length_m(joints_m) / _rest_limb_m(rig, shape)
    sized = _sized(rig, size)
    loss = _MovingLoss(sized, shape, torch.tensor(joints_m, device=device), steady)
    vector = torch.zeros(len(joints_m), N_BONES, 3, device=device, requires_grad=True)
    shift = loss.root_shift(vector.detach()).requires_grad_()
    optimiser = torch.optim.Adam([vector, shift], lr=0.05)
    slower = [int(iterations * 0.6), int(iterations * 0.85)]
    schedule = torch.optim.lr_scheduler.MultiStepLR(optimiser, slower, gamma=0.35)
    for _ in range(iterations):
        value, _ = loss(vector, shift)
        optimiser.zero_grad()
        value.backward()  # type: ignore[no-untyped-call]
        optimiser.step()
        schedule.step()
    with torch.no_grad():
        _, error = loss(vector, shift)
        turn, move = loss.bones(vector, shift)
        points = keypoints_of(turn, move, loss.offset, loss.lever)
    arrays = [each.cpu().numpy().astype(np.float32) for each in (size * turn, move, points, error)]
    return FittedBody(arrays[0], arrays[1], arrays[2], arrays[3], size)


class _MovingLoss(JointsLoss):
    """The distance from the joints, of frames that follow one another.

    The root's turn is measured from the one that lays hips and shoulders best in each frame, so
    that it may go round as often as it likes.
    """

    def __init__(self, rig: Rig, shape: int, targets: Tensor, steady: float) -> None:
        super().__init__(rig, shape, targets)
        self._steady = steady
        self._base = matrix_of_rotation_vector(self.root_turn())
        self._last: Tensor | None = None

    def bones(self, vector: Tensor, shift: Tensor) -> tuple[Tensor, Tensor]:
        """Turn and shift of every bone in the world."""
        own = matrix_of_rotation_vector(vector)
        own = torch.cat([(self._base @ own[:, 0])[:, None], own[:, 1:]], 1)
        return forward_kinematics(own, shift, self.heads, self.parent)

    def __call__(self, vector: Tensor, shift: Tensor) -> tuple[Tensor, Tensor]:
        value, distance = super().__call__(vector, shift)
        assert self._last is not None
        bend = self._last[2:] - 2 * self._last[1:-1] + self._last[:-2]
        return value + self._steady * (bend**2).sum() / N_BONES, distance

    def _pose(self, vector: Tensor, shift: Tensor) -> tuple[Tensor, Tensor]:
        turn, move = self.bones(vector, shift)
        self._last = turn
        spots = torch.einsum("bnij,nj->bni", turn[:, self.spot_bone], self.spot)
        return keypoints_of(turn, move, self.offset, self.lever), spots + move[:, self.spot_bone]


def full_matrices(
    body: FittedBody, rig: FullRig, root_m: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Matrices ``(n_frames, n_bones, 3, 4)`` of all bones of the renderer's body.

    Every bone follows its nearest ancestor among the twenty. The renderer's bodies rest with the
    root bone at the origin, the fitted ones with it at ``root_m (3,)``.
    """
    kept = []
    for bone in range(len(rig.names)):
        above = bone
        while rig.names[above] not in BONE:
            above = rig.parents[above]
        kept.append(BONE[rig.names[above]])
    moved = body.shift_m + np.einsum("fbij,j->fbi", body.turn, root_m)
    return np.concatenate([body.turn, moved[..., None]], 3)[:, kept].astype(np.float32)


def flesh_of(
    matrices: NDArray[np.float32], rig: FullRig, size: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Capsule starts and ends ``(n_frames, 15, 3)`` and radii ``(15,)``, metres."""

    def place(name: str) -> NDArray[np.float64]:
        if name.startswith("ball."):
            name = f"toe2-1.{name[-1]}"
        rest = rig.heads[rig.index("head" if name == "crown" else name)].copy()
        if name == "crown":
            rest[2] += _CROWN_M
        matrix = matrices[:, rig.index("head" if name == "crown" else name)].astype(np.float64)
        return np.asarray(matrix[..., :3] @ rest + matrix[..., 3])

    starts = np.stack([place(a) for a, _, _ in CAPSULES], 1)
    ends = np.stack([place(b) for _, b, _ in CAPSULES], 1)
    return starts, ends, np.array([size * radius for _, _, radius in CAPSULES])
