"""Draws poses of pairs: frames of the pose set, between frames, blended, shaken, thrown, apart."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from posescore.evaluation.poses3d.pose_set import (
    JOINT,
    PoseSet,
    nearest_distance_m,
    split_entries,
)
from posescore.lab.corpus.dice import Dice
from posescore.lab.corpus.fitting import Fits
from posescore.lab.corpus.rig import BONE, N_BONES, Rig
from posescore.lab.corpus.skeleton import (
    between,
    product,
    quaternion_of_rotation_vector,
)
from posescore.lab.corpus.upright import upright_poses
from posescore.lab.poses.rare_poses import authored_poses
from posescore.terms import STATES, Position

PURGE_M: Final = 0.10
"""Training frames nearer than this to any held-back frame are dropped."""

_BLEND_WITHIN_M: Final = 0.45
_RARE: Final = {
    Position.KNEE_ON_BELLY: 8.0, Position.MOUNT: 4.0, Position.BACK_MOUNT: 6.0,
    Position.BACK_CONTROL: 12.0, Position.TURTLE: 3.0, Position.NORTH_SOUTH: 16.0,
    Position.SIDE_CONTROL: 1.5, Position.STANDING: 1.5,
}  # fmt: skip
"""How much more often frames of rare positions are drawn."""

_LOOSE_BONES: Final = ("head", "neck01", "wrist.L", "wrist.R", "foot.L", "foot.R")
_LIMBS: Final = (("leg", "foot"), ("clavicle", "arm", "wrist"))
_LIMB_SPREAD: Final = 0.25
"""In a blend each arm, leg and trunk goes its own share of the way: the standard deviation."""

_AUTHORED_EACH: Final = 120
_AUTHORED_SHARE: Final = 0.24
"""Of the pairs drawn in contact, how many come from authored poses."""

_AUTHORED: Final = {Position.BACK_CONTROL: 2.2, Position.NORTH_SOUTH: 2.2, Position.BACK_MOUNT: 1.3}
"""How much more often those are drawn than other authored ones: the open set has one frame of
north-south and four of back control that may train."""


@dataclass(frozen=True, slots=True, eq=False)
class FrameSplit:
    """Which frames train and which are held back; no entry is in both, near ones are dropped."""

    train: NDArray[np.int64]
    held_back: NDArray[np.int64]


def split_frames(poses: PoseSet, purge_m: float = PURGE_M) -> FrameSplit:
    """The fixed split by entry, training frames within ``purge_m`` of a held-back one dropped."""
    is_open = np.flatnonzero(poses.entry >= 0)
    train, test = (is_open[part] for part in split_entries(poses.entry[is_open]))
    train = np.concatenate([train, np.flatnonzero(poses.entry < 0)])
    far = nearest_distance_m(poses.joints_m[train], poses.joints_m[test]) >= purge_m
    return FrameSplit(train[far], test)


def with_authored(poses: PoseSet) -> PoseSet:
    """The open set, then authored frames of the positions it hardly has (entries below zero)."""
    added = authored_poses(np.random.default_rng(3), _AUTHORED_EACH)
    return PoseSet(
        np.concatenate([poses.joints_m, added.joints_m]),
        np.concatenate([poses.entry, added.entry]),
        np.concatenate([poses.state, added.state]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class BodyPoses:
    """Poses of bodies: ``rotation (n, m, 20, 4)`` quaternions, ``root_m``, ``shape (n, m)``."""

    rotation: Tensor
    root_m: Tensor
    shape: Tensor


class PoseSampler:
    """Draws poses of pairs and of the people around them."""

    def __init__(
        self, rig: Rig, fits: Fits, poses: PoseSet, frames: NDArray[np.int64], device: torch.device
    ) -> None:
        self.device = device
        vector = torch.tensor(fits.rotation_vector.astype(np.float32), device=device)
        self._rotation = quaternion_of_rotation_vector(vector)
        self._root = torch.tensor(fits.root_m, device=device)
        self._root_head = torch.tensor(rig.bone_head_m[:, 0], device=device)
        self.frames = torch.tensor(frames, device=device)
        self._weights = torch.tensor(_weights(poses, frames), device=device)
        loose = np.zeros((N_BONES, 1), np.float32)
        loose[[BONE[name] for name in _LOOSE_BONES]] = 0.16
        self._looseness = torch.tensor(loose, device=device)
        self._limb = torch.tensor(_limb_of_bone(), device=device)
        self._next = torch.tensor(_following(poses.entry, frames), device=device)
        self._blends = _Neighbours(poses.joints_m, frames, device)
        self._standing = torch.tensor(_standing(poses.joints_m, frames), device=device)
        self.n_shapes = len(fits.root_m)

    def bent(self, dice: Dice, frames: Tensor, shape: Tensor) -> BodyPoses:
        """Frames of the set bent a little in every joint; ``frames (n,)``, ``shape (n, 2)``."""
        rotation, root = self._at(frames, shape)
        root = root + 0.012 * dice.normal(*root.shape)
        return BodyPoses(self._shaken(dice, rotation), root, shape)

    def pairs(self, dice: Dice, count: int, shape: Tensor) -> BodyPoses:
        """Pairs in contact, then some thrown through the air, some apart and upright."""
        row = dice.weighted(self._weights, count)
        frame = self.frames[row]
        rotation, root = self._at(frame, shape)
        kind = dice.uniform(count)
        follower = self._next[row]
        follower = torch.where((kind < 0.35) & (follower >= 0), follower, frame)
        other_rotation, other_root = self._at(follower, shape)
        share = dice.uniform(count, 1, 1)
        rotation = between(rotation, other_rotation, share[..., None])
        root = root + (other_root - root) * share
        mixed = self._blended(dice, row, shape, rotation, root)
        blend = (kind > 0.62)[:, None, None]
        rotation = torch.where(blend[..., None], mixed[0], rotation)
        root = torch.where(blend, mixed[1], root)
        rotation = self._shaken(dice, rotation)
        root = root + 0.012 * dice.normal(*root.shape)
        return BodyPoses(rotation, root, shape)

    def _at(self, frame: Tensor, shape: Tensor) -> tuple[Tensor, Tensor]:
        slot = torch.arange(2, device=self.device)
        return self._rotation[shape, frame[:, None], slot], self._root[shape, frame[:, None], slot]

    def _blended(
        self, dice: Dice, row: Tensor, shape: Tensor, rotation: Tensor, root: Tensor
    ) -> tuple[Tensor, Tensor]:
        near = self._blends
        pick = (row, dice.integers(near.frame.shape[1], len(row)))
        swap = near.swap[pick]
        slot = torch.arange(2, device=self.device)[None] ^ swap[:, None].long()
        other = near.frame[pick][:, None]
        other_rotation = self._rotation[shape, other, slot].clone()
        turn = near.turn[pick]
        yaw = torch.zeros(len(row), 1, 4, device=self.device)
        yaw[:, 0, 0], yaw[:, 0, 3] = (turn / 2).cos(), (turn / 2).sin()
        other_rotation[:, :, 0] = product(yaw.expand(-1, 2, -1), other_rotation[:, :, 0])
        head = self._root_head[shape]
        place = _turned(self._root[shape, other, slot] + head, turn[:, None]) - head
        place[..., :2] += near.shift[pick][:, None]
        share = dice.uniform(len(row), 1, 1, low=0.15, high=0.7)
        usable = near.usable[pick][:, None, None]
        own = share + _LIMB_SPREAD * dice.normal(len(row), 2, 5)
        own = own.clamp(0, 0.85)[..., self._limb] * usable
        share = share * usable
        return between(rotation, other_rotation, own[..., None]), root + (place - root) * share

    def _shaken(self, dice: Dice, rotation: Tensor) -> Tensor:
        count, bodies = rotation.shape[:2]
        noise = 0.1 * dice.uniform(count, bodies, 1, 1) * dice.normal(count, bodies, N_BONES, 3)
        noise += self._looseness * dice.normal(count, bodies, N_BONES, 3)
        noise[:, :, 0] *= 0.3
        return product(rotation, quaternion_of_rotation_vector(noise.clamp(-0.5, 0.5)))

    def people(self, dice: Dice, count: int, bodies: int) -> BodyPoses:
        """People around: most upright, some in any pose of the set; roots at their rest."""
        shape = dice.integers(self.n_shapes, count, bodies)
        rotation = upright_poses(dice, count * bodies).reshape(count, bodies, N_BONES, 4)
        standing = self._standing[dice.integers(len(self._standing), count, bodies)]
        anything = torch.stack(
            [self.frames[dice.integers(len(self.frames), count, bodies)],
             dice.integers(2, count, bodies)], -1,
        )  # fmt: skip
        source = torch.where(dice.happens(0.6, count, bodies, 1), standing, anything)
        from_set = self._rotation[shape, source[..., 0], source[..., 1]]
        rotation = torch.where(dice.happens(0.3, count, bodies, 1, 1), from_set, rotation)
        yaw = dice.uniform(count, bodies, high=2 * math.pi)
        return BodyPoses(
            _yawed(self._shaken(dice, rotation), yaw),
            torch.zeros(count, bodies, 3, device=self.device),
            shape,
        )

    def apart(self, dice: Dice, count: int, shape: Tensor) -> BodyPoses:
        """Two upright athletes facing each other, from a hand's breadth to three metres apart."""
        rotation = upright_poses(dice, count * 2).reshape(count, 2, N_BONES, 4)
        heading = dice.uniform(count, high=2 * math.pi)
        face = torch.stack([heading, heading + math.pi], 1) + 0.4 * dice.normal(count, 2)
        gap = 0.25 + 2.6 * dice.uniform(count, 1) ** 1.4
        # At rest a body faces -y; turned by `heading` it faces (sin, -cos).
        toward = torch.stack([heading.sin(), -heading.cos()], -1)
        root = torch.zeros(count, 2, 3, device=self.device)
        root[:, 0, :2], root[:, 1, :2] = -toward * gap / 2, toward * gap / 2
        return BodyPoses(_yawed(self._shaken(dice, rotation), face), root, shape)


def tilted(dice: Dice, poses: BodyPoses, root_head_m: Tensor, chosen: Tensor) -> BodyPoses:
    """Pairs turned about a level axis through their middle, as in a throw, where ``chosen``.

    ``root_head_m (n, m, 3)`` are the heads of the root bones at rest. Heights are not kept: the
    caller lays the pair on the floor or leaves it in the air.
    """
    count = len(chosen)
    angle = dice.uniform(count, low=-1.9, high=1.9) * chosen
    bearing = dice.uniform(count, high=2 * math.pi)
    axis = torch.stack([bearing.cos(), bearing.sin(), torch.zeros_like(bearing)], -1)
    turn = quaternion_of_rotation_vector(axis * angle[:, None])[:, None]
    rotation = poses.rotation.clone()
    rotation[:, :, 0] = product(turn.expand(-1, rotation.shape[1], -1), rotation[:, :, 0])
    place = poses.root_m + root_head_m
    middle = place.mean(1, keepdim=True)
    moved = _rotated(turn, place - middle) + middle
    return BodyPoses(rotation, moved - root_head_m, poses.shape)


def _rotated(quaternion: Tensor, vector: Tensor) -> Tensor:
    real, axis = quaternion[..., :1], quaternion[..., 1:].expand_as(vector)
    cross = torch.linalg.cross(axis, vector)
    return vector + 2 * (real * cross + torch.linalg.cross(axis, cross))


def _turned(points: Tensor, turn: Tensor) -> Tensor:
    cosine, sine = turn.cos(), turn.sin()
    x = cosine * points[..., 0] - sine * points[..., 1]
    y = sine * points[..., 0] + cosine * points[..., 1]
    return torch.stack([x, y, points[..., 2]], -1)


def _yawed(rotation: Tensor, yaw: Tensor) -> Tensor:
    turn = torch.zeros(*yaw.shape, 4, device=yaw.device)
    turn[..., 0], turn[..., 3] = (yaw / 2).cos(), (yaw / 2).sin()
    rotation = rotation.clone()
    rotation[..., 0, :] = product(turn, rotation[..., 0, :])
    return rotation


def _weights(poses: PoseSet, frames: NDArray[np.int64]) -> NDArray[np.float32]:
    """How often each frame is drawn: rare positions more, authored ones a fixed share."""
    named = [STATES[s].position if s >= 0 else None for s in poses.state[frames]]
    weights = np.array([_RARE.get(name, 1.0) if name else 1.0 for name in named], np.float32)
    authored = poses.entry[frames] < 0
    if authored.any() and not authored.all():
        share = _AUTHORED_SHARE / (1 - _AUTHORED_SHARE) * weights[~authored].sum()
        own = np.array([_AUTHORED.get(n, 1.0) if n else 1.0 for n in named], np.float32)[authored]
        weights[authored] = own * share / own.sum()
    return weights


def _limb_of_bone() -> NDArray[np.int64]:
    """``(20,)``: 0 trunk and head, then left leg, left arm, right leg, right arm."""
    limb = np.zeros(N_BONES, np.int64)
    for name, bone in BONE.items():
        for side, suffix in enumerate((".L", ".R")):
            for kind, parts in enumerate(_LIMBS):
                if name.endswith(suffix) and any(part in name for part in parts):
                    limb[bone] = 1 + 2 * side + kind
    return limb


def _following(entry: NDArray[np.int64], frames: NDArray[np.int64]) -> NDArray[np.int64]:
    chosen = np.zeros(len(entry) + 1, bool)
    chosen[frames] = True
    follows = np.append(entry[1:] == entry[:-1], False) & chosen[1:]
    return np.where(follows[frames], frames + 1, -1)


def _standing(joints_m: NDArray[np.float32], frames: NDArray[np.int64]) -> NDArray[np.int64]:
    tall = joints_m[frames][:, :, JOINT["neck"], 2] > 1.2
    row, slot = np.nonzero(tall)
    return np.stack([frames[row], slot], 1)


class _Neighbours:
    """For every frame the eight most alike, and how to lay them over it."""

    def __init__(
        self, joints_m: NDArray[np.float32], frames: NDArray[np.int64], device: torch.device
    ) -> None:
        points = joints_m[frames].astype(np.float64)
        middle = points.mean(axis=(1, 2))[:, :2]
        best = np.full((len(frames), len(frames)), np.inf)
        turns = np.zeros(best.shape, np.complex128)
        swaps = np.zeros(best.shape, bool)
        flat = (points[..., 0] - middle[:, None, None, 0]) + 1j * (
            points[..., 1] - middle[:, None, None, 1]
        )
        size = (np.abs(flat) ** 2 + points[..., 2] ** 2).sum(axis=(1, 2))
        for swap in (False, True):
            other = flat[:, ::-1] if swap else flat
            height = points[:, ::-1, :, 2] if swap else points[..., 2]
            inner = flat.reshape(len(frames), -1) @ other.reshape(len(frames), -1).conj().T
            level = points[..., 2].reshape(len(frames), -1) @ height.reshape(len(frames), -1).T
            square = size[:, None] + size - 2 * np.abs(inner) - 2 * level
            better = square < best
            best, turns = np.where(better, square, best), np.where(better, inner, turns)
            swaps[better] = swap
        np.fill_diagonal(best, np.inf)
        count = min(8, len(frames) - 1)
        near = np.argsort(best, axis=1)[:, :count]
        distance = np.sqrt(np.maximum(np.take_along_axis(best, near, 1), 0) / flat[0].size)
        turn = np.angle(np.take_along_axis(turns, near, 1))
        there = middle[near]
        there = np.stack(
            [there[..., 0] * np.cos(turn) - there[..., 1] * np.sin(turn),
             there[..., 0] * np.sin(turn) + there[..., 1] * np.cos(turn)], -1,
        )  # fmt: skip
        self.frame = torch.tensor(frames[near], device=device)
        self.turn = torch.tensor(turn.astype(np.float32), device=device)
        self.swap = torch.tensor(np.take_along_axis(swaps, near, 1), device=device)
        shift = (middle[:, None] - there).astype(np.float32)
        self.shift = torch.tensor(shift, device=device)
        self.usable = torch.tensor((distance < _BLEND_WITHIN_M).astype(np.float32), device=device)
