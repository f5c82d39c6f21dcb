"""Measure the judges on the open pose set: ``python -m posescore.holds.open_poses``.

Nothing is fitted on the set. Its truth is read off the 3D joints: a knee is on the mat below
12 cm and off it above 20 cm (between them it is left out), a heel is a hook where it lies in front
of the opponent's pelvis and between his hips' sides, the other leg of knee-on-belly lies towards
the head where its middle does. Half guard and mount are the set's own names.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.body import Floats
from posescore.holds.calibration import seen
from posescore.holds.judge import shipped_judges
from posescore.holds.questions import QUESTIONS, SIDES
from posescore.simulation.body_keypoints import body_keypoints_m
from posescore.simulation.pose_set import JOINT, PoseSet, load_pose_set
from posescore.terms import STATES, Athlete, Position

VIEWS: Final = 60
_DOWN_M: Final = 0.12
_UP_M: Final = 0.20
Bools = NDArray[np.bool_]
_BY_NAME: Final = {question.name: question for question in QUESTIONS}


def poses_of(poses: PoseSet, position: Position) -> Floats:
    """Joints ``(n, 2, 23, 3)`` of a position's named frames, the upper athlete first."""
    found = []
    for joints, index in zip(poses.joints_m, poses.state, strict=True):
        if index >= 0 and STATES[index].position is position:
            found.append(joints if STATES[index].upper is Athlete.A else joints[::-1])
    return np.array(found, np.float64)


def cases(poses: PoseSet) -> Iterator[tuple[str, str, Floats, Bools, Bools]]:
    """Question, side, joints, truth, and where the truth is clear."""
    mount, half = poses_of(poses, Position.MOUNT), poses_of(poses, Position.HALF_GUARD)
    for side in SIDES:
        height = mount[:, 0, JOINT[f"{side}_knee"], 2]
        yield "knee_down", side, mount, *_down(height)
    yield "facing_head", "left", mount, *_all(mount, answer=True)
    yield "leg_trapped", "left", half, *_all(half, answer=True)
    yield "leg_trapped", "left", mount, *_all(mount, answer=False)
    turtle = poses_of(poses, Position.TURTLE)
    knees = np.minimum(*(turtle[:, 1, JOINT[f"{side}_knee"], 2] for side in SIDES))
    yield "knee_of_opponent_down", "left", turtle, *_down(knees)
    where = _along(turtle[:, 1], _middle(turtle[:, 0], "hip"))
    yield "behind_shoulder_line", "left", turtle, where < 0.9, (where < 0.7) | (where > 1.1)
    yield from _of_knee_on_belly(poses_of(poses, Position.KNEE_ON_BELLY))
    back = poses_of(poses, Position.BACK_CONTROL)
    for side in SIDES:
        place = _in_pelvis(back[:, 1], back[:, 0, JOINT[f"{side}_heel"]])
        hooked = (place[:, 2] > 0.03) & (np.abs(place[:, 0]) < 0.24)
        yield "hook", side, back, hooked, np.ones(len(back), np.bool_)


def _of_knee_on_belly(pairs: Floats) -> Iterator[tuple[str, str, Floats, Bools, Bools]]:
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

    yield "other_knee_down", "left", pairs, *_down(chosen("knee", on=False)[:, 2])
    other = (chosen("knee", on=False) + chosen("ankle", on=False)) / 2
    lead = _along(lower, other) - _along(lower, chosen("knee", on=True))
    yield "hip_side", "left", pairs, lead > 0, np.abs(lead) > 0.1


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


def measure(seed: int = 3) -> list[tuple[str, int, int, float, float]]:
    """Question, poses where yes and no are true, and the shares of views in which each is found.

    Raises
    ------
    MissingPartError
        Where the open pose set is absent.
    """
    tally: dict[str, list[tuple[Bools, Floats]]] = {}
    for name, side, joints, truth, clear in cases(load_pose_set().labelled):
        random = np.random.default_rng(seed)
        repeated = np.repeat(joints, VIEWS, axis=0).astype(np.float32)
        px = seen(body_keypoints_m(repeated, random).astype(np.float64), random)
        odds = shipped_judges()[name].log_odds(_BY_NAME[name].ask(px, side)).reshape(-1, VIEWS)
        tally.setdefault(name, []).append((truth[clear], odds[clear]))
    rows = []
    for name, found in tally.items():
        truth = np.concatenate([t for t, _ in found])
        yes = (np.concatenate([o for _, o in found]) > 0).mean(axis=1)
        rows.append((
            name, int(truth.sum()), int((~truth).sum()),
            float(yes[truth].mean()) if truth.any() else np.nan,
            float(1 - yes[~truth].mean()) if (~truth).any() else np.nan,
        ))  # fmt: skip
    return rows


def table() -> str:
    """The measurement as rows of a table for people."""
    lines = ["| question | poses: yes | found | poses: no | found |", "|---|---|---|---|---|"]
    for name, n_yes, n_no, yes, no in measure():
        shares = ["" if np.isnan(share) else f"{share:.2f}" for share in (yes, no)]
        lines.append(f"| {name} | {n_yes} | {shares[0]} | {n_no} | {shares[1]} |")
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(table() + "\n")
