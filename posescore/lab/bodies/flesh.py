"""The skin of the body model: rest mesh, weights, and the matrices that pose it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import torch
from numpy.typing import NDArray

from posescore.lab.bodies.body import Build, Posed, Skeleton, phenotype

N_WEIGHTS: Final = 4
"""Bones per vertex: what graphics hardware likes; the rest carries under 1 % of the weight."""

FINGER_CURL_RAD: Final = 0.75
"""Bend of every finger joint: a hand that holds cloth, half closed."""


PRONATION_RAD: Final = 0.5
"""Turn of the hands from the rest pose, palms towards the ground."""


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """A surface that follows the bones.

    ``vertices (n, 3)`` and ``normals (n, 3)`` in the rest pose, ``faces (m, 3)``,
    ``bones (n, 4)`` and ``weights (n, 4)`` that sum to 1.
    """

    vertices: NDArray[np.float64]
    normals: NDArray[np.float64]
    faces: NDArray[np.int64]
    bones: NDArray[np.int64]
    weights: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Rig:
    """The body model's own bones: names, parents and rest heads ``(n_bones, 3)``."""

    names: tuple[str, ...]
    parents: tuple[int, ...]
    heads: NDArray[np.float64]

    def index(self, name: str) -> int:
        """Row of a bone."""
        return self.names.index(name)


@dataclass(frozen=True, slots=True, eq=False)
class Flesh:
    """Skin and rig of one build."""

    skin: Mesh
    rig: Rig


def make_flesh(build: Build) -> Flesh:
    """Rest skin and rig of a build, read from the body model, root at the origin."""
    import anny

    model = anny.Anny()
    with torch.no_grad():
        out = model(phenotype_kwargs=phenotype(build))
    heads = out["rest_bone_heads"][0].numpy()
    vertices = out["rest_vertices"][0].numpy() - heads[0]
    faces = model.faces.numpy()
    bones, weights = strongest(
        model.vertex_bone_indices.numpy(), model.vertex_bone_weights.numpy(), N_WEIGHTS
    )
    rig = Rig(tuple(model.bone_labels), tuple(int(p) for p in model.bone_parents), heads - heads[0])
    skin = Mesh(vertices, vertex_normals(vertices, faces), faces, bones, weights)
    return Flesh(skin, rig)


def strongest(
    bones: NDArray[np.int64], weights: NDArray[np.float64], count: int
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The ``count`` strongest bones of every vertex, weights summing to 1."""
    order = np.argsort(-weights, axis=1, kind="stable")[:, :count]
    kept = np.take_along_axis(weights, order, 1)
    return np.take_along_axis(bones, order, 1), kept / kept.sum(1, keepdims=True)


def vertex_normals(vertices: NDArray[np.float64], faces: NDArray[np.int64]) -> NDArray[np.float64]:
    """Unit normals ``(n, 3)``, faces weighted by area."""
    corners = vertices[faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = np.zeros_like(vertices)
    for corner in range(3):
        np.add.at(normals, faces[:, corner], across)
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    return np.asarray(normals / np.maximum(length, 1e-12), np.float64)


def bone_matrices(
    rig: Rig, skeleton: Skeleton, posed: Posed, row: int, curl_rad: float = FINGER_CURL_RAD
) -> NDArray[np.float32]:
    """Matrices ``(n_bones, 3, 4)`` that take rest points to the world in one pose.

    Parameters
    ----------
    rig, skeleton, posed
        The bones, their rest places, and the poses.
    row
        Which pose of ``posed``.
    curl_rad
        Bend of every finger joint.
    """
    turn = {name: rotation[row].numpy() for name, rotation in posed.rotation.items()}
    for side in ("L", "R"):
        turn[f"upperleg01.{side}"], turn[f"upperleg02.{side}"] = _untwisted(
            turn["root"], turn[f"upperleg01.{side}"],
            skeleton.between(f"upperleg01.{side}", f"lowerleg01.{side}").numpy(),
        )  # fmt: skip
        turn[f"upperarm01.{side}"], turn[f"upperarm02.{side}"] = _untwisted(
            turn[f"clavicle.{side}"], turn[f"upperarm01.{side}"],
            skeleton.between(f"upperarm01.{side}", f"lowerarm01.{side}").numpy(),
        )  # fmt: skip
    _turn_hands(turn, skeleton)
    count = len(rig.names)
    rotation, place = np.zeros((count, 3, 3)), np.zeros((count, 3))
    for bone, (name, parent) in enumerate(zip(rig.names, rig.parents, strict=True)):
        if parent < 0:
            rotation[bone], place[bone] = turn["root"], posed.head["root"][row].numpy()
            continue
        offset = rig.heads[bone] - rig.heads[parent]
        place[bone] = place[parent] + rotation[parent] @ offset
        if name in turn:
            rotation[bone] = turn[name]
        else:
            rotation[bone] = rotation[parent] @ _curl(rig, name, curl_rad)
    shift = place - np.einsum("bij,bj->bi", rotation, rig.heads)
    return np.concatenate((rotation, shift[:, :, None]), axis=2).astype(np.float32)


def _untwisted(
    parent: NDArray[np.float64], child: NDArray[np.float64], bone: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The child's rotation with half its twist about the bone, and the whole of it."""
    along = bone / np.linalg.norm(bone)
    local = parent.T @ child
    swung = local @ along
    cross, dot = np.cross(along, swung), float(along @ swung)
    skew = np.array([[0, -cross[2], cross[1]], [cross[2], 0, -cross[0]], [-cross[1], cross[0], 0]])
    swing = np.eye(3) + skew + skew @ skew / max(1 + dot, 1e-3)
    half = swing + local
    left, _, right = np.linalg.svd(half)
    blended = left @ np.diag([1, 1, np.sign(np.linalg.det(left @ right))]) @ right
    return parent @ blended, child


def _turn(axis: NDArray[np.float64], angle_rad: float) -> NDArray[np.float64]:
    """Rotation about a unit axis (Rodrigues)."""
    x, y, z = axis
    skew = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.asarray(np.eye(3) + np.sin(angle_rad) * skew + (1 - np.cos(angle_rad)) * skew @ skew)


def _curl(rig: Rig, name: str, curl_rad: float) -> NDArray[np.float64]:
    """Bend of a finger's joint about the hand's width; nothing for any other bone."""
    if not name.startswith("finger"):
        return np.eye(3)
    side = name[-1]
    across = rig.heads[rig.index(f"finger2-1.{side}")] - rig.heads[rig.index(f"finger5-1.{side}")]
    sign = 1.0 if side == "L" else -1.0
    bend = 0.2 * curl_rad if name.startswith("finger1") else curl_rad
    return _turn(across / np.linalg.norm(across), -sign * bend)


def _turn_hands(turn: dict[str, NDArray[np.float64]], skeleton: Skeleton) -> None:
    """Palms down: the forearm's twist, half of it in its middle."""
    for side, sign in (("L", 1.0), ("R", -1.0)):
        fore = skeleton.between(f"lowerarm01.{side}", f"wrist.{side}").numpy()
        axis = fore / np.linalg.norm(fore)
        arm = turn[f"lowerarm01.{side}"]
        turn[f"lowerarm02.{side}"] = arm @ _turn(axis, sign * 0.5 * PRONATION_RAD)
        turn[f"wrist.{side}"] = arm @ _turn(axis, sign * PRONATION_RAD)
