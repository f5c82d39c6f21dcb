"""Near misses made on purpose: one limb of a key pose moved, the rest as it was.

Every function takes pairs ``(n, 2, 23, 3)``, the upper athlete first, and gives changed pairs;
whether the change made the criterion fail is for the geometry to say, not for these.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import JOINT
from posescore.lab.bodies.posed_body import (
    FOOT_M,
    FOREARM_M,
    HAND_M,
    HEEL_M,
    SHIN_M,
    THIGH_M,
    UPPER_ARM_M,
    Frames,
    Rng,
    Vectors,
    off_axis,
    reach,
    unit,
    vectors,
)
from posescore.lab.walks.truth import in_pelvis
from posescore.terms import Position

_KNEE_Z: Final = 0.07
_SIDES: Final = ("left", "right")
_DOWN: Final = np.array([0.0, 0.0, -0.25])


def _at(body: Frames, joint: str) -> Vectors:
    return np.asarray(body[:, JOINT[joint]], np.float64)


def _middle(body: Frames, joint: str) -> Vectors:
    return (_at(body, f"left_{joint}") + _at(body, f"right_{joint}")) / 2


def _set_leg(body: Frames, side: str, knee: Vectors, ankle: Vectors, toes: Vectors) -> None:
    shin, toes = unit(ankle - knee), unit(toes)
    heel = ankle + HEEL_M * unit(shin - 0.6 * off_axis(toes, shin))
    placed = {"knee": knee, "ankle": ankle, "heel": heel, "toe": heel + FOOT_M * toes}
    for name, at in placed.items():
        body[:, JOINT[f"{side}_{name}"]] = at


def _leg_to(body: Frames, side: str, ankle: Vectors, hint: Vectors) -> None:
    knee, end = reach(_at(body, f"{side}_hip"), ankle, hint, THIGH_M, SHIN_M)
    _set_leg(body, side, knee, end, off_axis(hint - end, unit(end - knee)) + _DOWN)


def _arm_to(
    body: Frames, side: str, wrist: Vectors, hint: Vectors, elbow_below_m: float = 9.0
) -> None:
    elbow, end = reach(_at(body, f"{side}_shoulder"), wrist, hint, UPPER_ARM_M, FOREARM_M)
    elbow[:, 2] = np.minimum(elbow[:, 2], elbow_below_m)
    fore = unit(end - elbow)
    placed = {"elbow": elbow, "wrist": end, "hand": end + HAND_M * fore}
    for name, at in {**placed, "fingers": end + 2 * HAND_M * fore}.items():
        body[:, JOINT[f"{side}_{name}"]] = at


def _flat(vectors: Vectors) -> Vectors:
    return unit(vectors * [1, 1, 0])


def _knee_down(body: Frames, side: str, towards: Vectors) -> None:
    """Kneel on one side: the knee below where it was or farther along, the shin behind it."""
    hip, knee = _at(body, f"{side}_hip"), _at(body, f"{side}_knee")
    drop = np.clip(hip[:, 2] - _KNEE_Z, 0.05, 0.97 * THIGH_M)
    out = _flat(_flat(knee - hip) + 0.6 * towards) * np.sqrt(THIGH_M**2 - drop**2)[:, None]
    down = hip + out
    down[:, 2] = np.maximum(hip[:, 2] - drop, _KNEE_Z)
    back = _flat(_at(body, f"{side}_ankle") - down - 0.8 * out)
    ankle = down + SHIN_M * back
    ankle[:, 2] = _KNEE_Z + 0.02
    _set_leg(body, side, down, ankle, back + _DOWN)


def _other_leg(pairs: Frames) -> NDArray[np.bool_]:
    """True where the left leg is the one that is not on the torso (knee-on-belly)."""
    chest = (_middle(pairs[:, 1], "hip") + _middle(pairs[:, 1], "shoulder")) / 2
    away = [np.linalg.norm(_at(pairs[:, 0], f"{s}_knee") - chest, axis=1) for s in _SIDES]
    return np.asarray(away[0] > away[1])


def lower_other_knee(pairs: Frames, rng: Rng) -> Frames:
    """Knee-on-belly: the knee that should be off the mat comes down; the hips sink with it."""
    del rng
    out = pairs.copy()
    left = _other_leg(pairs)
    for side, rows in (("left", left), ("right", ~left)):
        body = out[rows, 0]
        sink = np.maximum(_at(body, f"{side}_hip")[:, 2] - 0.44, 0.0)
        keep = [JOINT[f"{s}_{j}"] for s in _SIDES for j in ("knee", "ankle", "heel", "toe")]
        kept = body[:, keep].copy()
        body[..., 2] -= 0.6 * sink[:, None]
        body[:, keep] = kept
        trunk = _flat(_middle(out[rows, 1], "shoulder") - _middle(out[rows, 1], "hip"))
        on = _at(body, f"{'right' if side == 'left' else 'left'}_knee")
        lead = ((_at(body, f"{side}_knee") - on) * trunk).sum(1, keepdims=True)
        _knee_down(body, side, trunk * np.sign(lead))
        out[rows, 0] = body
    return out


def raise_knee(pairs: Frames, rng: Rng) -> Frames:
    """Mount: one knee up, its foot posted beside the opponent (technical mount)."""
    out = pairs.copy()
    left = rng.random(len(pairs)) < 0.5
    for side, other, rows in (("left", "right", left), ("right", "left", ~left)):
        body = out[rows, 0]
        hip = _at(body, f"{side}_hip")
        aside = _flat(hip - _at(body, f"{other}_hip"))
        ahead = _flat(_at(out[rows, 1], "neck") - _middle(out[rows, 1], "hip"))
        n = len(body)
        ankle = (
            hip + aside * rng.uniform(0.18, 0.32, (n, 1)) + ahead * rng.uniform(0.1, 0.35, (n, 1))
        )
        ankle[:, 2] = 0.1
        _leg_to(body, side, ankle, ankle + 0.3 * ahead + [0, 0, 0.7])
        out[rows, 0] = body
    return out


def trap_arms(pairs: Frames, rng: Rng, both: bool) -> Frames:
    """Mount: the arms of the one beneath lie under the legs of the upper one."""
    out = pairs.copy()
    one = rng.random(len(pairs)) < 0.5
    for side, rows in (("left", one | both), ("right", ~one | both)):
        body = out[rows, 1]
        shoulder = _at(body, f"{side}_shoulder")
        knees = np.stack([_at(out[rows, 0], f"{s}_knee") for s in _SIDES])
        hips = np.stack([_at(out[rows, 0], f"{s}_hip") for s in _SIDES])
        near = np.linalg.norm(knees - shoulder, axis=2).argmin(0)
        pick = np.arange(len(body))
        knee, hip = knees[near, pick], hips[near, pick]
        down = -_flat(_at(body, "neck") - _middle(body, "hip"))
        aside = _flat(shoulder - _at(body, f"{'right' if side == 'left' else 'left'}_shoulder"))
        wrist = 0.4 * knee + 0.6 * hip + rng.uniform(0.15, 0.25) * down
        wrist[:, 2] = 0.06
        _arm_to(body, side, wrist, shoulder + 0.2 * aside + down, 0.08)
        out[rows, 1] = body
    return out


def face_feet(pairs: Frames, rng: Rng) -> Frames:
    """Mount: the upper one sits the other way round, towards the hips."""
    del rng
    out = pairs.copy()
    centre = _middle(pairs[:, 0], "hip")[:, None] * [1, 1, 0]
    turned = (pairs[:, 0] - centre) * [-1, -1, 1] + centre
    spine = _middle(pairs[:, 1], "shoulder") - _middle(pairs[:, 1], "hip")
    out[:, 0] = turned + 0.25 * (spine * [1, 1, 0])[:, None]
    return out


def _in_world(lower: Frames, place: Vectors) -> Vectors:
    """World points of places given right, up and forward in the lower one's pelvis."""
    home = _middle(lower, "hip")
    axes = np.stack([in_pelvis(lower.astype(np.float64), home + e) for e in np.eye(3)], 1)
    return np.asarray(home + np.einsum("nji,ni->nj", axes, place))


def take_out_hook(pairs: Frames, rng: Rng) -> Frames:
    """Back control: one heel outside the opponent's thigh, beside or behind it."""
    out = pairs.copy()
    left = rng.random(len(pairs)) < 0.5
    for side, rows, sign in (("left", left, -1.0), ("right", ~left, 1.0)):
        upper, lower = out[rows, 0], out[rows, 1]
        n = len(upper)
        place = vectors(rng, n, (0.36, 0.5), (-0.35, 0.0), (-0.12, 0.1)) * [sign, 1, 1]
        ankle = _in_world(lower, place)
        ankle[:, 2] = np.maximum(ankle[:, 2], 0.06)
        _leg_to(upper, side, ankle, _at(upper, f"{side}_knee") + 0.2 * sign * _side(lower))
        out[rows, 0] = upper
    return out


def _side(lower: Frames) -> Vectors:
    return unit(_at(lower, "right_hip") - _at(lower, "left_hip"))


def cross_feet(pairs: Frames, rng: Rng) -> Frames:
    """Back control: the feet crossed in front of the opponent."""
    return _feet_to(pairs, rng, (0.10, -0.10))


def open_hooks(pairs: Frames, rng: Rng) -> Frames:
    """Back control: both heels inside the thighs, apart from each other."""
    return _feet_to(pairs, rng, (-0.13, 0.13))


def _feet_to(pairs: Frames, rng: Rng, across: tuple[float, float]) -> Frames:
    out = pairs.copy()
    upper, lower = out[:, 0].copy(), out[:, 1]
    n = len(upper)
    for side, x, wide in zip(_SIDES, across, (-0.45, 0.45), strict=True):
        place = vectors(rng, n, (x - 0.03, x + 0.03), (-0.12, 0.02), (0.16, 0.26))
        hint = vectors(rng, n, wide, 0.0, (0.05, 0.25))
        _leg_to(upper, side, _in_world(lower, place), _in_world(lower, hint))
    out[:, 0] = upper
    return out


def body_triangle(pairs: Frames, rng: Rng) -> Frames:
    """Back control: one ankle behind the knee of the other leg, round the waist."""
    out = cross_feet(pairs, rng)
    left = rng.random(len(pairs)) < 0.5
    for side, other, rows in (("left", "right", left), ("right", "left", ~left)):
        body = out[rows, 0]
        target = _at(body, f"{other}_knee") + 0.25 * (
            _at(body, f"{other}_ankle") - _at(body, f"{other}_knee")
        )
        _leg_to(body, side, target, _at(body, f"{side}_knee"))
        out[rows, 0] = body
    return out


def lift_knees(pairs: Frames, rng: Rng) -> Frames:
    """Turtle: the lower one on feet and hands, the knees off the mat; the upper one rises too."""
    out = pairs.copy()
    rise = rng.uniform(0.24, 0.34, (len(pairs), 1)).astype(np.float32)
    for slot, share in ((0, 0.7), (1, 1.0)):
        body = out[:, slot].copy()
        old = body.copy()
        body[..., 2] += share * rise
        for side in _SIDES:
            ankle = _at(old, f"{side}_ankle")
            _leg_to(body, side, ankle, _at(old, f"{side}_knee") - 2.4 * _DOWN)
            if slot == 1:
                wrist = _at(old, f"{side}_wrist")
                wrist[:, 2] = np.minimum(wrist[:, 2], 0.08)
                _arm_to(body, side, wrist, _at(body, f"{side}_elbow"))
        out[:, slot] = body
    return out


Edit = Callable[[Frames, Rng], Frames]
EDITS: Final[Mapping[Position, tuple[Edit, ...]]] = {
    Position.KNEE_ON_BELLY: (lower_other_knee,),
    Position.MOUNT: (
        raise_knee,
        face_feet,
        lambda pairs, rng: trap_arms(pairs, rng, both=True),
        lambda pairs, rng: trap_arms(pairs, rng, both=False),
    ),
    Position.BACK_MOUNT: (lambda pairs, rng: trap_arms(pairs, rng, both=True),),
    Position.TURTLE: (lift_knees,),
    Position.BACK_CONTROL: (take_out_hook, cross_feet, body_triangle, open_hooks),
}
"""Which near misses (and which good forms) are made of the key poses of a position."""


def edited(pairs: Frames, position: Position, seed: int) -> Frames:
    """All edits of pairs, one after the other ``(n_edits * n, 2, 23, 3)``; none: empty."""
    rng = np.random.default_rng(seed)
    made = [edit(pairs, rng) for edit in EDITS.get(position, ())]
    if not made:
        return pairs[:0]
    out = np.concatenate(made).astype(np.float32)
    out[..., 2] = np.maximum(out[..., 2], 0.03)
    return out
