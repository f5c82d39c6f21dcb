"""Training and test examples: poses seen through random cameras with an estimator's errors.

A pose knows which folds must never learn from it. Named frames belong to the fold of their
entry; blends to the folds of both frames; unnamed frames are also barred from every fold that
holds a test frame within 5 cm of them; authored poses are barred from none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.position.features import MIRROR, MIRROR_SIGN, SWAP, features
from posescore.simulation.body_keypoints import body_keypoints_m
from posescore.simulation.cameras import random_cameras
from posescore.simulation.estimator_errors import ErrorRates, estimate_badly, hidden
from posescore.simulation.pose_set import (
    PURGE_DISTANCE_M,
    PoseSet,
    alignment,
    nearest_distance_m,
    swapped_states,
)
from posescore.simulation.pose_variation import blends, named_neighbours, perturb
from posescore.simulation.rare_poses import authored_poses
from posescore.terms import STATES, Position, State

SWAPPED_STATES: Final = swapped_states()
_SCRAMBLE: Final = STATES.index(State(Position.SCRAMBLE))
_CHUNK: Final = 8192


@dataclass(frozen=True, slots=True, eq=False)
class Poses:
    """Poses to learn from.

    Parameters
    ----------
    joints_m
        ``(n, 2, 23, 3)`` float32.
    state
        ``(n,)`` int64.
    barred
        ``(n, n_folds)`` bool: folds whose member must not learn from the pose.
    weight
        ``(n,)`` how often each is drawn, up to a factor.
    bend
        ``(n,)`` how much of the spread of :func:`~posescore.simulation.pose_variation.perturb`
        it is bent by.
    """

    joints_m: NDArray[np.float32]
    state: NDArray[np.int64]
    barred: NDArray[np.bool_]
    weight: NDArray[np.float64]
    bend: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.state)


@dataclass(frozen=True, slots=True, eq=False)
class Examples:
    """What a classifier learns from or is tested on.

    Parameters
    ----------
    features
        ``(n, n_features)`` float32, see :mod:`posescore.position.features`.
    state
        ``(n,)`` int64.
    barred
        ``(n, n_folds)`` bool.
    group
        ``(n,)`` int64: examples of one group (entry, or footage) are never divided.
    """

    features: NDArray[np.float32]
    state: NDArray[np.int64]
    barred: NDArray[np.bool_]
    group: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.state)


def barred_near(
    frames_m: NDArray[np.float32], named: PoseSet, fold: NDArray[np.int64], n_folds: int
) -> NDArray[np.bool_]:
    """``(n, n_folds)``: folds that hold a named frame within 5 cm of each frame."""
    return np.stack(
        [
            nearest_distance_m(frames_m, named.joints_m[fold == index]) < PURGE_DISTANCE_M
            for index in range(n_folds)
        ],
        axis=1,
    )


def scrambles(pose_set: PoseSet, named: PoseSet, farther_than_m: float = 0.28) -> PoseSet:
    """Unnamed frames in the middle of a move and far from every named one.

    A move is often a valid instance of a position, so only frames that are neither the first
    nor the last of their entry and at least 28 cm (root mean square over joints) from every
    named frame count as scramble: at that distance one named frame in five has another name
    than its nearest neighbour.
    """
    entry = pose_set.entry
    inside = np.zeros(len(entry), bool)
    inside[1:-1] = (entry[1:-1] == entry[:-2]) & (entry[1:-1] == entry[2:])
    moves = pose_set.take((pose_set.state < 0) & inside)
    far = alignment(moves.joints_m, named.joints_m).rms_m.min(1) > farther_than_m
    chosen = moves.take(far)
    return PoseSet(chosen.joints_m, chosen.entry, np.full(int(far.sum()), _SCRAMBLE, np.int64))


def training_poses(
    pose_set: PoseSet, fold: NDArray[np.int64], n_folds: int, rng: np.random.Generator
) -> Poses:
    """All that members may learn from: named, near named, in between, authored, scrambles."""
    named = pose_set.labelled
    bar_named = fold[:, None] == np.arange(n_folds)
    near = named_neighbours(pose_set, named)
    moves = scrambles(pose_set, named)
    authored = authored_poses(rng, 1500)
    mixed_m, mixed_state, first, second = blends(named, rng, 8000)
    bar_mixed = bar_named[first] | bar_named[second]
    bar_near = _bar_by_entry(near, named, fold, n_folds)
    bar_near |= barred_near(near.joints_m, named, fold, n_folds)
    parts = [
        (named.joints_m, named.state, bar_named, 4.0, 0.5),
        (near.joints_m, near.state, bar_near, 1.5, 0.5),
        (mixed_m, mixed_state, bar_mixed, 4.0, 0.5),
        (moves.joints_m, moves.state, np.zeros((len(moves), n_folds), bool), 1.0, 0.5),
        (authored.joints_m, authored.state, np.zeros((len(authored), n_folds), bool), 2.0, 0.0),
    ]
    return _weighed(parts, named)


def _bar_by_entry(
    frames: PoseSet, named: PoseSet, fold: NDArray[np.int64], n_folds: int
) -> NDArray[np.bool_]:
    """Unnamed frames share the folds of the named frames of their own entry, if any."""
    barred = np.zeros((len(frames), n_folds), bool)
    for index in range(n_folds):
        barred[:, index] = np.isin(frames.entry, named.entry[fold == index])
    return barred


_Part = tuple[NDArray[np.float32], NDArray[np.int64], NDArray[np.bool_], float, float]


def _weighed(parts: list[_Part], named: PoseSet) -> Poses:
    """Draw positions by a power of their frames, and sources by their share.

    The power 0.6 stands between the open set's own frequencies (a third of it is guard) and
    even ones, which a match is nearer to.
    """
    frequency = np.bincount(_position(named.state), minlength=len(STATES)).astype(float)
    frequency[_SCRAMBLE] = 12.0
    wanted = np.maximum(frequency, 12.0) ** 0.6
    weight = []
    for _, state, _, share, _ in parts:
        position = _position(state)
        count = np.bincount(position, minlength=len(STATES))
        weight.append(share / count[position])
    state = np.concatenate([part[1] for part in parts])
    flat = np.concatenate(weight)
    position = _position(state)
    total = np.bincount(position, weights=flat, minlength=len(STATES))
    return Poses(
        np.concatenate([part[0] for part in parts]).astype(np.float32),
        state,
        np.concatenate([part[2] for part in parts]),
        flat / total[position] * wanted[position],
        np.concatenate([np.full(len(part[1]), part[4]) for part in parts]),
    )


def _position(state: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.minimum(state, SWAPPED_STATES[state])


def draw_examples(
    poses: Poses,
    count: int,
    rng: np.random.Generator,
    rates: ErrorRates | None = None,
) -> Examples:
    """``count`` examples: poses drawn by weight, bent, filmed and estimated anew each time."""
    chosen = rng.choice(len(poses), count, p=poses.weight / poses.weight.sum())
    blocks = []
    for start in range(0, count, _CHUNK):
        rows = chosen[start : start + _CHUNK]
        bent = perturb(poses.joints_m[rows], rng, poses.bend[rows])
        blocks.append(features(*film(bent, rng, rates)))
    return Examples(
        np.concatenate(blocks), poses.state[chosen], poses.barred[chosen], np.zeros(count, np.int64)
    )


def film(
    joints_m: NDArray[np.float32], rng: np.random.Generator, rates: ErrorRates | None = None
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Keypoints and confidence of frames ``(n, 2, 23, 3)`` through a random camera each."""
    keypoints_m = body_keypoints_m(joints_m, rng)
    cameras = random_cameras(keypoints_m, rng)
    keypoints_px, depth_m = cameras.project(keypoints_m)
    px_per_m = (cameras.focal_px / depth_m.mean((1, 2))).astype(np.float32)
    behind = hidden(keypoints_px, depth_m, px_per_m)
    return estimate_badly(keypoints_px, behind, rng, rates)


def either_way(
    rows: NDArray[np.float32], state: NDArray[np.int64], rng: np.random.Generator
) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Half of the examples mirrored, half with the athletes exchanged, at random."""
    rows, state = rows.copy(), state.copy()
    mirror = rng.random(len(rows)) < 0.5
    rows[mirror] = rows[mirror][:, MIRROR] * MIRROR_SIGN
    swap = rng.random(len(rows)) < 0.5
    rows[swap] = rows[swap][:, SWAP]
    state[swap] = SWAPPED_STATES[state[swap]]
    return rows, state
