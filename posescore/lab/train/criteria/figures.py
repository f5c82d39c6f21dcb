"""Pairs of articulated figures in a position, with every criterion of it varied and known.

Open pose sets show few frames of the cases that decide a call (the other knee on the mat, one hook
only, arms under the legs). So the criteria are calibrated on figures placed by rules: bodies of
rigid bones in metres, z up, feet and hands put where the position wants them, knees and elbows
following by two-bone inverse kinematics. Each scene returns keypoints ``(n, 2, 21, 3)`` (the upper
athlete first) and the truth of each criterion by construction.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.lab.train.criteria.body import SHANK_M, THIGH_M, Body, unit
from posescore.terms import KEYPOINT_INDEX, MIRRORED_KEYPOINTS, Floats

Truth = Mapping[str, NDArray[Any]]

_X, _Y, _Z = np.eye(3)


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """``keypoints_m`` ``(n, 2, 21, 3)``, the upper athlete first, and what is true of each."""

    keypoints_m: Floats
    truth: Truth


def _near(random: np.random.Generator, n: int, *spans: tuple[float, float]) -> Floats:
    """``(n, len(spans))`` numbers, each evenly within its span."""
    return np.stack([random.uniform(*span, n) for span in spans], axis=1)


def _pick(condition: NDArray[np.bool_], one: NDArray[Any], other: NDArray[Any]) -> NDArray[Any]:
    return np.where(condition.reshape(-1, *[1] * (one.ndim - 1)), one, other)


def _tilted(random: np.random.Generator, n: int, direction: Floats, spread: float) -> Floats:
    return unit(direction + spread * random.standard_normal((n, 3)))


def _lying(random: np.random.Generator, n: int) -> Body:
    """On the back or turned to a side by up to 50 degrees, head towards y, legs bent or flat."""
    roll = np.deg2rad(random.uniform(-50, 50, n))
    facing = np.stack([np.sin(roll), np.zeros(n), np.cos(roll)], axis=1)
    pelvis = _near(random, n, (-0.03, 0.03), (-0.02, 0.02), (0.10, 0.14))
    spine = _near(random, n, (-0.12, 0.12), (1.0, 1.0), (-0.05, 0.08))
    body = Body(pelvis, spine, facing)
    for side, sign in (("left", 1.0), ("right", -1.0)):
        flat = random.random(n) < 0.35
        ankle = _near(random, n, (0.05, 0.35), (-0.65, -0.35), (0.05, 0.12))
        far = _near(random, n, (0.05, 0.35), (-0.83, -0.7), (0.06, 0.10))
        ankle = _pick(flat, far, ankle) * np.array([sign, 1.0, 1.0])
        body.leg(side, ankle, _tilted(random, n, _Z + 0.3 * sign * _X, 0.3))
        hand = _near(random, n, (0.0, 0.35), (0.15, 0.65), (0.25, 0.50)) * np.array([sign, 1, 1])
        body.arm(side, hand, _tilted(random, n, sign * _X - 0.3 * _Z, 0.3))
    return body


def _scene(upper: Body, lower: Body, random: np.random.Generator, truth: Truth) -> Scene:
    """Both figures, half of the pairs mirrored, every point a little off.

    A truth of shape ``(n, 2)`` is one of the left and right side, and is mirrored too.
    """
    pair = np.stack([upper.points, lower.points], axis=1)
    mirror = random.random(len(pair)) < 0.5
    image = pair[:, :, MIRRORED_KEYPOINTS] * np.array([-1.0, 1.0, 1.0])
    pair = _pick(mirror, image, pair)
    sided = {
        name: _pick(mirror, values[:, ::-1], values) if values.ndim == 2 else values
        for name, values in truth.items()
    }
    return Scene(pair + 0.012 * random.standard_normal(pair.shape), sided)


def _above_mat(scene: Scene) -> Scene:
    scene.keypoints_m[..., 2] = np.maximum(scene.keypoints_m[..., 2], 0.02)
    return scene


def knee_on_belly(random: np.random.Generator, n: int) -> Scene:
    """One knee on the torso; the other leg posted or kneeling, towards the head or the hips."""
    lower = _lying(random, n)
    hip_side, down = random.random(n) < 0.6, random.random(n) < 0.5
    knee_y = random.uniform(0.02, 0.38, n)
    pelvis = np.stack(
        [
            random.uniform(0.12, 0.38, n),
            knee_y + _pick(hip_side, random.uniform(-0.05, 0.2, n), random.uniform(-0.2, 0.05, n)),
            _pick(down, random.uniform(0.30, 0.48, n), random.uniform(0.34, 0.68, n)),
        ],
        axis=1,
    )
    way = _pick(hip_side, random.uniform(-0.3, 1.6, n), random.uniform(-1.0, 0.5, n))
    facing = unit(np.stack([-np.ones(n), way, np.zeros(n)], axis=1))
    lean = random.uniform(0.0, 1.6, n)[:, None] ** 2
    upper = Body(pelvis, _Z + lean * facing, facing)
    on_belly = np.stack([random.uniform(-0.10, 0.05, n), knee_y, np.full(n, 0.26)], axis=1)
    other_y = _pick(hip_side, random.uniform(0.15, 0.75, n), random.uniform(-0.75, -0.15, n))
    foot = np.stack([random.uniform(0.1, 1.1, n), knee_y + other_y, np.full(n, 0.08)], axis=1)
    for side in ("left", "right"):
        shin_on = hip_side if side == "left" else ~hip_side
        resting, posted, kneeling = (Body(pelvis, _Z + lean * facing, facing) for _ in range(3))
        _rest_shin(resting, side, on_belly, random)
        posted.leg(side, foot, _tilted(random, n, _Z + 0.4 * facing, 0.3))
        towards = foot - kneeling[f"{side}_hip"]
        kneeling.kneel(side, towards, _tilted(random, n, _X - 0.3 * towards, 0.4))
        other = _pick(down, kneeling.points, posted.points)
        chosen = _pick(shin_on, resting.points, other)
        legs = [KEYPOINT_INDEX[f"{side}_{j}"] for j in ("knee", "ankle", "heel", "toe")]
        upper.points[:, legs] = chosen[:, legs]
        hand = _near(random, n, (-0.45, 0.1), (0.2, 0.7), (0.12, 0.4))
        upper.arm(side, hand, _tilted(random, n, _X, 0.5))
    truth = {
        "other_knee_down": down,
        "hip_side": hip_side,
    }
    return _above_mat(_scene(upper, lower, random, truth))


def _rest_shin(body: Body, side: str, knee_at: Floats, random: np.random.Generator) -> None:
    n = len(knee_at)
    hip = body[f"{side}_hip"]
    knee = hip + THIGH_M * unit(knee_at - hip)
    knee[:, 2] = np.maximum(knee[:, 2], 0.2)
    foot = np.stack(
        [random.uniform(0.5, 1.0, n), random.uniform(-0.5, 0.2, n), random.uniform(-0.4, 0.0, n)], 1
    )
    ankle = knee + SHANK_M * unit(foot)
    ankle[:, 2] = np.maximum(ankle[:, 2], 0.06)
    body[f"{side}_knee"], body[f"{side}_ankle"] = knee, ankle
    body.place_foot(side)


def mount(random: np.random.Generator, n: int) -> Scene:
    """Sitting astride, facing head or feet, knees on the mat or a foot posted, arms in or under."""
    lower = _lying(random, n)
    to_head = random.random(n) < 0.6
    way = np.where(to_head, 1.0, -1.0)
    trapped = random.random((n, 2)) < 0.3
    pelvis = np.stack(
        [
            random.uniform(-0.05, 0.05, n),
            random.uniform(0.08, 0.36, n),
            random.uniform(0.3, 0.4, n),
        ],
        axis=1,
    )
    facing = np.stack([random.uniform(-0.3, 0.3, n), way, np.zeros(n)], axis=1)
    spine = _Z + random.uniform(-0.1, 2.0, n)[:, None] * facing
    upper = Body(pelvis, spine, facing)
    knee_down = random.random((n, 2)) < 0.75
    for slot, (side, sign) in enumerate((("left", -1.0), ("right", 1.0))):
        out = sign * way[:, None] * _X
        posted = Body(pelvis, spine, facing)
        at = pelvis + 0.36 * out + random.uniform(0.1, 0.4, n)[:, None] * facing
        at[:, 2] = 0.08
        posted.leg(side, at, _tilted(random, n, _Z + 0.6 * out, 0.3))
        ahead = random.uniform(0.4, 1.3, n)[:, None] * facing
        upper.kneel(side, out + ahead, -facing + 0.25 * random.standard_normal((n, 3)))
        upper.points = _pick(knee_down[:, slot], upper.points, _with_leg(upper, posted, side))
        hand = pelvis + 0.45 * facing + _near(random, n, (-0.3, 0.3), (-0.1, 0.2), (-0.2, 0.1))
        hand[:, 2] = np.maximum(hand[:, 2], 0.06)
        upper.arm(side, hand, _tilted(random, n, out, 0.4))
    _trap_arms(lower, trapped, random)
    truth = {
        "facing_head": to_head,
        "knee_down": knee_down,
        "arm_trapped": trapped,
    }
    return _above_mat(_scene(upper, lower, random, truth))


def _with_leg(body: Body, posted: Body, side: str) -> Floats:
    legs = [KEYPOINT_INDEX[f"{side}_{j}"] for j in ("knee", "ankle", "heel", "toe")]
    points = body.points.copy()
    points[:, legs] = posted.points[:, legs]
    return points


def _trap_arms(lower: Body, trapped: NDArray[np.bool_], random: np.random.Generator) -> None:
    """Lay arms flat along the body, where the thighs of an athlete astride come to lie on them."""
    n = len(trapped)
    for slot, (side, sign) in enumerate((("left", 1.0), ("right", -1.0))):
        free = lower.points.copy()
        hand = _near(random, n, (0.28, 0.48), (-0.12, 0.15), (0.05, 0.1)) * np.array([sign, 1, 1])
        lower.arm(side, hand, _tilted(random, n, sign * _X, 0.2))
        lower.points = _pick(trapped[:, slot], lower.points, free)


def astride(random: np.random.Generator, n: int) -> Scene:
    """Over a lying opponent, as in mount or half guard: a leg between the opponent's legs, or none.

    The trapped leg's knee lies by the opponent's hips, its ankle between the thighs or the knees;
    the opponent's legs close around it, or one foot lies over it. The free leg kneels or is posted.
    """
    lower = _lying(random, n)
    half = random.random(n) < 0.5
    right_leg = random.random(n) < 0.5
    trapped = half[:, None] & np.stack([~right_leg, right_leg], axis=1)
    aside = np.where(right_leg, -1.0, 1.0) * random.uniform(-0.05, 0.18, n)
    pelvis = np.stack(
        [
            _pick(half, -aside, random.uniform(-0.05, 0.05, n)),
            _pick(half, random.uniform(-0.25, 0.32, n), random.uniform(0.08, 0.36, n)),
            _pick(half, random.uniform(0.22, 0.4, n), random.uniform(0.3, 0.4, n)),
        ],
        axis=1,
    )
    facing = _near(random, n, (-0.3, 0.3), (1.0, 1.0), (0.0, 0.0))
    spine = _Z + random.uniform(0.0, 3.0, n)[:, None] * facing
    upper = Body(pelvis, spine, facing)
    knee_down = random.random((n, 2)) < 0.75
    for slot, (side, sign) in enumerate((("left", -1.0), ("right", 1.0))):
        out, inside = sign * _X, Body(pelvis, spine, facing)
        posted = Body(pelvis, spine, facing)
        at = pelvis + 0.36 * out + random.uniform(-0.1, 0.4, n)[:, None] * facing
        at[:, 2] = 0.08
        posted.leg(side, at, _tilted(random, n, _Z + 0.6 * out, 0.3))
        ahead = random.uniform(-0.2, 1.3, n)[:, None] * facing
        upper.kneel(side, out + ahead, -facing + 0.25 * random.standard_normal((n, 3)))
        upper.points = _pick(knee_down[:, slot], upper.points, _with_leg(upper, posted, side))
        ankle = _near(random, n, (-0.08, 0.08), (-0.65, -0.25), (0.08, 0.32))
        inside.leg(side, ankle, _tilted(random, n, _Y + 0.4 * out - 0.3 * _Z, 0.5))
        upper.points = _pick(trapped[:, slot], _with_leg(upper, inside, side), upper.points)
        hand = pelvis + 0.45 * facing + _near(random, n, (-0.3, 0.3), (-0.1, 0.3), (-0.2, 0.1))
        hand[:, 2] = np.maximum(hand[:, 2], 0.06)
        upper.arm(side, hand, _tilted(random, n, out, 0.4))
        _close_leg(lower, side, -sign, half, random)
    return _above_mat(_scene(upper, lower, random, {"leg_trapped": half}))


def _close_leg(
    lower: Body, side: str, sign: float, half: NDArray[np.bool_], random: np.random.Generator
) -> None:
    """Where a leg is trapped, the opponent's foot mostly comes in over or around it."""
    n = len(half)
    free = lower.points.copy()
    closed = half & (random.random(n) < 0.7)
    ankle = _near(random, n, (-0.15, 0.15), (-0.75, -0.35), (0.06, 0.35)) * np.array([sign, 1, 1])
    lower.leg(side, ankle, _tilted(random, n, 0.8 * _Z + sign * _X, 0.3))
    lower.points = _pick(closed, lower.points, free)


def back_control(random: np.random.Generator, n: int) -> Scene:
    """Behind, seated, lying or on a side, each foot hooked inside the thighs or not, or crossed.

    Built around the lower one's pelvis: y along the spine, z out of the belly.
    """
    hooked = random.random((n, 2)) < np.where(random.random(n) < 0.4, 0.95, 0.5)[:, None]
    crossed = random.random(n) < 0.25
    hooked[crossed] = True
    lower = Body(np.zeros((n, 3)), np.tile(_Y, (n, 1)), np.tile(_Z, (n, 1)))
    upper = Body(
        _near(random, n, (-0.06, 0.06), (-0.08, 0.12), (-0.24, -0.16)),
        np.tile(_Y, (n, 1)) + 0.15 * random.standard_normal((n, 3)),
        np.tile(_Z, (n, 1)) + 0.15 * random.standard_normal((n, 3)),
    )
    seated = random.random(n) < 0.5
    for slot, (side, sign) in enumerate((("left", 1.0), ("right", -1.0))):
        mirror = np.array([sign, 1.0, 1.0])
        flat = _near(random, n, (0.1, 0.4), (-0.75, -0.4), (0.0, 0.45))
        drawn = _near(random, n, (0.08, 0.4), (-0.2, 0.1), (0.35, 0.75))
        ankle = _pick(seated, drawn, flat) * mirror
        pole = _pick(seated, _Y + 0.4 * _Z + 0.3 * sign * _X + np.zeros((n, 3)),
                     _Z + 0.3 * sign * _X + np.zeros((n, 3)))  # fmt: skip
        lower.leg(side, ankle, _tilted(random, n, pole, 0.25))
        hand = _near(random, n, (-0.1, 0.25), (0.25, 0.6), (0.15, 0.35)) * mirror
        lower.arm(side, hand, _tilted(random, n, sign * _X, 0.3))
        at = _back_foot(random, hooked[:, slot], sign * lower.points[:, :, 0], side)
        over = _near(random, n, (-0.16, -0.04), (-0.25, 0.1), (0.16, 0.45))
        over[:, 2] += 0.1 * slot
        at = _pick(crossed, over, at) * mirror
        upper.leg(side, at, _tilted(random, n, sign * 1.2 * _X + 0.4 * _Z + 0.3 * _Y, 0.25))
        grip = _near(random, n, (-0.25, 0.1), (0.25, 0.5), (0.12, 0.25)) * mirror
        upper.arm(side, grip, _tilted(random, n, sign * _X, 0.3))
    truth = {"hook": hooked, "feet_crossed": crossed}
    scene = _scene(upper, lower, random, truth)
    return Scene(_laid(scene.keypoints_m, random, seated), scene.truth)


def _back_foot(
    random: np.random.Generator, hooked: NDArray[np.bool_], outwards: Floats, side: str
) -> Floats:
    """Where a foot lies: between the opponent's thighs, outside of that leg, or behind it all.

    ``outwards`` ``(n, 21)`` is how far each of the opponent's keypoints lies to the foot's side.
    """
    n = len(hooked)
    knee = outwards[:, KEYPOINT_INDEX[f"{side}_knee"]]
    leg = np.maximum(knee, outwards[:, KEYPOINT_INDEX[f"{side}_ankle"]])
    inside = _near(random, n, (-0.3, 1.0), (-0.3, 0.15), (0.08, 0.45))
    inside[:, 0] *= np.maximum(knee - 0.06, 0.05)
    outside = _near(random, n, (0.07, 0.35), (-0.6, 0.15), (-0.1, 0.5))
    outside[:, 0] += leg
    behind = _near(random, n, (0.1, 0.5), (-0.6, 0.1), (-0.4, -0.1))
    return _pick(hooked, inside, _pick(random.random(n) < 0.65, outside, behind))


def _laid(pair: Floats, random: np.random.Generator, seated: NDArray[np.bool_]) -> Floats:
    """Turn pairs built around the lower one's pelvis: seated, reclined or on a side, on the mat."""
    n = len(pair)
    recline = np.deg2rad(_pick(seated, random.uniform(-10, 50, n), random.uniform(10, 90, n)))
    on_side = ~seated & (random.random(n) < 0.4)
    roll = np.deg2rad(on_side * random.uniform(-90, 90, n))
    spine = np.tile(_Z, (n, 1))
    spine = np.cos(recline)[:, None] * spine - np.sin(recline)[:, None] * _Y
    front = np.sin(recline)[:, None] * _Z + np.cos(recline)[:, None] * _Y
    right = np.cross(front, spine)
    turned_front = np.cos(roll)[:, None] * front + np.sin(roll)[:, None] * right
    turned_right = np.cross(turned_front, spine)
    axes = np.stack([-turned_right, spine, turned_front], axis=1)
    laid = np.einsum("npkc,ncw->npkw", pair, axes)
    return np.asarray(laid - np.quantile(laid[..., 2], 0.06, axis=(1, 2))[:, None, None, None] * _Z
                      + 0.06 * _Z)  # fmt: skip


def turtle(random: np.random.Generator, n: int) -> Scene:
    """On knees or on hands and feet; the other one behind, beside, or in front of the shoulders."""
    knees = random.random(n) < 0.65
    height = _pick(knees, random.uniform(0.30, 0.45, n), random.uniform(0.55, 0.75, n))
    pelvis = np.stack([np.zeros(n), np.zeros(n), height], axis=1)
    spine = _near(random, n, (-0.1, 0.1), (1.0, 1.0), (-0.45, 0.1))
    lower = Body(pelvis, spine, -_Z + _near(random, n, (-0.3, 0.3), (0, 0), (0, 0)))
    behind = random.random(n) < 0.6
    where = np.where(behind, random.uniform(-0.35, 0.3, n), random.uniform(0.75, 1.2, n))
    beside = behind & (random.random(n) < 0.4)
    seat = np.stack(
        [_pick(beside, random.uniform(0.25, 0.5, n), random.uniform(-0.12, 0.12, n)), where,
         random.uniform(0.36, 0.7, n)], axis=1,
    )  # fmt: skip
    facing = unit(np.stack([-0.8 * beside, np.where(behind, 1.0, -1.0), np.zeros(n)], axis=1))
    upper = Body(seat, _Z + random.uniform(0.4, 2.2, n)[:, None] * facing, facing)
    low = random.random(n) < 0.6
    for side, sign in (("left", -1.0), ("right", 1.0)):
        posted = Body(pelvis, spine, -_Z + np.zeros((n, 3)))
        posted.leg(side, pelvis + _near(random, n, (0.1, 0.3), (-0.5, 0.0), (0, 0)) * [sign, 1, 0]
                   - height[:, None] * _Z + 0.09 * _Z, _tilted(random, n, _Y, 0.3))  # fmt: skip
        lower.kneel(side, _Y + 0.3 * sign * _X + 0.3 * random.standard_normal((n, 3)), -_Y)
        lower.points = _pick(knees, lower.points, _with_leg(lower, posted, side))
        hand = lower[f"{side}_shoulder"] + _near(random, n, (-0.15, 0.15), (-0.2, 0.35), (0, 0))
        hand[:, 2] = 0.06
        lower.arm(side, hand, _tilted(random, n, sign * _X - 0.5 * _Y, 0.3))
        stand = Body(seat, upper.spine, facing)
        foot = seat + 0.22 * sign * upper.right - random.uniform(0.0, 0.4, n)[:, None] * facing
        foot[:, 2] = 0.09
        stand.leg(side, foot, _tilted(random, n, facing, 0.3))
        upper.kneel(side, facing + 0.4 * sign * upper.right, -facing)
        upper.points = _pick(low, upper.points, _with_leg(upper, stand, side))
        chest = pelvis + 0.3 * spine + _near(random, n, (-0.25, 0.25), (-0.15, 0.15), (-0.15, 0.1))
        upper.arm(side, chest, _tilted(random, n, sign * upper.right, 0.3))
    truth = {"knee_of_opponent_down": knees, "behind_shoulder_line": behind}
    return _above_mat(_scene(upper, lower, random, truth))


SCENES: Final[Mapping[str, Callable[[np.random.Generator, int], Scene]]] = {
    "knee_on_belly": knee_on_belly,
    "mount": mount,
    "astride": astride,
    "back_control": back_control,
    "turtle": turtle,
}
"""Scenes by the position they show."""
