"""What the classifier learns from: ways from one pose to another, and who must not learn them.

A pose to learn from lies somewhere on the way between two frames; a frame alone is a way of no
length. Ways lead between frames of one name, from each frame of a move to the next, and between any
two frames that lie close, of whatever name. Where the open set gives both ends no common name, a
judge of poses in 3D names what is drawn (:mod:`posescore.lab.train.positions.judges`).

Named frames belong to the fold of their entry. A way is barred from every fold that one of its
frames belongs to, that holds named frames of the entry of one of its frames, or that holds a named
frame within 5 cm of its beginning, middle or end. Authored poses are barred from none.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from sklearn.model_selection import StratifiedGroupKFold

from posescore.evaluation.poses3d.pose_set import (
    PURGE_DISTANCE_M,
    Alignment,
    PoseSet,
    alignment,
    mirrored,
    nearest_distance_m,
    swapped_states,
)
from posescore.lab.poses.pose_variation import mix
from posescore.lab.poses.rare_poses import authored_poses
from posescore.lab.poses.top_poses import authored_top_poses
from posescore.terms import STATES, Position, State

SWAPPED_STATES: Final = swapped_states()
SCRAMBLE: Final = STATES.index(State(Position.SCRAMBLE))
FAR_M: Final = 0.28
"""Root mean square distance from every named frame beyond which one frame in five bears another
name than its nearest named neighbour."""


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """Frames, and ways between them.

    Parameters
    ----------
    frames_m
        ``(m, 2, 23, 3)`` float32.
    name, fold
        ``(m,)`` int64: state of each frame, -1 where it has none, and its fold, -1 where it
        belongs to none (unnamed and authored frames).
    first, second
        ``(n,)`` int64: frames at both ends of a way.
    turn, mirrored, swapped
        ``(n,)`` what brings the second frame closest to the first: complex of size 1, and masks.
    state
        ``(n,)`` int64, -1 where a judge names what is drawn.
    between
        ``(n,)`` bool: the middle of a move, far from everything named: scramble unless a judge
        is sure of more.
    barred
        ``(n, n_folds)`` bool.
    source
        ``(n,)`` int64: 0 named frames, 1 blends, 2 moves, 3 bridges, 4 authored poses.
    share
        ``(n,)`` how much of all drawing the way's source gets.
    bend
        ``(n,)`` how much of the spread of :func:`~posescore.lab.poses.pose_variation.perturb`
        is used.
    """

    frames_m: NDArray[np.float32]
    name: NDArray[np.int64]
    fold: NDArray[np.int64]
    first: NDArray[np.int64]
    second: NDArray[np.int64]
    turn: NDArray[np.complex64]
    mirrored: NDArray[np.bool_]
    swapped: NDArray[np.bool_]
    state: NDArray[np.int64]
    between: NDArray[np.bool_]
    barred: NDArray[np.bool_]
    source: NDArray[np.int64]
    share: NDArray[np.float64]
    bend: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.first)

    @property
    def n_folds(self) -> int:
        """Into how many folds named entries are spread."""
        return int(self.barred.shape[1])

    def save(self, path: Path) -> None:
        """Keep it as plain arrays (``.npz``), frames to the millimetre."""
        parts = {f.name: getattr(self, f.name) for f in fields(self)}
        parts["frames_m"] = parts["frames_m"].astype(np.float16)
        np.savez_compressed(path, **parts)

    @classmethod
    def load(cls, path: Path) -> Material:
        """What :meth:`save` kept."""
        with np.load(path, allow_pickle=False) as data:
            parts = {f.name: data[f.name] for f in fields(cls)}
        parts["frames_m"] = parts["frames_m"].astype(np.float32)
        return cls(**parts)


def folds_of(named: PoseSet, n_folds: int) -> NDArray[np.int64]:
    """Fold of every named frame, ``(n,)``: entries are never divided, positions spread evenly."""
    position = np.minimum(named.state, SWAPPED_STATES[named.state])
    fold = np.zeros(len(named), np.int64)
    splitter = StratifiedGroupKFold(n_folds, shuffle=True, random_state=0)
    with warnings.catch_warnings():
        # North-south has four named frames: fewer than folds, which is only worth a warning.
        warnings.filterwarnings("ignore", message="The least populated class")
        for index, (_, test) in enumerate(splitter.split(position, position, named.entry)):
            fold[test] = index
    return fold


@dataclass(frozen=True, slots=True)
class Amounts:
    """How many ways of each kind, and their shares of drawing."""

    blends: int = 12_000
    """Between frames of one name within 35 cm of each other."""
    bridges: int = 24_000
    """Between any frames within 40 cm of each other, near ones more often."""
    authored: int = 2500
    """Poses by every author."""
    shares: tuple[float, float, float, float, float] = (4.0, 4.0, 2.0, 3.0, 1.5)
    """Of named frames, blends, moves, bridges and authored poses."""


_Ways = dict[str, Any]


def material_of(
    pose_set: PoseSet,
    n_folds: int,
    rng: np.random.Generator,
    amounts: Amounts | None = None,
) -> Material:
    """Everything that networks may learn from."""
    plan = amounts or Amounts()
    named = np.flatnonzero(pose_set.state >= 0)
    fold = np.full(len(pose_set), -1, np.int64)
    fold[named] = folds_of(pose_set.take(named), n_folds)
    near = alignment(pose_set.joints_m, pose_set.joints_m)
    alone = _way(named, named, pose_set.state[named])
    kinds = [
        alone,
        _blends(pose_set, near, rng, plan.blends),
        _moves(pose_set, near, named),
        _bridges(pose_set, near, rng, plan.bridges),
    ]
    for ways in kinds:
        ways["barred"] = _barred(pose_set, fold, ways, n_folds)
    authored = [author(rng, plan.authored) for author in (authored_poses, authored_top_poses)]
    states = np.concatenate([each.state for each in authored])
    rows = len(pose_set) + np.arange(len(states))
    last = _way(rows, rows, states)
    last["barred"] = np.zeros((len(rows), n_folds), bool)
    kinds.append(last)
    for source, ways in enumerate(kinds):
        count = len(ways["first"])
        ways["source"] = np.full(count, source)
        ways["share"] = np.full(count, plan.shares[source])
        ways["bend"] = np.full(count, 0.4 if ways is last else 0.5)
    return Material(
        frames_m=np.concatenate([pose_set.joints_m, *(each.joints_m for each in authored)]),
        name=np.concatenate([pose_set.state, states]),
        fold=np.concatenate([fold, np.full(len(states), -1, np.int64)]),
        **{key: np.concatenate([ways[key] for ways in kinds]) for key in last},
    )


def _way(
    first: NDArray[np.int64],
    second: NDArray[np.int64],
    state: NDArray[np.int64],
    near: Alignment | None = None,
    between: NDArray[np.bool_] | None = None,
) -> _Ways:
    count = len(first)
    no = np.zeros(count, bool)
    at = None if near is None else (first, second)
    return {
        "first": first,
        "second": second,
        "state": state.astype(np.int64),
        "turn": np.ones(count, np.complex64) if at is None or near is None else near.turn[at],
        "mirrored": no if at is None or near is None else near.is_mirrored[at],
        "swapped": no if at is None or near is None else near.swapped[at],
        "between": no if between is None else between,
    }


def _blends(
    pose_set: PoseSet,
    near: Alignment,
    rng: np.random.Generator,
    count: int,
    farthest_m: float = 0.35,
) -> _Ways:
    """Between frames of one name: what lies between two of them that close still bears it.

    States are drawn by the root of their number, so that rare ones are blended often.
    """
    state = pose_set.state
    there = np.where(near.swapped, SWAPPED_STATES[state], state[None])
    same = (there == state[:, None]) & (state >= 0)[:, None] & (state >= 0)[None]
    first, second = np.nonzero(same & (near.rms_m < farthest_m) & (near.rms_m > 0.02))
    weight = 1.0 / np.bincount(state[first], minlength=len(STATES))[state[first]] ** 0.5
    pick = rng.choice(len(first), min(count, len(first)), False, weight / weight.sum())
    first, second = first[pick], second[pick]
    return _way(first, second, state[first], near)


def _moves(pose_set: PoseSet, near: Alignment, named: NDArray[np.int64]) -> _Ways:
    """From each frame of an entry to the next; the middle of moves may be scramble."""
    entry = pose_set.entry
    first = np.flatnonzero(entry[1:] == entry[:-1])
    second = first + 1
    # Frames of one entry lie as they follow each other: nothing is turned.
    state = np.where(pose_set.state[first] == pose_set.state[second], pose_set.state[first], -1)
    far = near.rms_m[:, named].min(1) > FAR_M
    return _way(first, second, state, between=far[first] & far[second] & (state < 0))


def _bridges(pose_set: PoseSet, near: Alignment, rng: np.random.Generator, count: int) -> _Ways:
    """Between any two frames that lie close, of one entry or of two."""
    first, second = np.nonzero((near.rms_m > 0.04) & (near.rms_m < 0.40))
    weight = 1.0 / near.rms_m[first, second] ** 4
    pick = rng.choice(len(first), min(count, len(first)), False, weight / weight.sum())
    first, second = first[pick], second[pick]
    return _way(first, second, np.full(len(first), -1), near)


def _barred(
    pose_set: PoseSet, fold: NDArray[np.int64], ways: _Ways, n_folds: int
) -> NDArray[np.bool_]:
    first, second = ways["first"], ways["second"]
    barred = np.zeros((len(first), n_folds), bool)
    ends = pose_set.joints_m[first], aligned(pose_set.joints_m, ways)
    for index in range(n_folds):
        held = pose_set.take(fold == index)
        of_entry = np.isin(pose_set.entry, held.entry)
        barred[:, index] = of_entry[first] | of_entry[second]
        for part in (0.0, 0.5, 1.0):
            # Distances to named frames as they are belong to what is measured: these may be near.
            new = first != second if part == 0.5 else ways["state"] < 0
            rows = np.flatnonzero(~barred[:, index] & new)
            frames = mix(ends[0][rows], ends[1][rows], np.full(len(rows), part))
            if len(rows):
                near = nearest_distance_m(frames, held.joints_m) < PURGE_DISTANCE_M
                barred[rows[near], index] = True
    return barred


def ends_of(material: Material) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Both ends of every way, ``(n, 2, 23, 3)``, the second brought onto the first."""
    ways = {
        name: getattr(material, name) for name in ("first", "second", "turn", "mirrored", "swapped")
    }
    return material.frames_m[material.first], aligned(material.frames_m, ways)


def aligned(frames_m: NDArray[np.float32], ways: _Ways) -> NDArray[np.float32]:
    """The second frame of every way brought onto its first, ``(n, 2, 23, 3)``."""
    second = frames_m[ways["second"]]
    second = np.where(ways["mirrored"][:, None, None, None], mirrored(second), second)
    second = np.where(ways["swapped"][:, None, None, None], second[:, ::-1], second)
    turned = ways["turn"] != 1  # a way of no length, and a move, stays where it is
    home = frames_m[ways["first"]][..., :2].mean((1, 2))
    flat = second[..., 0] + 1j * second[..., 1]
    flat = (flat - flat.mean((1, 2), keepdims=True)) * ways["turn"][:, None, None]
    out = second.copy()
    out[..., 0] = flat.real + home[:, None, None, 0]
    out[..., 1] = flat.imag + home[:, None, None, 1]
    return np.where(turned[:, None, None, None], out, second)
