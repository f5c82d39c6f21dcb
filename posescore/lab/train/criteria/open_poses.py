"""Measure the judges on the open pose set: ``python -m posescore.lab.train.criteria.open_poses``.

Through cameras of our own and with small errors; :mod:`posescore.lab.train.criteria.pose_truth`
says what is true of a pose. Two thirds of the entries were fitted on, as the pose pass sees them.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import Final

import numpy as np

from posescore.evaluation.poses3d.body_keypoints import body_keypoints_m
from posescore.evaluation.poses3d.pose_set import PoseSet, load_pose_set
from posescore.holds.criteria.judge import shipped_judges
from posescore.holds.criteria.questions import QUESTIONS
from posescore.lab.train.criteria.calibration import seen
from posescore.lab.train.criteria.pose_truth import Bools, cases_of
from posescore.terms import STATES, Athlete, Floats, Position

VIEWS: Final = 60
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
    for position in Position:
        joints = poses_of(poses, position)
        if len(joints):
            for name, side, truth, clear in cases_of(position, joints):
                yield name, side, joints, truth, clear


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
