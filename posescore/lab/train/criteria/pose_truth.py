"""Criteria read off the 3D joints of named poses.

A knee is on the mat below 12 cm and off it above 20 cm (between them it is left out), a heel is a
hook where it lies in front of the opponent's pelvis and between his hips' sides, feet are crossed
where both heels do and the left one is on the right by 5 cm or more, the other leg of
knee-on-belly lies towards the head where its middle does. Half guard and mount are the poses' own
names.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import JOINT
from posescore.holds.criteria.questions import SIDES
from posescore.terms import Floats, Position

_DOWN_M: Final = 0.12
_UP_M: Final = 0.20
_CROSSED_M: Final = 0.05
Bools = NDArray[np.bool_]


def cases_of(position: Position, pairs: Floats) -> Iterator[tuple[str, str, Bools, Bools]]:
    """Question, side, truth and where it is clear, of joints ``(n, 2, 23, 3)`` in a position."""
    if position is Position.MOUNT:
        for side in SIDES:
            yield "knee_down", side, *_down(pairs[:, 0, JOINT[f"{side}_knee"], 2])
        yield "facing_head", "left", *_all(pairs, answer=True)
        yield "leg_trapped", "left", *_all(pairs, answer=False)
    elif position is Position.HALF_GUARD:
        yield "leg_trapped", "left", *_all(pairs, answer=True)
    elif position is Position.TURTLE:
        knees = np.minimum(*(pairs[:, 1, JOINT[f"{side}_knee"], 2] for side in SIDES))
        yield "knee_of_opponent_down", "left", *_down(knees)
        where = _along(pairs[:, 1], _middle(pairs[:, 0], "hip"))
        yield "behind_shoulder_line", "left", where < 0.9, (where < 0.7) | (where > 1.1)
    elif position is Position.KNEE_ON_BELLY:
        yield from _of_knee_on_belly(pairs)
    elif position is Position.BACK_CONTROL:
        yield from _of_back_control(pairs)


def _of_knee_on_belly(pairs: Floats) -> Iterator[tuple[str, str, Bools, Bools]]:
    upper, lower = pairs[:, 0], pairs[:, 1]
    hips, axis = _middle(lower, "hip"), _middle(lower, "shoulder") - _middle(lower, "hip")
    away = []
    for side in SIDES:
        out = upper[:, JOINT[f"{side}_knee"]] - hips
        part = np.clip((out * axis).sum(-1) / (axis**2).sum(-1), 0, 1)
        away.append(np.linalg.norm(out - part[:, None] * axis, axis=-1))
    left_on = (away[0] < away[1])[:, None]

    def chosen(joint: str, on: bool) -> Floats:
        left, right = upper[:, JOINT[f"left_{joint}"]], upper[:, JOINT[f"right_{joint}"]]
        return np.where(left_on == on, left, right)

    yield "other_knee_down", "left", *_down(chosen("knee", on=False)[:, 2])
    other = (chosen("knee", on=False) + chosen("ankle", on=False)) / 2
    lead = _along(lower, other) - _along(lower, chosen("knee", on=True))
    yield "hip_side", "left", lead > 0, np.abs(lead) > 0.1


def _of_back_control(pairs: Floats) -> Iterator[tuple[str, str, Bools, Bools]]:
    place = {side: _in_pelvis(pairs[:, 1], pairs[:, 0, JOINT[f"{side}_heel"]]) for side in SIDES}
    for side in SIDES:
        hooked = (place[side][:, 2] > 0.03) & (np.abs(place[side][:, 0]) < 0.24)
        yield "hook", side, hooked, np.ones(len(pairs), np.bool_)
    over_m = place["left"][:, 0] - place["right"][:, 0]
    in_front = (place["left"][:, 2] > 0.03) & (place["right"][:, 2] > 0.03)
    crossed = (over_m > _CROSSED_M) & in_front
    yield "feet_crossed", "left", crossed, crossed | (over_m < -_CROSSED_M)


def _all(pairs: Floats, *, answer: bool) -> tuple[Bools, Bools]:
    return np.full(len(pairs), answer), np.ones(len(pairs), np.bool_)


def _down(height_m: Floats) -> tuple[Bools, Bools]:
    return height_m < _DOWN_M, (height_m < _DOWN_M) | (height_m > _UP_M)


def _middle(body: Floats, joint: str) -> Floats:
    return np.asarray((body[:, JOINT[f"left_{joint}"]] + body[:, JOINT[f"right_{joint}"]]) / 2)


def _along(body: Floats, place: Floats) -> Floats:
    hips, axis = _middle(body, "hip"), _middle(body, "shoulder") - _middle(body, "hip")
    return np.asarray(((place - hips) * axis).sum(-1) / (axis**2).sum(-1))


def _in_pelvis(body: Floats, place: Floats) -> Floats:
    """Right, up the spine and forward of the middle of the hips, ``(n, 3)`` metres."""
    right = body[:, JOINT["right_hip"]] - body[:, JOINT["left_hip"]]
    right /= np.linalg.norm(right, axis=1, keepdims=True)
    up = body[:, JOINT["neck"]] - _middle(body, "hip")
    up -= right * (up * right).sum(1, keepdims=True)
    up /= np.linalg.norm(up, axis=1, keepdims=True)
    axes = np.stack([right, up, np.cross(up, right)], axis=1)
    return np.asarray(np.einsum("nij,nj->ni", axes, place - _middle(body, "hip")))
