"""Motion between and within key poses: turns of the trunk, limbs in its frame, unrest, builds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import JOINT, mirrored
from posescore.lab.bodies.posed_body import (
    FOREARM_M,
    SHIN_M,
    THIGH_M,
    UPPER_ARM_M,
)
from posescore.lab.poses.pose_variation import FLOOR_M, TREE

FPS: Final = 30
Frames = NDArray[np.float32]
Rng = np.random.Generator

_CORE: Final = JOINT["core"]
_LIMBS: Final = {
    "thigh": (THIGH_M, [("hip", "knee")]),
    "shin": (SHIN_M, [("knee", "ankle")]),
    "upper_arm": (UPPER_ARM_M, [("shoulder", "elbow")]),
    "forearm": (FOREARM_M, [("elbow", "wrist")]),
}
# How far a joint strays by itself, as a share: hands and feet most, the trunk least.
_STRAY: Final = np.ones(23)
for _name, _share in {
    "core": 0.35, "neck": 0.5, "head": 0.9, "left_hip": 0.3, "right_hip": 0.3,
    "left_shoulder": 0.5, "right_shoulder": 0.5, "left_wrist": 1.4, "right_wrist": 1.4,
    "left_hand": 1.4, "right_hand": 1.4, "left_fingers": 1.4, "right_fingers": 1.4,
}.items():  # fmt: skip
    _STRAY[JOINT[_name]] = _share


def smooth_step(n: int) -> NDArray[np.float64]:
    """``(n,)`` from just after 0 to 1, slow at both ends."""
    t = np.arange(1, n + 1) / n
    return np.asarray(t**3 * (10 - 15 * t + 6 * t**2))


def _trunk(body: NDArray[np.float64]) -> NDArray[np.float64]:
    """Axes of a trunk ``(..., 3, 3)``: columns to the left, up the spine, out of the chest."""
    up = body[..., JOINT["neck"], :] - body[..., _CORE, :]
    up = up / np.linalg.norm(up, axis=-1, keepdims=True)
    left = body[..., JOINT["left_shoulder"], :] - body[..., JOINT["right_shoulder"], :]
    left = left + body[..., JOINT["left_hip"], :] - body[..., JOINT["right_hip"], :]
    left = left - (left * up).sum(-1, keepdims=True) * up
    left = left / np.linalg.norm(left, axis=-1, keepdims=True)
    return np.stack([left, up, np.cross(left, up)], axis=-1)


def _turns(axis_angle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rotation matrices ``(n, 3, 3)`` of rotation vectors ``(n, 3)``."""
    angle = np.linalg.norm(axis_angle, axis=-1, keepdims=True)
    x, y, z = (axis_angle / np.maximum(angle, 1e-9)).T
    zero = np.zeros_like(x)
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], -1).reshape(-1, 3, 3)
    sin, cos = np.sin(angle)[..., None], np.cos(angle)[..., None]
    return np.asarray(np.eye(3) + sin * cross + (1 - cos) * (cross @ cross))


def _rotation_vector(turn: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rotation vector ``(3,)`` of a matrix, also at half a turn."""
    cosine = np.clip((np.trace(turn) - 1) / 2, -1, 1)
    angle = np.arccos(cosine)
    if angle < 1e-6:
        return np.zeros(3)
    if angle > np.pi - 1e-3:
        values, axes = np.linalg.eigh((turn + turn.T) / 2)
        return np.asarray(axes[:, np.argmax(values)] * angle)
    skew = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    return np.asarray(skew / (2 * np.sin(angle)) * angle)


def bridge(first_m: Frames, last_m: Frames, n: int) -> Frames:
    """``n`` frames from a pair ``(2, 23, 3)`` to another, the last one included.

    Trunks turn as rigid bodies along the shortest way, limbs move in the trunk's frame, bones keep
    their lengths; where a trunk turns far, the body is lifted a little on the way.
    """
    part = smooth_step(n)
    pair = np.empty((n, 2, 23, 3))
    for slot in (0, 1):
        a, b = first_m[slot].astype(np.float64), last_m[slot].astype(np.float64)
        home, away = _trunk(a), _trunk(b)
        turn = _rotation_vector(away @ home.T)
        axes = _turns(part[:, None] * turn) @ home
        bones = np.empty((2, len(TREE), 3))
        for k, body in enumerate((a, b)):
            frame = home if k == 0 else away
            bones[k] = [frame.T @ (body[child] - body[parent]) for parent, child in TREE]
        mixed = (1 - part)[:, None, None] * bones[0] + part[:, None, None] * bones[1]
        length = np.linalg.norm(bones, axis=2)
        wanted = (1 - part)[:, None] * length[0] + part[:, None] * length[1]
        mixed *= (wanted / np.maximum(np.linalg.norm(mixed, axis=2), 1e-6))[..., None]
        world = np.einsum("nij,nbj->nbi", axes, mixed)
        core = (1 - part)[:, None] * a[_CORE] + part[:, None] * b[_CORE]
        far = min(1.0, float(np.linalg.norm(turn)) / np.pi)
        core[:, 2] += 0.12 * far**2 * np.sin(np.pi * np.arange(1, n + 1) / n)
        pair[:, slot, _CORE] = core
        for bone, (parent, child) in enumerate(TREE):
            pair[:, slot, child] = pair[:, slot, parent] + world[:, bone]
    low = np.maximum(FLOOR_M - pair[..., 2].min(axis=2), 0)
    pair[..., 2] += low[:, :, None]
    return pair.astype(np.float32)


def through(frames_m: Frames, n: int) -> Frames:
    """``n`` frames along a move ``(k, 2, 23, 3)``, its first pose left out, its last included."""
    at = np.arange(1, n + 1) / n * (len(frames_m) - 1)
    low = np.minimum(at.astype(np.int64), len(frames_m) - 2)
    part = (at - low).astype(np.float32)[:, None, None, None]
    return np.asarray((1 - part) * frames_m[low] + part * frames_m[low + 1])


def onto(frames_m: Frames, pose_m: Frames, row: int = 0) -> Frames:
    """Frames turned and shifted on the mat so that frame ``row`` lies best on a pose."""
    here = pose_m.reshape(-1, 3)
    there = frames_m[row].reshape(-1, 3)
    p = (here[:, 0] + 1j * here[:, 1]).astype(np.complex64)
    q = (there[:, 0] + 1j * there[:, 1]).astype(np.complex64)
    inner = ((p - p.mean()) * (q - q.mean()).conj()).sum()
    turn = inner / max(abs(inner), 1e-9)
    flat = (frames_m[..., 0] + 1j * frames_m[..., 1] - q.mean()) * turn + p.mean()
    out = frames_m.copy()
    out[..., 0], out[..., 1] = flat.real, flat.imag
    return out


def fits(keys_m: Frames, pose_m: Frames) -> tuple[NDArray[np.float64], Frames]:
    """How far keys ``(n, 2, 23, 3)``, as they are and mirrored, lie from a pose at their best.

    Returns
    -------
    distance_m, frames_m
        ``(2n,)`` root mean square and ``(2n, 2, 23, 3)`` laid onto the pose.
    """
    both = np.concatenate([keys_m, mirrored(keys_m)])
    points = both.reshape(len(both), -1, 3)
    here = pose_m.reshape(-1, 3)
    p = here[:, 0] + 1j * here[:, 1]
    q = points[..., 0] + 1j * points[..., 1]
    q = q - q.mean(1, keepdims=True)
    inner = (q.conj() * (p - p.mean())).sum(1)
    flat = q * (inner / np.maximum(np.abs(inner), 1e-9))[:, None] + p.mean()
    laid = points.copy()
    laid[..., 0], laid[..., 1] = flat.real, flat.imag
    distance = np.sqrt(((laid - here) ** 2).sum(-1).mean(1))
    return distance.astype(np.float64), laid.reshape(both.shape).astype(np.float32)


def wander(rng: Rng, n: int, columns: int, every_s: float) -> NDArray[np.float32]:
    """Smooth unrest ``(n, columns)`` of unit size that changes about every ``every_s``."""
    step = max(2.0, every_s * FPS)
    knots = rng.standard_normal((int(n / step) + 5, columns)).astype(np.float32)
    at = np.arange(n) / step + 1 + rng.random()
    k = at.astype(np.int64)
    t = (at - k).astype(np.float32)[:, None]
    w = ((1 - t) ** 3, 3 * t**3 - 6 * t**2 + 4, -3 * t**3 + 3 * t**2 + 3 * t + 1, t**3)
    mixed = sum(wk / 6 * knots[k - 1 + j] for j, wk in enumerate(w))
    return np.asarray(mixed * 1.45, np.float32)


def unrest(rng: Rng, joints_m: Frames, share: NDArray[np.float32]) -> Frames:
    """Athletes are never still: drift, struggle of 1 to 6 cm, breath; held down at the mat.

    ``share`` ``(n,)`` of it is used.
    """
    n = len(joints_m)
    size = rng.uniform(0.008, 0.022) * np.exp(0.7 * wander(rng, n, 2, 3.0))
    size = (np.minimum(size, 0.045) * smoothed(share, 8.0)[:, None])[:, :, None, None]
    own = wander(rng, n, 2 * 23 * 3, rng.uniform(0.35, 0.8)).reshape(n, 2, 23, 3)
    slow = wander(rng, n, 2 * 23 * 3, rng.uniform(1.2, 2.5)).reshape(n, 2, 23, 3)
    whole = wander(rng, n, 2 * 3, 1.5).reshape(n, 2, 1, 3)
    together = wander(rng, n, 3, 4.0).reshape(n, 1, 1, 3) * np.array([0.08, 0.08, 0.0])
    moved = (0.8 * own + slow) * _STRAY[:, None] + 0.6 * whole
    breath = 0.004 * np.sin(
        2 * np.pi * (np.arange(n)[:, None] / FPS * rng.uniform(0.25, 0.5, 2) + rng.random(2))
    )
    grounded = np.clip((joints_m[..., 2:] - 0.06) / 0.25, 0.2, 1.0)
    out = joints_m + size * moved * grounded + together
    out[:, :, [JOINT["neck"], _CORE], 2] += breath[..., None]
    return np.asarray(out, np.float32)


@dataclass(frozen=True, slots=True)
class Build:
    """Lengths of one athlete's parts as shares of the set's."""

    size: float
    legs: float
    arms: float
    width: float

    @classmethod
    def drawn(cls, rng: Rng) -> Build:
        """An athlete at random, as different as adults of one division are."""
        size, legs, arms, width = np.exp(rng.standard_normal(4) * [0.05, 0.03, 0.03, 0.04])
        return cls(float(size), float(legs), float(arms), float(width))

    def lengths(self, standard: NDArray[np.float64]) -> NDArray[np.float64]:
        """Lengths of the bones of :data:`TREE`, ``(n_bones,)`` metres."""
        legs = {JOINT[f"{s}_{j}"] for s in ("left", "right") for j in ("hip", "knee", "ankle")}
        arms = {JOINT[f"{s}_{j}"] for s in ("left", "right") for j in ("shoulder", "elbow")}
        wide = {JOINT[f"{s}_{j}"] for s in ("left", "right") for j in ("hip", "shoulder")}
        out = standard * self.size
        for k, (parent, child) in enumerate(TREE):
            out[k] *= self.legs if parent in legs else self.arms if parent in arms else 1.0
            out[k] *= self.width if child in wide else 1.0
        return out


def bone_lengths(joints_m: Frames) -> NDArray[np.float64]:
    """Median lengths of the bones of frames ``(n, 2, 23, 3)``, ``(n_bones,)``, sides alike."""
    each = np.array(
        [np.median(np.linalg.norm(joints_m[:, :, c] - joints_m[:, :, p], axis=-1)) for p, c in TREE]
    )
    for k in range(0, len(each) - 2, 2):
        each[k : k + 2] = each[k : k + 2].mean()
    return each


def smoothed(values: NDArray[np.float32], width: float) -> NDArray[np.float32]:
    """Rows ``(n, ...)`` averaged over a bell ``width`` rows wide."""
    reach = int(3 * width) + 1
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / width) ** 2)
    kernel = (kernel / kernel.sum()).astype(np.float32)
    padded = np.concatenate([values[:1].repeat(reach, 0), values, values[-1:].repeat(reach, 0)])
    return np.asarray(sum(w * padded[k : k + len(values)] for k, w in enumerate(kernel)))


def with_builds(joints_m: Frames, builds: tuple[Build, Build]) -> Frames:
    """The same motion by bodies of other lengths, on the mat, no joint under it."""
    standard = bone_lengths(joints_m[:: max(1, len(joints_m) // 60)])
    length = np.stack([build.lengths(standard) for build in builds]).astype(np.float32)
    out = joints_m.copy()
    for k, (parent, child) in enumerate(TREE):
        bone = joints_m[:, :, child] - joints_m[:, :, parent]
        now = np.maximum(np.linalg.norm(bone, axis=-1, keepdims=True), 1e-6)
        out[:, :, child] = out[:, :, parent] + bone / now * length[:, k, None]
    lift = joints_m[..., 2].min(2) - out[..., 2].min(2)
    out[..., 2] += smoothed(lift, 3.0)[:, :, None]
    low = np.maximum(FLOOR_M - out[..., 2].min((1, 2)), 0.0)
    out[..., 2] += np.minimum(smoothed(low, 3.0), 0.05)[:, None, None]
    out[..., 2] = np.maximum(out[..., 2], 0.02)
    return out.astype(np.float32)
