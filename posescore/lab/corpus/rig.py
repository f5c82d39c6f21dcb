"""Twelve bodies of a parametric body model, collapsed to a rig of twenty bones.

The full model has 104 bones; fitting and posing millions of bodies needs twenty. Every vertex
follows at most four of them, and every keypoint is a fixed mix of vertices, so a keypoint is a
linear function of the bones' transforms: fitting needs no mesh at all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.terms import KEYPOINTS

BONES: Final[tuple[str, ...]] = (
    "root", "upperleg01.L", "lowerleg01.L", "foot.L", "upperleg01.R", "lowerleg01.R", "foot.R",
    "spine05", "spine03", "spine01", "clavicle.L", "upperarm01.L", "lowerarm01.L", "wrist.L",
    "clavicle.R", "upperarm01.R", "lowerarm01.R", "wrist.R", "neck01", "head",
)  # fmt: skip
"""The bones that stay, parents before children."""

N_BONES: Final = len(BONES)
BONE: Final[Mapping[str, int]] = {name: index for index, name in enumerate(BONES)}

PARTS: Final[tuple[str, ...]] = (
    "trunk", "upper_arm", "forearm", "hand", "thigh", "shank", "foot", "neck", "head",
)  # fmt: skip
"""Body parts, in the order of :attr:`Rig.part`; cloth and the auxiliary loss know them."""

_PART_OF: Final = {
    "root": 0, "spine": 0, "clavicle": 0, "upperarm": 1, "lowerarm": 2, "wrist": 3,
    "upperleg": 4, "lowerleg": 5, "foot": 6, "neck": 7, "head": 8,
}  # fmt: skip

# gender 1 is male; age 1/3 is a child of about eight, 2/3 a young adult; the rest in [0, 1].
SHAPES: Final[tuple[Mapping[str, float], ...]] = tuple(
    dict(zip(("gender", "age", "muscle", "weight", "height", "proportions"), values, strict=True))
    for values in (
        (1.00, 0.60, 0.60, 0.50, 0.50, 0.50),
        (1.00, 0.62, 0.80, 0.75, 0.48, 0.45),
        (1.00, 0.60, 0.75, 0.35, 0.52, 0.60),
        (0.95, 0.70, 0.45, 0.70, 0.50, 0.40),
        (0.10, 0.60, 0.60, 0.50, 0.58, 0.50),
        (0.00, 0.62, 0.50, 0.65, 0.60, 0.50),
        (0.00, 0.58, 0.70, 0.30, 0.62, 0.65),
        (1.00, 0.66, 0.95, 0.60, 0.45, 0.55),
        (1.00, 0.75, 0.60, 0.95, 0.50, 0.35),
        (0.60, 0.42, 0.45, 0.45, 0.55, 0.50),
        (0.30, 0.36, 0.45, 0.40, 0.55, 0.50),
        (0.05, 0.65, 0.65, 0.85, 0.58, 0.40),
    )
)
"""Both sexes, light to heavy, two juveniles."""

_ADULT_HEIGHT_M: Final = 1.70
_REGRESSED: Final = {"left_toe": "left_big_toe", "right_toe": "right_big_toe"}

# Spots on the body that the pose set names and the keypoints do not, as heads of model bones.
SPOTS: Final[Mapping[str, str]] = {
    "left_hand": "finger3-1.L", "right_hand": "finger3-1.R", "left_fingers": "finger3-3.L",
    "right_fingers": "finger3-3.R", "neck": "neck01", "core": "spine03",
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Rig:
    """Bodies at rest (z up, facing -y) with weights, ready for skinning.

    Parameters
    ----------
    rest_m
        ``(n_shapes, n_vertices, 3)`` float32. Juveniles are scaled to adult height: a picture
        shows proportions, not metres.
    bone_head_m
        ``(n_shapes, 20, 3)`` float32: where each bone turns.
    parent
        ``(20,)`` int64, -1 for the root.
    keypoint_offset, keypoint_lever_m
        ``(n_shapes, 21, 20)`` and ``(n_shapes, 21, 20, 3)`` float32: keypoint k of a posed body
        is ``sum_a offset[k, a] * t[a] + R[a] @ lever[k, a]``.
    spot_m, spot_bone
        ``(n_shapes, n_spots, 3)`` and ``(n_spots,)``: the spots of :data:`SPOTS` at rest.
    vertex_bone, vertex_weight
        ``(n_vertices, 4)`` uint8 and float32.
    faces
        ``(n_faces, 3)`` int32.
    part, side
        ``(n_vertices,)`` uint8: index into :data:`PARTS`; 0 middle, 1 left, 2 right.
    along
        ``(n_vertices,)`` float32: how far down the limb, 0 at shoulder or hip, 1 at wrist or
        ankle; 0 elsewhere.
    """

    rest_m: NDArray[np.float32]
    bone_head_m: NDArray[np.float32]
    parent: NDArray[np.int64]
    keypoint_offset: NDArray[np.float32]
    keypoint_lever_m: NDArray[np.float32]
    spot_m: NDArray[np.float32]
    spot_bone: NDArray[np.int64]
    vertex_bone: NDArray[np.uint8]
    vertex_weight: NDArray[np.float32]
    faces: NDArray[np.int32]
    part: NDArray[np.uint8]
    side: NDArray[np.uint8]
    along: NDArray[np.float32]

    def save(self, path: Path) -> None:
        """Write to one compressed file."""
        np.savez_compressed(path, **{f.name: getattr(self, f.name) for f in fields(self)})

    @classmethod
    def load(cls, path: Path) -> Rig:
        """Read what :meth:`save` wrote."""
        with np.load(path, allow_pickle=False) as data:
            return cls(**{f.name: data[f.name] for f in fields(cls)})

    @property
    def rest_keypoints_m(self) -> NDArray[np.float32]:
        """``(n_shapes, 21, 3)`` float32: keypoints of the bodies at rest."""
        return np.asarray(self.keypoint_lever_m.sum(axis=2), np.float32)


def build_rig(shapes: Sequence[Mapping[str, float]] = SHAPES) -> Rig:
    """Make the rig of some bodies from the body model (needs the extra ``lab``)."""
    import anny
    import torch

    model: Any = anny.Anny()
    regressor: Any = anny.KeypointsRegressor.coco(model)
    labels = list(model.bone_labels)
    kept = _kept_ancestor(labels, list(model.bone_parents))
    vertex_bone, vertex_weight, quantised = _four_heaviest(_weights_of_kept(model, kept))
    names = [_REGRESSED.get(name, name) for name in KEYPOINTS]
    mix = regressor.regression_weights[[regressor.labels.index(n) for n in names]].numpy()
    rest, heads, spots = [], [], []
    for shape in shapes:
        with torch.no_grad():
            out = model(phenotype_kwargs=dict(shape))
        vertices = out["rest_vertices"][0].numpy()
        height_m = float(np.ptp(vertices[:, 2]))
        scale = _ADULT_HEIGHT_M / height_m if height_m < 1.6 else 1.0
        bone_heads = out["rest_bone_heads"][0].numpy() * scale
        rest.append(vertices * scale)
        heads.append(bone_heads[[labels.index(b) for b in BONES]])
        spots.append(bone_heads[[labels.index(b) for b in SPOTS.values()]])
    lever = np.stack([np.einsum("kv,va,vd->kad", mix, quantised, v) for v in rest])
    part, side = _parts(quantised)
    return Rig(
        rest_m=np.stack(rest).astype(np.float32),
        bone_head_m=np.stack(heads).astype(np.float32),
        parent=_parents(labels, list(model.bone_parents), kept),
        keypoint_offset=np.repeat((mix @ quantised)[None], len(rest), 0).astype(np.float32),
        keypoint_lever_m=lever.astype(np.float32),
        spot_m=np.stack(spots).astype(np.float32),
        spot_bone=np.array([kept[labels.index(b)] for b in SPOTS.values()], np.int64),
        vertex_bone=vertex_bone,
        vertex_weight=vertex_weight,
        faces=model.get_triangular_faces().numpy().astype(np.int32),
        part=part,
        side=side,
        along=_along(rest[0], lever[0].sum(axis=1), part, side),
    )


def _weights_of_kept(model: Any, kept: list[int]) -> NDArray[np.float64]:
    """Weights of kept bones, ``(n_vertices, n_bones)``: what is left out counts for an ancestor."""
    weights = np.zeros((len(model.template_vertices), N_BONES))
    bones = np.asarray(kept)[model.vertex_bone_indices.numpy().astype(np.int64)]
    rows = np.broadcast_to(np.arange(len(weights))[:, None], bones.shape)
    np.add.at(weights, (rows, bones), model.vertex_bone_weights.numpy())
    return weights


def _kept_ancestor(labels: list[str], parents: list[int]) -> list[int]:
    kept = []
    for bone in range(len(labels)):
        while labels[bone] not in BONE:
            bone = parents[bone]
        kept.append(BONE[labels[bone]])
    return kept


def _parents(labels: list[str], parents: list[int], kept: list[int]) -> NDArray[np.int64]:
    above = [parents[labels.index(name)] for name in BONES]
    result = np.array([-1 if p < 0 else kept[p] for p in above], np.int64)
    if not all(p < i for i, p in enumerate(result)):
        raise ValueError("bones must stand after their parents")
    return result


def _four_heaviest(
    weights: NDArray[np.float64],
) -> tuple[NDArray[np.uint8], NDArray[np.float32], NDArray[np.float64]]:
    weights = weights / weights.sum(axis=1, keepdims=True)
    bone = np.argsort(-weights, axis=1)[:, :4]
    weight = np.take_along_axis(weights, bone, axis=1)
    weight = weight / weight.sum(axis=1, keepdims=True)
    quantised = np.zeros_like(weights)
    np.put_along_axis(quantised, bone, weight, axis=1)
    return bone.astype(np.uint8), weight.astype(np.float32), quantised


def _parts(weights: NDArray[np.float64]) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    part_of = [next(p for stem, p in _PART_OF.items() if name.startswith(stem)) for name in BONES]
    side_of = [1 if name.endswith(".L") else 2 if name.endswith(".R") else 0 for name in BONES]
    main = weights.argmax(axis=1)
    return np.array(part_of, np.uint8)[main], np.array(side_of, np.uint8)[main]


def _along(
    rest_m: NDArray[np.float64],
    keypoints_m: NDArray[np.float64],
    part: NDArray[np.uint8],
    side: NDArray[np.uint8],
) -> NDArray[np.float32]:
    along = np.zeros(len(rest_m), np.float32)
    for number, name in ((1, "left"), (2, "right")):
        for start, end, parts in (("shoulder", "wrist", (1, 2, 3)), ("hip", "ankle", (4, 5, 6))):
            origin = keypoints_m[KEYPOINTS.index(f"{name}_{start}")]
            axis = keypoints_m[KEYPOINTS.index(f"{name}_{end}")] - origin
            limb = (side == number) & np.isin(part, parts)
            along[limb] = (rest_m[limb] - origin) @ axis / (axis @ axis)
    return along
