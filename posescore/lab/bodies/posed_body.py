"""One athlete built from where the pelvis, the spine, the knees, feet and hands are wanted.

A small analytic inverse kinematics, vectorised over n bodies: thighs, shins and arms are solved
as triangles of two bones that reach for a target and bend towards a hint. It gives the open pose
set's 23 joints with that set's bone lengths, so authored and recorded poses mix freely.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import JOINT, JOINTS

Vectors = NDArray[np.float64]
"""``(n, 3)`` metres or directions, z up."""
Frames = NDArray[np.float32]
Rng = np.random.Generator
Range = float | tuple[float, float]

HIP_M, SHOULDER_M = 0.115, 0.163  # from the middle line
LOWER_SPINE_M, UPPER_SPINE_M, NECK_M = 0.245, 0.38, 0.165
THIGH_M, SHIN_M, UPPER_ARM_M, FOREARM_M = 0.432, 0.428, 0.29, 0.261
HEEL_M, FOOT_M, HAND_M = 0.09, 0.23, 0.08


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """What a body is asked for; left then right where there are two.

    ``feet`` are where the ankles go, ``knees`` hints to which the knees bend; ``hands`` where
    the wrists go, ``elbows`` hints. ``chest`` is roughly where the chest faces; ``pelvis_front``
    where the front of the pelvis faces; ``toes`` where the toes point.
    """

    pelvis: Vectors
    spine: Vectors
    chest: Vectors
    pelvis_front: Vectors
    feet: tuple[Vectors, Vectors]
    knees: tuple[Vectors, Vectors]
    hands: tuple[Vectors, Vectors]
    elbows: tuple[Vectors, Vectors]
    toes: tuple[Vectors, Vectors]
    gaze: Vectors


def unit(vectors: Vectors) -> Vectors:
    """Vectors of length 1."""
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.asarray(vectors / np.maximum(length, 1e-9), np.float64)


def off_axis(vectors: Vectors, axis: Vectors) -> Vectors:
    """Unit part of vectors at right angles to a unit axis."""
    return unit(vectors - (vectors * axis).sum(-1, keepdims=True) * axis)


def reach(
    start: Vectors, target: Vectors, hint: Vectors, first_m: float, second_m: float
) -> tuple[Vectors, Vectors]:
    """Middle joint and end of two bones from ``start`` towards ``target``.

    The middle joint bends towards the point ``hint``. A target out of reach, or too near for
    the bend that a joint allows (the end no nearer than a third of the longer bone), is
    approached as far as the bones go.
    """
    aim = target - start
    length = np.linalg.norm(aim, axis=1, keepdims=True)
    distance = np.clip(length, max(first_m, second_m) / 3, 0.995 * (first_m + second_m))
    along = unit(aim)
    to_hint = off_axis(hint - start, along)
    ahead = (first_m**2 - second_m**2 + distance**2) / (2 * distance)
    aside = np.sqrt(np.maximum(first_m**2 - ahead**2, 0))
    return start + ahead * along + aside * to_hint, start + distance * along


def build(wanted: Wanted) -> NDArray[np.float32]:
    """23 joints ``(n, 23, 3)`` in metres."""
    joints = np.zeros((len(wanted.pelvis), len(JOINTS), 3))
    spine = unit(wanted.spine)
    front = off_axis(wanted.pelvis_front, spine)
    hip_left = np.cross(spine, front)
    core = wanted.pelvis + LOWER_SPINE_M * spine
    # The upper spine rounds a little towards where the chest faces.
    chest = off_axis(wanted.chest, spine)
    upper = unit(spine + 0.15 * chest)
    neck = core + UPPER_SPINE_M * upper
    shoulder_left = np.cross(spine, chest)
    joints[:, JOINT["core"]], joints[:, JOINT["neck"]] = core, neck
    joints[:, JOINT["head"]] = neck + NECK_M * unit(upper + 0.4 * wanted.gaze)
    for i, (side, sign) in enumerate((("left", 1.0), ("right", -1.0))):
        hip = wanted.pelvis + sign * HIP_M * hip_left
        shoulder = neck - 0.06 * upper + sign * SHOULDER_M * shoulder_left
        knee, ankle = reach(hip, wanted.feet[i], wanted.knees[i], THIGH_M, SHIN_M)
        elbow, wrist = reach(shoulder, wanted.hands[i], wanted.elbows[i], UPPER_ARM_M, FOREARM_M)
        shin, fore = unit(ankle - knee), unit(wrist - elbow)
        toes = unit(wanted.toes[i])
        heel = ankle + HEEL_M * unit(shin - 0.6 * off_axis(toes, shin))
        placed = {
            "hip": hip, "knee": knee, "ankle": ankle, "heel": heel, "toe": heel + FOOT_M * toes,
            "shoulder": shoulder, "elbow": elbow, "wrist": wrist, "hand": wrist + HAND_M * fore,
            "fingers": wrist + 2 * HAND_M * fore,
        }  # fmt: skip
        for name, at in placed.items():
            joints[:, JOINT[f"{side}_{name}"]] = at
    return joints.astype(np.float32)


def vectors(rng: Rng, n: int, x: Range, y: Range, z: Range) -> Vectors:
    """Random vectors, each coordinate fixed or even in a range."""
    columns = [rng.uniform(*c, n) if isinstance(c, tuple) else np.full(n, c) for c in (x, y, z)]
    return np.stack(columns, axis=1)


def choose(rng: Rng, n: int, weights: tuple[float, ...], *options: Vectors) -> Vectors:
    """One of several options for every body, drawn by weight."""
    pick = rng.choice(len(options), n, p=np.array(weights) / sum(weights))
    return np.stack(options)[pick, np.arange(n)]


def both_sides(values: Vectors, rng: Rng, spread: float = 0.03) -> tuple[Vectors, Vectors]:
    """The same place on either side of the middle plane: (+x is the given one, its mirror)."""
    mirror = values * np.array([-1.0, 1.0, 1.0])
    noise = spread * rng.standard_normal((2, *values.shape))
    return values + noise[0], mirror + noise[1]


def turned(frames: Frames, axis: str, angle_rad: NDArray[np.float64]) -> Frames:
    """Pairs turned as a whole about an axis through the origin."""
    cos, sin = np.cos(angle_rad)[:, None, None], np.sin(angle_rad)[:, None, None]
    i, j = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]
    out = frames.copy()
    out[..., i] = cos * frames[..., i] - sin * frames[..., j]
    out[..., j] = sin * frames[..., i] + cos * frames[..., j]
    return out
