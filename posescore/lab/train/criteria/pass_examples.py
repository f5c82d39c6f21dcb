"""What the shipped pose pass says of named poses, with the criteria read off their 3D joints.

The file is what ``posescore.lab.train.keypoints.training --errors N`` writes: drawn pictures
of the open pose set and of authored poses, and what both networks read in them. Two thirds are
fitted on, every third entry is measured on. A picture is left out where its keypoints are not
those of the pose it names (an affine camera must explain them).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.errors import MissingPartError
from posescore.evaluation.poses3d.body_keypoints import body_keypoints_m
from posescore.evaluation.poses3d.pose_set import PoseSet, load_pose_set
from posescore.holds.criteria.questions import QUESTIONS
from posescore.holds.windows import LEAST_SURE
from posescore.lab.poses.rare_poses import authored_poses
from posescore.lab.train.criteria.pose_truth import Bools, cases_of
from posescore.terms import MIRRORED_KEYPOINTS, STATES, Athlete, Floats, Position

AUTHORED_SEED: Final = 3
AUTHORED_EACH: Final = 120
"""How the authored poses behind the file were drawn."""
MOST_OFF: Final = 0.09
"""Mean distance from an affine camera's picture of the pose, in sizes of the pair: poses are bent
and bodies differ (up to .06); another pose is off by .15 and more."""
_MIRRORED: Final = list(MIRRORED_KEYPOINTS)


@dataclass(frozen=True, slots=True, eq=False)
class Examples:
    """Pictures of one question and side: keypoints, upper athlete first, answer, what to hold back.

    ``pair_px (n, 2, 21, 2)``: what is trusted less than
    :data:`posescore.holds.windows.LEAST_SURE` is NaN. ``for_test (n,)``: of a held-back entry.
    """

    pair_px: Floats
    answer: Bools
    for_test: Bools


AllExamples = Mapping[tuple[str, str], Examples]
"""Examples by question and side; a question without sides is asked of the left."""


@dataclass(frozen=True, slots=True, eq=False)
class _Pictures:
    found_px: Floats
    true_px: Floats
    joints_m: Floats
    entry: NDArray[np.int64]


def load_examples(path: Path, authored: Path | None = None) -> AllExamples:
    """Examples by question and side (sides as in :data:`posescore.holds.criteria.questions.SIDES`).

    Parameters
    ----------
    path
        The file of pass errors.
    authored
        Authored poses as they were drawn for that file, where the code that draws them has changed
        since: an npz with ``joints_m``, ``entry`` and ``state`` of a
        :class:`posescore.evaluation.poses3d.pose_set.PoseSet`.

    Raises
    ------
    MissingPartError
        When the file or the open pose set is absent.
    """
    if not path.is_file():
        raise MissingPartError(
            f"{path} is missing: make it with "
            "'python -m posescore.lab.train.keypoints.training --errors 60000'."
        )
    found: dict[tuple[str, str], Examples] = {}
    for position, pictures in _by_position(path, authored).items():
        keep, mirror = _consistent(pictures)
        for name, side, truth, clear in cases_of(position, pictures.joints_m):
            rows = keep & clear
            sided = next(q.sided for q in QUESTIONS if q.name == name)
            shown = np.where(mirror[rows] & sided, _other(side), side)
            for each in ("left", "right"):
                at = np.flatnonzero(rows)[shown == each]
                part = Examples(pictures.found_px[at], truth[at], pictures.entry[at] % 3 == 0)
                found[name, each] = _joined(found.get((name, each)), part)
    return found


def _other(side: str) -> str:
    return "right" if side == "left" else "left"


def _joined(one: Examples | None, other: Examples) -> Examples:
    if one is None:
        return other
    return Examples(
        np.concatenate([one.pair_px, other.pair_px]),
        np.concatenate([one.answer, other.answer]),
        np.concatenate([one.for_test, other.for_test]),
    )


def _by_position(path: Path, authored: Path | None) -> dict[Position, _Pictures]:
    """Pictures of every position with criteria, the upper athlete first."""
    poses = _all_poses(authored)
    with np.load(path) as data:
        frame, state = data["frame"], data["state"]
        known = (frame < len(poses.state)) & (poses.state[np.minimum(frame, len(poses.state) - 1)]
                                              == state)  # fmt: skip
        sure = data["confidence"] >= LEAST_SURE
        found_px = np.where(sure[..., None], data["found_px"].astype(np.float64), np.nan)
        true_px = data["true_px"].astype(np.float64)
    result = {}
    for position in Position:
        parts = []
        for upper in Athlete:
            wanted = [
                i for i, s in enumerate(STATES) if s.position is position and s.upper is upper
            ]
            rows = np.flatnonzero(np.isin(state, wanted) & known)
            order = slice(None) if upper is Athlete.A else slice(None, None, -1)
            joints = poses.joints_m[frame[rows]].astype(np.float64)
            parts.append((found_px[rows][:, order], true_px[rows][:, order], joints[:, order],
                          poses.entry[frame[rows]]))  # fmt: skip
        result[position] = _Pictures(*(np.concatenate(each) for each in zip(*parts, strict=True)))
    return {position: pictures for position, pictures in result.items() if len(pictures.entry)}


def _all_poses(authored: Path | None) -> PoseSet:
    opened = load_pose_set()
    if authored is None:
        added = authored_poses(np.random.default_rng(AUTHORED_SEED), AUTHORED_EACH)
    else:
        with np.load(authored) as data:
            added = PoseSet(data["joints_m"], data["entry"], data["state"])
    return PoseSet(
        np.concatenate([opened.joints_m, added.joints_m]),
        np.concatenate([opened.entry, added.entry]),
        np.concatenate([opened.state, added.state]),
    )


def _consistent(pictures: _Pictures) -> tuple[Bools, Bools]:
    """Which pictures show the pose they name, and which of them are mirror images."""
    points_m = body_keypoints_m(
        pictures.joints_m.astype(np.float32), np.random.default_rng(0), variation=0.0
    ).astype(np.float64)
    body = slice(5, None)  # without the face, whose place is drawn at random
    straight = _off(points_m[:, :, body], pictures.true_px[:, :, body])
    mirrored = _off(points_m[:, :, _MIRRORED][:, :, body], pictures.true_px[:, :, body])
    return np.minimum(straight, mirrored) < MOST_OFF, mirrored < straight


def _off(points_m: Floats, px: Floats) -> Floats:
    """``(n,)``: distance from the best affine picture of the pose, in sizes of the pair."""
    count = len(px)
    flat_m, flat_px = points_m.reshape(count, -1, 3), px.reshape(count, -1, 2)
    design = np.concatenate([flat_m, np.ones((*flat_m.shape[:2], 1))], axis=2)
    camera = np.linalg.pinv(design) @ flat_px
    apart = np.linalg.norm(design @ camera - flat_px, axis=-1).mean(axis=1)
    size = np.sqrt(np.prod(np.ptp(flat_px, axis=1), axis=1))
    return np.asarray(apart / np.maximum(size, 1.0))
