"""Test pictures: held-back poses drawn in a look that training never saw.

    python -m posescore.lab.pictures.rendered_pictures --out FOLDER --count 150 [--referee]
    [--apart]

The poses are held-back entries of the open pose set, none within ten centimetres of a training
pose; the bodies, their cloth, the hall and the renderer are the sample match's, which training has
no part of. Whole frames of 960 x 540, one pose each, with the truth as COCO keypoints JSON beside
them, so that ``posescore evaluate pose FOLDER/truth.json`` measures them.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import click
import cv2
import numpy as np
import torch
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import PoseSet, load_pose_set
from posescore.lab.bodies.body import phenotype
from posescore.lab.bodies.fitting import CAPSULES
from posescore.lab.corpus.dice import Dice
from posescore.lab.corpus.fitting import fit_all
from posescore.lab.corpus.poses import split_frames
from posescore.lab.corpus.rig import BONE, Rig, build_rig
from posescore.lab.corpus.skeleton import (
    forward_kinematics,
    keypoints_of,
    matrix_of_quaternion,
    matrix_of_rotation_vector,
)
from posescore.lab.corpus.upright import upright_poses
from posescore.lab.stage import coco_marks
from posescore.lab.stage.cast import BUILDS, Player, make_player
from posescore.lab.stage.handheld import View, look_at
from posescore.lab.stage.renderer import Renderer, Stance
from posescore.terms import STATES

SIZE_PX: Final = (960, 540)
_FOCAL_PX: Final = 885.0
_FAR_AWAY_M: Final = 60.0
_CROWN_M: Final = 0.17
_BODY_SHARE: Final = 0.5
"""Part of the box around a body, flesh and all, that counts as its area, as in training."""


@dataclass(frozen=True, slots=True, eq=False)
class Bones:
    """Transforms of the twenty bones of a posed body, ``(20, 3, 3)`` and ``(20, 3)``."""

    turn: NDArray[np.float32]
    shift: NDArray[np.float32]


def held_back(poses: PoseSet, count: int, seed: int = 0) -> NDArray[np.int64]:
    """Rows of held-back frames: named positions first, then moves in between, spread evenly."""
    rows = split_frames(poses).held_back
    order = np.random.default_rng(seed).permutation(rows)
    named = poses.state[order] >= 0
    half = min(int(named.sum()), (2 * count) // 3)
    return np.sort(np.concatenate([order[named][:half], order[~named][: count - half]]))


def posed(
    rig: Rig, poses: PoseSet, rows: NDArray[np.int64]
) -> tuple[list[list[Bones]], NDArray[np.float32]]:
    """Bones of both athletes for every row, and their keypoints ``(n, 2, 21, 3)``."""
    fits = fit_all(rig, poses.joints_m[rows])
    parent = [int(p) for p in rig.parent]
    bones: list[list[Bones]] = [[] for _ in rows]
    keypoints = np.zeros((len(rows), 2, 21, 3), np.float32)
    for slot in (0, 1):
        vector = torch.from_numpy(fits.rotation_vector[slot, :, slot].astype(np.float32))
        root = torch.from_numpy(fits.root_m[slot, :, slot])
        heads = torch.from_numpy(rig.bone_head_m[slot]).expand(len(rows), -1, -1)
        turn, shift = forward_kinematics(matrix_of_rotation_vector(vector), root, heads, parent)
        offset, lever = rig.keypoint_offset[slot], rig.keypoint_lever_m[slot]
        found = keypoints_of(turn, shift, torch.from_numpy(offset), torch.from_numpy(lever))
        keypoints[:, slot] = found.numpy()
        for row in range(len(rows)):
            bones[row].append(Bones(turn[row].numpy(), shift[row].numpy()))
    return bones, keypoints


def stance(
    player: Player, bones: Bones, root_m: NDArray[np.float32], move_m: NDArray[np.float64]
) -> Stance:
    """How a body stands, for the renderer: every bone follows its kept ancestor.

    The renderer's bodies rest with the root bone at the origin, the fitted ones with it at
    ``root_m``.
    """
    rig = player.flesh.rig
    kept = []
    for bone in range(len(rig.names)):
        above = bone
        while rig.names[above] not in BONE:
            above = rig.parents[above]
        kept.append(BONE[rig.names[above]])
    turn = bones.turn[kept].astype(np.float64)
    shift = bones.shift[kept] + turn @ root_m.astype(np.float64) + move_m
    places = {n: turn[i] @ rig.heads[i] + shift[i] for i, n in enumerate(rig.names)}
    head = rig.index("head")
    places["crown"] = places["head"] + turn[head] @ np.array([0.0, 0.0, _CROWN_M])
    for side in "LR":
        places[f"ball.{side}"] = places[f"toe2-1.{side}"]
    starts = np.array([places[a] for a, _, _ in CAPSULES])
    ends = np.array([places[b] for _, b, _ in CAPSULES])
    radii = np.array([radius for _, _, radius in CAPSULES])
    return Stance(
        np.concatenate([turn, shift[:, :, None]], 2).astype(np.float32), starts, ends, radii
    )


def upright_bones(rig: Rig, slot: int, dice: Dice, yaw_rad: float) -> Bones:
    """Somebody upright on the floor at the origin, turned from facing -y."""
    rotation = matrix_of_quaternion(upright_poses(dice, 1))
    heads = torch.from_numpy(rig.bone_head_m[slot : slot + 1])
    turn, shift = forward_kinematics(rotation, torch.zeros(1, 3), heads, list(rig.parent))
    rest = torch.from_numpy(rig.rest_m[slot, ::7])
    bone = torch.from_numpy(rig.vertex_bone[::7, 0].astype(np.int64))
    skin = torch.einsum("vij,vj->vi", turn[0, bone], rest) + shift[0, bone]
    spin = matrix_of_rotation_vector(torch.tensor([[0.0, 0.0, yaw_rad]]))
    down = torch.tensor([0.0, 0.0, float(skin[:, 2].min())])
    return Bones((spin @ turn[0]).numpy(), ((shift[0] - down) @ spin[0].T).numpy())


def viewed(random: np.random.Generator, middle: NDArray[np.float64]) -> View:
    """A phone in somebody's hands, two to six metres away, the pair not quite in the middle."""
    bearing, rise = random.uniform(0, 2 * np.pi), random.uniform(0.05, 0.6)
    distance = random.uniform(2.6, 5.6)
    level = np.array([np.cos(bearing), np.sin(bearing), 0.0]) * np.cos(rise)
    place = middle + distance * (level + np.array([0.0, 0.0, np.sin(rise)]))
    place[2] = max(place[2], 0.4)
    aim = middle + random.normal(0, 0.07, 3) * distance
    return View(look_at(place, aim, random.normal(0, 0.05)), place, _FOCAL_PX, SIZE_PX)


class Scene:
    """Everybody who is drawn, and the rig that their poses were fitted with."""

    def __init__(self, poses: PoseSet, rows: NDArray[np.int64], seed: int) -> None:
        self.players = tuple(make_player(slot) for slot in range(3))
        self.rig = build_rig([phenotype(build) for build in BUILDS])
        self._bones, self._keypoints = posed(self.rig, poses, rows)
        self._random = np.random.default_rng(seed)
        self._dice = Dice(seed, torch.device("cpu"))

    def apart(self) -> tuple[list[Bones], NDArray[np.float32]]:
        """Two upright athletes, half a metre to two and a half apart, more or less face to face."""
        bones, points = [], []
        gap, bearing = self._random.uniform(0.7, 2.5), self._random.uniform(0, 2 * np.pi)
        for slot, sign in ((0, 1.0), (1, -1.0)):
            yaw = bearing + (np.pi if slot else 0.0) + self._random.normal(0, 0.3)
            own = upright_bones(self.rig, slot, self._dice, float(yaw))
            place = sign * gap / 2 * np.array([-np.sin(bearing), np.cos(bearing), 0.0])
            own = Bones(own.turn, (own.shift + place).astype(np.float32))
            bones.append(own)
            found = keypoints_of(
                torch.from_numpy(own.turn),
                torch.from_numpy(own.shift),
                torch.from_numpy(self.rig.keypoint_offset[slot]),
                torch.from_numpy(self.rig.keypoint_lever_m[slot]),
            )
            points.append(found.numpy())
        return bones, np.stack(points)

    def at(
        self, row: int, referee: bool, apart: bool
    ) -> tuple[View, list[Stance], NDArray[np.float64]]:
        """Camera, stances (the athletes' first), and marks ``(2, 21, 3)`` of one picture."""
        bones, keypoints = self.apart() if apart else (self._bones[row], self._keypoints[row])
        points = keypoints.astype(np.float64)
        middle = points.mean((0, 1))
        move = np.array([*(-middle[:2] + self._random.uniform(-0.8, 0.8, 2)), 0.0])
        points = points + move
        middle = points.mean((0, 1))
        view = viewed(self._random, middle)
        beside = self._beside(
            middle, view, self._random.uniform(0.9, 1.6) if referee else _FAR_AWAY_M
        )
        roots = self.rig.bone_head_m[:, 0]
        pair = zip(self.players, bones, strict=False)
        stances = [stance(player, b, roots[i], move) for i, (player, b) in enumerate(pair)]
        yaw = float(self._random.uniform(0, 2 * np.pi))
        third = upright_bones(self.rig, 2, self._dice, yaw)
        stances.append(stance(self.players[2], third, roots[2], beside))
        starts, ends, radii = (
            np.concatenate([getattr(s, name) for s in stances])
            for name in ("starts", "ends", "radii")
        )
        flat = points.reshape(-1, 3)
        hidden = coco_marks.hidden(flat, view.place, starts, ends, radii)
        return view, stances, coco_marks.marks(flat, hidden, view).reshape(2, -1, 3)

    def _beside(
        self, middle: NDArray[np.float64], view: View, away_m: float
    ) -> NDArray[np.float64]:
        """A place on the floor beside or behind the pair as the camera sees it."""
        toward = view.place - middle
        camera = np.arctan2(toward[1], toward[0])
        bearing = camera + np.pi + self._random.uniform(-0.65, 0.65) * np.pi
        place = middle + away_m * np.array([np.cos(bearing), np.sin(bearing), 0.0])
        place[2] = 0.0
        return np.asarray(place)


def area_px2(stance: Stance, view: View) -> float:
    """Area of a body: half of the box around its flesh, whatever hides it."""
    low, high = [], []
    for points in (stance.starts, stance.ends):
        seen = view.project(points)
        reach = (view.focal_px * stance.radii / seen[:, 2])[:, None]
        low.append((seen[:, :2] - reach).min(axis=0))
        high.append((seen[:, :2] + reach).max(axis=0))
    size = np.max(high, axis=0) - np.min(low, axis=0)
    return float(size[0] * size[1] * _BODY_SHARE)


def truth_of(
    marks: list[NDArray[np.float64]], areas_px2: list[float], positions: list[str]
) -> dict[str, object]:
    """COCO keypoints data, each image naming its position; two areas a picture."""
    data = coco_marks.coco(np.stack(marks), np.arange(len(marks), dtype=np.float64), SIZE_PX)
    images, annotations = data["images"], data["annotations"]
    assert isinstance(images, list)
    assert isinstance(annotations, list)
    for index, (image, position) in enumerate(zip(images, positions, strict=True)):
        image["file_name"], image["position"] = f"{index:04d}.jpg", position
        del image["frame_index"], image["time_s"]
    for annotation, area in zip(annotations, areas_px2, strict=True):
        annotation["area"] = round(area, 1)
        del annotation["track_id"]
    data["info"] = {"description": "Rendered pairs in held-back poses"}
    return data


@click.command()
@click.option("--out", type=click.Path(path_type=Path), required=True)
@click.option("--count", type=int, default=150)
@click.option("--referee", is_flag=True, help="A referee stands beside the pair.")
@click.option("--apart", is_flag=True, help="Upright athletes apart, not poses of the set.")
@click.option("--seed", type=int, default=0)
def main(out: Path, count: int, referee: bool, apart: bool, seed: int) -> None:
    """Draw the pictures and write their truth."""
    torch.set_num_threads(1)
    poses = load_pose_set()
    rows = held_back(poses, count)
    scene = Scene(poses, rows, seed)
    out.mkdir(parents=True, exist_ok=True)
    marks, areas_px2, positions = [], [], []
    with Renderer([player.person for player in scene.players], SIZE_PX) as renderer:
        for index, row in enumerate(rows.tolist()):
            view, stances, marked = scene.at(index, referee, apart)
            picture = renderer.picture(view, stances)
            name = str(out / f"{index:04d}.jpg")
            cv2.imwrite(
                name, cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, 90]
            )
            marks.append(marked)
            areas_px2 += [area_px2(body, view) for body in stances[:2]]
            state = -1 if apart else int(poses.state[row])
            name = str(STATES[state].position) if state >= 0 else "between"
            positions.append("apart" if apart else name)
    (out / "truth.json").write_text(json.dumps(truth_of(marks, areas_px2, positions)), "utf-8")
    click.echo(f"{len(marks)} pictures and truth.json in {out}")


if __name__ == "__main__":
    main()
