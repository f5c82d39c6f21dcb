"""Makes training pictures: poses, bodies, looks, halls, cameras and lenses brought together."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import torch
from torch import Tensor
from torch.nn import functional

from posescore.lab.corpus.dice import Dice
from posescore.lab.corpus.effects import CLEAR, seen_by_camera
from posescore.lab.corpus.framing import (
    Frame,
    View,
    framed_crop,
    framed_whole,
    paint_bars,
    viewpoint,
)
from posescore.lab.corpus.halls import LAMP_SIDE, furnish, lamps, light_up
from posescore.lab.corpus.kernels import kernels_for
from posescore.lab.corpus.layout import CAMERA
from posescore.lab.corpus.poses import BodyPoses, PoseSampler, tilted
from posescore.lab.corpus.rig import Rig
from posescore.lab.corpus.skeleton import (
    forward_kinematics,
    keypoints_of,
    matrix_of_quaternion,
)
from posescore.lab.corpus.wardrobe import BodyMarks, dress
from posescore.terms import KEYPOINT_INDEX, MIRRORED_KEYPOINTS

SIDE_PX: Final = 256
"""Pixels along a side of a training picture, and of what the network reads."""

LABEL_STEP: Final = 4
"""Pixels of the picture a cell of the label map."""

DRAWN_SIDE_PX: Final = 384
"""Pictures are drawn half as large again and scaled down, against jagged edges."""

N_BODIES: Final = 5
"""Two athletes, then up to three others."""

_NEAREST_DEPTH_SLACK_M: Final = 0.13
"""A keypoint lies inside the body: it is seen when the surface before it is this near."""


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Pictures and their truth.

    Parameters
    ----------
    picture
        ``(n, 3, 256, 256)`` in 0..1, in half precision on a GPU.
    keypoints_px
        ``(n, 2, 21, 2)``, pixels of the picture.
    visible, inside
        ``(n, 2, 21)`` bool: in view and not behind anything; within the picture's edges.
    area_px2
        ``(n, 2)``: half the area of each athlete's box, the square of the athlete's size.
    label
        ``(n, 64, 64)`` uint8: athlete times 16 plus body part 1..14, 0 elsewhere.
    box
        ``(n, 4)``: left, top, right, bottom of the pair as shares of the picture.
    """

    picture: Tensor
    keypoints_px: Tensor
    visible: Tensor
    inside: Tensor
    area_px2: Tensor
    label: Tensor
    box: Tensor


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """Bodies where they stand, what they wear, who of them is there, and the camera.

    Parameters
    ----------
    keypoints_m, position_m, normal
        ``(n, 5, 21, 3)`` and ``(n, 5, n_vertices, 3)``, metres in the hall.
    looks, active
        Rows of :data:`corpus.layout.BODY` and ``(n, 5)`` int32, 1 for those who are there.
    view, centre_m
        Cameras, and the middle of each pair.
    low, high
        ``(n, 2, 2)``: the extent of each athlete in tangents of the camera.
    """

    keypoints_m: Tensor
    position_m: Tensor
    normal: Tensor
    looks: Tensor
    active: Tensor
    view: View
    centre_m: Tensor
    low: Tensor
    high: Tensor

    @property
    def extent(self) -> tuple[Tensor, Tensor]:
        """``(n, 2)`` twice: the extent of each pair in tangents of its camera."""
        return self.low.amin(1), self.high.amax(1)


class PictureMaker:
    """Draws batches of pictures on one device, the same ones for the same seed.

    ``clear`` is the share of pictures that a camera held still in good light sees.
    """

    def __init__(
        self,
        rig: Rig,
        sampler: PoseSampler,
        seed: int,
        device: torch.device,
        clear: float = CLEAR,
    ) -> None:
        self.device, self.clear = device, clear
        self.dice = Dice(seed, device)
        self._sampler = sampler
        self.kernels = kernels_for(device)

        def tensor(array: object) -> Tensor:
            return torch.as_tensor(array, device=device).contiguous()

        self._rest, self._faces = tensor(rig.rest_m), tensor(rig.faces)
        self._heads, self._parent = tensor(rig.bone_head_m), [int(p) for p in rig.parent]
        self._offset, self._lever = tensor(rig.keypoint_offset), tensor(rig.keypoint_lever_m)
        self._bone, self._weight = tensor(rig.vertex_bone), tensor(rig.vertex_weight)
        self._part, self._side = tensor(rig.part), tensor(rig.side)
        self._along = tensor(rig.along)
        self._normals = torch.stack([_normals(rest, self._faces) for rest in self._rest])
        keypoints = tensor(rig.rest_keypoints_m)[0]
        self._marks = BodyMarks.of(keypoints)
        eyes = [KEYPOINT_INDEX["left_eye"], KEYPOINT_INDEX["right_eye"]]
        self._eyes = keypoints[eyes].reshape(-1).contiguous()
        self._mirrored = torch.tensor(MIRRORED_KEYPOINTS, device=device)

    @torch.no_grad()
    def batch(self, count: int, *, whole: bool = False, frames: Tensor | None = None) -> Batch:
        """Draw pictures: crops around the pair, or ``whole`` frames with the pair somewhere.

        ``frames (count,)`` asks for certain frames of the pose set, bent a little.
        """
        scene = self.scene(count, whole=whole, frames=frames)
        framed = framed_whole if whole else framed_crop
        return self.drawn(scene, framed(self.dice, *scene.extent, DRAWN_SIDE_PX))

    @torch.no_grad()
    def scene(self, count: int, *, whole: bool = False, frames: Tensor | None = None) -> Scene:
        """Draw everything but the part of the view that becomes the picture."""
        dice = self.dice
        bodies, loose = self._bodies(count, frames, whole)
        active = self._active(count)
        looks = dress(dice, count, N_BODIES, self._marks)
        turn, shift = forward_kinematics(
            matrix_of_quaternion(bodies.rotation),
            bodies.root_m,
            self._heads[bodies.shape],
            self._parent,
        )
        keypoints = keypoints_of(turn, shift, self._offset[bodies.shape], self._lever[bodies.shape])
        position, normal = self._skinned(bodies.shape, turn, shift, looks, active)
        keypoints, position = self._on_the_floor(keypoints, position, loose)
        centre = keypoints[:, :2, 5:17].mean((1, 2))
        view = viewpoint(dice, centre, far=whole)
        position = self._around(keypoints, position, centre, view)
        mesh, _ = view.tangents(position[:, :2, ::5])
        return Scene(
            keypoints, position, normal, looks, active, view, centre, mesh.amin(2), mesh.amax(2)
        )

    def _bodies(self, count: int, frames: Tensor | None, whole: bool) -> tuple[BodyPoses, Tensor]:
        """Poses of all bodies, and 0 on the floor, 1 in the air, 2 each on their own feet."""
        dice, sampler = self.dice, self._sampler
        shape = dice.integers(sampler.n_shapes, count, 2)
        shape[:, 1] = torch.where(dice.happens(0.3, count), shape[:, 0], shape[:, 1])
        loose = torch.zeros(count, dtype=torch.long, device=self.device)
        if frames is None:
            pair = sampler.pairs(dice, count, shape)
            thrown = dice.happens(0.09, count)
            pair = tilted(dice, pair, self._heads[shape, 0], thrown)
            apart = sampler.apart(dice, count, shape)
            chosen = dice.happens(0.25 if whole else 0.1, count)
            loose = torch.where(chosen, 2, thrown.long())
            rotation = torch.where(chosen[:, None, None, None], apart.rotation, pair.rotation)
            root = torch.where(chosen[:, None, None], apart.root_m, pair.root_m)
            pair = BodyPoses(rotation, root, shape)
        else:
            pair = sampler.bent(dice, frames, shape)
        others = sampler.people(dice, count, N_BODIES - 2)
        merged = [
            torch.cat([a, b], 1)
            for a, b in (
                (pair.rotation, others.rotation),
                (pair.root_m, others.root_m),
                (pair.shape, others.shape),
            )
        ]
        return BodyPoses(*merged), loose

    def _active(self, count: int) -> Tensor:
        active = torch.ones(count, N_BODIES, dtype=torch.int32, device=self.device)
        chance = self.dice.constant([0.4, 0.22, 0.13])
        active[:, 2:] = self.dice.happens(chance, count, N_BODIES - 2)
        return active

    def _skinned(
        self, shape: Tensor, turn: Tensor, shift: Tensor, looks: Tensor, active: Tensor
    ) -> tuple[Tensor, Tensor]:
        count, vertices = len(shape), self._rest.shape[1]
        transform = torch.cat([turn, shift[..., None]], -1).reshape(*shift.shape[:-1], 12)
        position = torch.zeros(count, N_BODIES, vertices, 3, device=self.device)
        normal = torch.zeros_like(position)
        still = torch.zeros(count, N_BODIES, 3, device=self.device)
        arguments: list[Tensor | int] = [
            self._rest, self._normals, shape.int().contiguous(), transform.contiguous(),
            self._bone, self._weight, self._part, self._along, looks, still, position, normal,
            vertices, turn.shape[2], active,
        ]  # fmt: skip
        self.kernels.run("skin", count * N_BODIES * vertices, arguments)
        return position, normal

    def _on_the_floor(
        self, keypoints: Tensor, position: Tensor, loose: Tensor
    ) -> tuple[Tensor, Tensor]:
        """Shift so that the floor is at height 0."""
        dice, count = self.dice, len(position)
        lowest = position[..., 2].amin(2)
        pair = lowest[:, :2].amin(1, keepdim=True).expand(-1, 2).clone()
        pair = pair + dice.uniform(count, 1, high=0.03)
        lift = dice.switch(0.6, dice.uniform(count, 1, high=0.6))
        pair = torch.where((loose == 1)[:, None], pair - lift, pair)
        own = (loose == 2)[:, None]
        floor = torch.cat([torch.where(own, lowest[:, :2], pair), lowest[:, 2:]], 1)
        position[..., 2] -= floor[..., None]
        keypoints = keypoints.clone()
        keypoints[..., 2] -= floor[..., None]
        return keypoints, position

    def _around(self, keypoints: Tensor, position: Tensor, centre: Tensor, view: View) -> Tensor:
        """Set the others about the pair, mostly behind it as the camera sees it."""
        dice, count, others = self.dice, len(position), N_BODIES - 2
        spread = torch.where(dice.happens(0.85, count, others), 4.0, 2 * math.pi)
        bearing = view.azimuth[:, None] + math.pi + (dice.uniform(count, others) - 0.5) * spread
        radius = 0.7 + 3 * dice.uniform(count, others) ** 1.8
        place = centre[:, None, :2] + radius[..., None] * torch.stack(
            [bearing.cos(), bearing.sin()], -1
        )
        move = place - keypoints[:, 2:, 5:17, :2].mean(2)
        position[:, 2:, :, :2] += move[:, :, None]
        return position

    @torch.no_grad()
    def drawn(self, scene: Scene, frame: Frame) -> Batch:
        """Light, furnish and draw a scene, then let a camera see it."""
        dice, side, position, view = self.dice, DRAWN_SIDE_PX, scene.position_m, scene.view
        cameras = _camera_rows(view, frame)
        keys = self._depth(position, cameras, scene.active, side)
        light = light_up(dice, len(position))
        lamp = lamps(light, scene.centre_m)
        lamp_keys = self._depth(position, lamp, scene.active, LAMP_SIDE)
        hall = furnish(dice, len(position), view.azimuth, view.mirror)
        drawn = torch.empty(len(position), 4, side, side, device=self.device)
        cells = SIDE_PX // LABEL_STEP
        label = torch.zeros(len(position), cells, cells, dtype=torch.uint8, device=self.device)
        arguments: list[Tensor | int] = [
            position, scene.normal, self._faces, cameras, keys, self._rest, self._part,
            self._along, self._side, scene.looks, hall, light, lamp, lamp_keys,
            scene.centre_m.contiguous(), self._eyes, drawn, label, position.shape[2],
            len(self._faces), side, LAMP_SIDE, N_BODIES, side // cells,
        ]  # fmt: skip
        self.kernels.run("shade", len(position) * side * side, arguments)
        small = functional.interpolate(
            drawn, size=(SIDE_PX, SIDE_PX), mode="bilinear", antialias=True
        )
        picture = seen_by_camera(dice, small[:, :3].clamp(min=0), small[:, 3:], self.clear)
        picture = paint_bars(picture, frame.bars)
        extent = (scene.high - scene.low) * frame.scale[:, None] * SIDE_PX / side
        truth = self._truth(scene.keypoints_m[:, :2], view, frame, keys)
        corners = torch.cat(scene.extent, 1) - frame.centre.repeat(1, 2)
        box = corners * frame.scale.repeat(1, 2) / side + 0.5
        box = torch.maximum(box, frame.bars[:, :2].repeat(1, 2))
        box = torch.minimum(box, 1 - frame.bars[:, 2:].repeat(1, 2))
        return Batch(
            picture, *truth, area_px2=extent.prod(-1) * 0.5, label=label, box=box.clamp(0, 1)
        )

    def _depth(self, position: Tensor, cameras: Tensor, active: Tensor, side: int) -> Tensor:
        count, faces = len(position), len(self._faces)
        keys = torch.full((count, side, side), -1, dtype=torch.int64, device=self.device)
        arguments: list[Tensor | int] = [
            position, self._faces, cameras, keys, position.shape[2], faces, side, active, N_BODIES,
        ]  # fmt: skip
        self.kernels.run("raster", count * N_BODIES * faces, arguments)
        return keys

    def _truth(
        self, keypoints_m: Tensor, view: View, frame: Frame, keys: Tensor
    ) -> tuple[Tensor, Tensor, Tensor]:
        side = DRAWN_SIDE_PX
        tangent, depth = view.tangents(keypoints_m)
        drawn = (tangent - frame.centre[:, None, None]) * frame.scale[:, None, None] + side / 2
        inside = ((drawn > 0) & (drawn < side)).all(-1)
        cell = drawn.floor().long().clamp(0, side - 1)
        rows = torch.arange(len(keys), device=self.device)[:, None, None]
        key = keys[rows, cell[..., 1], cell[..., 0]]
        surface = (key >> 32).int().view(torch.float32)
        owner = torch.where(key == -1, -1, (key & 0xFFFFFFFF) // len(self._faces))
        mine = owner == torch.arange(2, device=self.device)[None, :, None]
        visible = inside & mine & (surface > depth - _NEAREST_DEPTH_SLACK_M)
        keypoints = drawn * SIDE_PX / side
        flip = view.mirror[:, None, None]
        keypoints = torch.where(flip[..., None], keypoints[:, :, self._mirrored], keypoints)
        visible = torch.where(flip, visible[:, :, self._mirrored], visible)
        inside = torch.where(flip, inside[:, :, self._mirrored], inside)
        return keypoints, visible, inside


def _normals(vertices: Tensor, faces: Tensor) -> Tensor:
    corner = vertices[faces.long()]
    across = torch.linalg.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    total = torch.zeros_like(vertices)
    for k in range(3):
        total.index_add_(0, faces[:, k].long(), across)
    return functional.normalize(total, dim=-1)


def _camera_rows(view: View, frame: Frame) -> Tensor:
    rows = CAMERA.rows(len(view.eye), device=view.eye.device)
    CAMERA.put(
        rows,
        turn=view.turn.flatten(1),
        eye=view.eye,
        centre=frame.centre,
        scale=frame.scale,
        floor_z=0.0,
    )
    return rows
