"""The published criteria read off 3D joints, with a band in which they are unclear.

Every answer is int8: 1 yes, 0 no, -1 unclear. All thresholds stand here, in metres unless said:

=====================  =====================================================================
knee down              below 0.12 yes, above 0.20 no (height of the knee's joint)
hip side               the other leg's middle lies towards the head by more than 0.18 of a torso
facing head            front of the pelvis plus 0.7 of the spine, along the opponent: beyond 0.3
arm trapped            an arm passes under a leg seen from above; clear of all legs by 0.08: no
leg trapped            exactly one leg passes between the opponent's legs, as long and 15 % shorter
hook                   the heel is before the pelvis by 0.06 and within 0.20 of its middle;
                       not before it by 0.01, or 0.28 from the middle: no hook
feet crossed           both heels are before the pelvis, the left on the right by 0.05; or an
                       ankle lies at the other knee (0.13), as in a body triangle
behind shoulder line   hips below 0.7 of the opponent's torso yes, above 1.1 no
upper in open guard    the middle of the trunk is higher by 0.05
=====================  =====================================================================
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import JOINT
from posescore.holds.criteria.questions import QUESTIONS, SIDES
from posescore.terms import STATES, Athlete, Position

Answers = NDArray[np.int8]
Floats = NDArray[np.float64]

KNEE_DOWN_M, KNEE_UP_M = 0.12, 0.20
LEAD: Final = 0.18
FACING: Final = 0.3
ARM_CLEAR_M: Final = 0.08
SHORTER: Final = 0.85
HOOK_AHEAD_M, NO_HOOK_AHEAD_M = 0.06, 0.01
HOOK_ASIDE_M, NO_HOOK_ASIDE_M = 0.20, 0.28
CROSSED_M: Final = 0.05
AT_KNEE_M, OFF_KNEE_M = 0.13, 0.18
BEHIND, BEYOND = 0.7, 1.1
ON_TOP_M: Final = 0.05

SIDED: Final = {question.name: question.sided for question in QUESTIONS}
ASKED: Final = {question.name: question.positions for question in QUESTIONS}


def criteria_of(pairs_m: NDArray[np.float32], position: Position) -> dict[str, Answers]:
    """Answers of joints ``(n, 2, 23, 3)`` in a position, the upper athlete first.

    Returns
    -------
    dict
        Every question that is asked in the position: ``(n,)``, or ``(n, 2)`` of a sided one.
    """
    upper, lower = pairs_m[:, 0].astype(np.float64), pairs_m[:, 1].astype(np.float64)
    if position is Position.KNEE_ON_BELLY:
        return _knee_on_belly(upper, lower)
    if position in (Position.MOUNT, Position.BACK_MOUNT):
        found = {
            "facing_head": _facing(upper, lower),
            "knee_down": np.stack([_down(upper[:, JOINT[f"{s}_knee"], 2]) for s in SIDES], 1),
            "arm_trapped": np.stack([_arm_trapped(upper, lower, s) for s in SIDES], 1),
        }
        if position is Position.MOUNT:
            found["leg_trapped"] = leg_trapped(upper, lower)
        return found
    if position is Position.HALF_GUARD:
        return {"leg_trapped": leg_trapped(upper, lower)}
    if position is Position.BACK_CONTROL:
        return _back_control(upper, lower)
    if position is Position.TURTLE:
        knees = np.minimum(*(lower[:, JOINT[f"{s}_knee"], 2] for s in SIDES))
        where = _along(lower, _middle(upper, "hip"))
        return {
            "knee_of_opponent_down": _down(knees),
            "behind_shoulder_line": _answer(where < BEHIND, where > BEYOND),
        }
    return {}


def criteria_of_match(
    joints_m: NDArray[np.float32], state: NDArray[np.int64]
) -> Mapping[str, Answers]:
    """Every question at every frame, -1 where it is not asked or unclear."""
    n = len(state)
    found = {name: np.full((n, 2) if sided else n, -1, np.int8) for name, sided in SIDED.items()}
    for index in np.unique(state[state >= 0]):
        there = STATES[index]
        if there.upper is None or not any(there.position in p for p in ASKED.values()):
            continue
        rows = state == index
        pairs = joints_m[rows]
        if there.upper is Athlete.B:
            pairs = pairs[:, ::-1]
        for name, answer in criteria_of(pairs, there.position).items():
            found[name][rows] = answer
    return found


def _answer(yes: NDArray[np.bool_], no: NDArray[np.bool_]) -> Answers:
    return np.where(yes, 1, np.where(no, 0, -1)).astype(np.int8)


def _down(height_m: Floats) -> Answers:
    return _answer(height_m < KNEE_DOWN_M, height_m > KNEE_UP_M)


def _middle(body: Floats, joint: str) -> Floats:
    return np.asarray((body[:, JOINT[f"left_{joint}"]] + body[:, JOINT[f"right_{joint}"]]) / 2)


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.maximum(np.linalg.norm(vector, axis=-1, keepdims=True), 1e-9))


def _along(body: Floats, place: Floats) -> Floats:
    hips, axis = _middle(body, "hip"), _middle(body, "shoulder") - _middle(body, "hip")
    return np.asarray(((place - hips) * axis).sum(-1) / np.maximum((axis**2).sum(-1), 1e-9))


def in_pelvis(body: Floats, place: Floats) -> Floats:
    """Right, up the spine and forward of the middle of the hips, ``(n, 3)`` metres."""
    right = _unit(body[:, JOINT["right_hip"]] - body[:, JOINT["left_hip"]])
    up = body[:, JOINT["neck"]] - _middle(body, "hip")
    up = _unit(up - right * (up * right).sum(1, keepdims=True))
    axes = np.stack([right, up, np.cross(up, right)], axis=1)
    return np.asarray(np.einsum("nij,nj->ni", axes, place - _middle(body, "hip")))


def _knee_on_belly(upper: Floats, lower: Floats) -> dict[str, Answers]:
    hips, axis = _middle(lower, "hip"), _middle(lower, "shoulder") - _middle(lower, "hip")
    away = []
    for side in SIDES:
        out = upper[:, JOINT[f"{side}_knee"]] - hips
        part = np.clip((out * axis).sum(-1) / np.maximum((axis**2).sum(-1), 1e-9), 0, 1)
        away.append(np.linalg.norm(out - part[:, None] * axis, axis=-1))
    left_on = (away[0] < away[1])[:, None]

    def chosen(joint: str, on: bool) -> Floats:
        left, right = upper[:, JOINT[f"left_{joint}"]], upper[:, JOINT[f"right_{joint}"]]
        return np.where(left_on == on, left, right)

    other = (chosen("knee", on=False) + chosen("ankle", on=False)) / 2
    lead = _along(lower, other) - _along(lower, chosen("knee", on=True))
    return {
        "other_knee_down": _down(chosen("knee", on=False)[:, 2]),
        "hip_side": _answer(lead > LEAD, lead < -LEAD),
    }


def _facing(upper: Floats, lower: Floats) -> Answers:
    right = _unit(upper[:, JOINT["right_hip"]] - upper[:, JOINT["left_hip"]])
    spine = _unit(upper[:, JOINT["neck"]] - _middle(upper, "hip"))
    front = _unit(np.cross(spine, right))
    axis = _unit(_middle(lower, "shoulder") - _middle(lower, "hip"))
    ahead = ((front + 0.7 * spine) * axis).sum(-1)
    return _answer(ahead > FACING, ahead < -FACING)


def _crosses_above(a: Floats, b: Floats, c: Floats, d: Floats) -> tuple[NDArray[np.bool_], Floats]:
    """Whether ``a-b`` passes under ``c-d`` seen from above, and how far apart they are there."""
    r, s, q = (b - a)[:, :2], (d - c)[:, :2], (c - a)[:, :2]
    turn = r[:, 0] * s[:, 1] - r[:, 1] * s[:, 0]
    safe = np.where(np.abs(turn) < 1e-9, 1e-9, turn)
    t = (q[:, 0] * s[:, 1] - q[:, 1] * s[:, 0]) / safe
    u = (q[:, 0] * r[:, 1] - q[:, 1] * r[:, 0]) / safe
    over = c[:, 2] + u * (d - c)[:, 2] - a[:, 2] - t * (b - a)[:, 2]
    inside = (t >= 0) & (t <= 1) & (u >= 0) & (u <= 1)
    tc, uc = np.clip(t, 0, 1)[:, None], np.clip(u, 0, 1)[:, None]
    apart = np.linalg.norm(a + tc * (b - a) - c - uc * (d - c), axis=1)
    return inside & (over > 0), apart


def _arm_trapped(upper: Floats, lower: Floats, side: str) -> Answers:
    arm = [lower[:, JOINT[f"{side}_{j}"]] for j in ("shoulder", "elbow", "wrist")]
    under = np.zeros(len(upper), np.bool_)
    nearest = np.full(len(upper), np.inf)
    for leg in SIDES:
        limb = [upper[:, JOINT[f"{leg}_{j}"]] for j in ("hip", "knee", "ankle")]
        for k in range(2):
            for m in range(2):
                crossing, apart = _crosses_above(arm[k], arm[k + 1], limb[m], limb[m + 1])
                under |= crossing & (apart < 0.30)
                nearest = np.minimum(nearest, apart)
    return _answer(under, ~under & (nearest > ARM_CLEAR_M))


def _pierces(a: Floats, b: Floats, tri: tuple[Floats, Floats, Floats]) -> NDArray[np.bool_]:
    """Whether segments pass through triangles, row by row."""
    p, q, r = tri
    e1, e2, ray = q - p, r - p, b - a
    h = np.cross(ray, e2)
    det = (e1 * h).sum(-1)
    inv = 1.0 / np.where(np.abs(det) < 1e-12, 1e-12, det)
    s = a - p
    u = (s * h).sum(-1) * inv
    k = np.cross(s, e1)
    v = (ray * k).sum(-1) * inv
    t = (e2 * k).sum(-1) * inv
    return np.asarray((u >= 0) & (v >= 0) & (u + v <= 1) & (t >= 0) & (t <= 1))


def _between_legs(upper: Floats, lower: Floats, side: str, reach: float) -> NDArray[np.bool_]:
    """Whether a leg of the upper one passes between the legs of the lower one."""
    left = [lower[:, JOINT[f"left_{j}"]] for j in ("hip", "knee", "ankle")]
    right = [lower[:, JOINT[f"right_{j}"]] for j in ("hip", "knee", "ankle")]
    knee, ankle = upper[:, JOINT[f"{side}_knee"]], upper[:, JOINT[f"{side}_ankle"]]
    toe = upper[:, JOINT[f"{side}_toe"]]
    limb = [upper[:, JOINT[f"{side}_hip"]], knee, knee + reach * (ankle - knee)]
    if reach >= 1.0:
        limb.append(toe)
    inside = np.zeros(len(upper), np.bool_)
    for a, b in pairwise(limb):
        for k in range(2):
            inside |= _pierces(a, b, (left[k], left[k + 1], right[k + 1]))
            inside |= _pierces(a, b, (left[k], right[k + 1], right[k]))
    return inside


def leg_trapped(upper: Floats, lower: Floats) -> Answers:
    """Whether exactly one leg of the upper one is between those of the lower one."""
    long = [_between_legs(upper, lower, side, 1.0) for side in SIDES]
    short = [_between_legs(upper, lower, side, SHORTER) for side in SIDES]
    return _answer(short[0] ^ short[1], (long[0] == long[1]) & (short[0] == short[1]))


def is_on_top(upper: Floats, lower: Floats) -> NDArray[np.bool_]:
    """Whether the middle of a trunk is clearly the higher one: else nobody can say who is."""
    height = [(_middle(b, "hip") + _middle(b, "shoulder"))[:, 2] / 2 for b in (upper, lower)]
    return np.asarray(height[0] - height[1] > ON_TOP_M)


def _back_control(upper: Floats, lower: Floats) -> dict[str, Answers]:
    place = {s: in_pelvis(lower, upper[:, JOINT[f"{s}_heel"]]) for s in SIDES}
    hooks = []
    for side in SIDES:
        ahead, aside = place[side][:, 2], np.abs(place[side][:, 0])
        yes = (ahead > HOOK_AHEAD_M) & (aside < HOOK_ASIDE_M)
        hooks.append(_answer(yes, (ahead < NO_HOOK_AHEAD_M) | (aside > NO_HOOK_ASIDE_M)))
    over = place["left"][:, 0] - place["right"][:, 0]
    in_front = (place["left"][:, 2] > 0.03) & (place["right"][:, 2] > 0.03)
    at_knee = np.full(len(upper), np.inf)
    for side, other in (SIDES, SIDES[::-1]):
        apart = upper[:, JOINT[f"{side}_ankle"]] - upper[:, JOINT[f"{other}_knee"]]
        at_knee = np.minimum(at_knee, np.linalg.norm(apart, axis=1))
    crossed = ((over > CROSSED_M) & in_front) | (at_knee < AT_KNEE_M)
    open_feet = ((over < -CROSSED_M) | ~in_front) & (at_knee > OFF_KNEE_M)
    return {"hook": np.stack(hooks, 1), "feet_crossed": _answer(crossed, open_feet)}
