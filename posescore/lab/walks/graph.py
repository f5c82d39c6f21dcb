"""The graph of the open pose set: positions, the moves between them, and where moves meet.

Entries of one frame are positions, entries of several are moves. Two ends meet where, turned,
mirrored or with the athletes exchanged, they are within :data:`MEETS_M` of each other. A move may
be walked backwards. Where the set is sparse, authored key poses stand beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import (
    PURGE_DISTANCE_M,
    PoseSet,
    alignment,
    load_pose_set,
    nearest_distance_m,
    split_entries,
    swapped_states,
)
from posescore.lab.poses.pose_variation import perturb
from posescore.lab.walks.authored import authored_keys
from posescore.lab.walks.edits import edited
from posescore.lab.walks.truth import ASKED, criteria_of, is_on_top
from posescore.terms import STATES, Athlete, Position

MEETS_M: Final = 0.033
"""Root mean square distance of joints under which ends meet: 3 cm in the mean."""
MOST_OF_ONE_ENTRY: Final = 3
"""Named frames that one entry gives to a position: moves within it are slow."""

LASTING_SEED: Final = 5
LASTING_DRAWS: Final = 6
LASTING_AMOUNT: Final = 0.45
"""How much of the spread of poses and builds an answer has to outlast to be counted on."""

Entries = Literal["train", "test", "all"]


@dataclass(frozen=True, slots=True, eq=False)
class Keys:
    """Key poses of one position.

    Parameters
    ----------
    joints_m
        ``(n, 2, 23, 3)`` float32, the upper athlete in slot 0 (standing: either).
    entry
        ``(n,)`` int64: of the open set, or negative where authored.
    place
        ``(n,)`` int64: node of the graph, -1 where it stands alone.
    turned
        ``(n, 2)`` bool: mirrored and exchanged against the node's own pose.
    criteria
        Answers of the questions asked in the position, as :mod:`posescore.lab.walks.truth`.
    """

    joints_m: NDArray[np.float32]
    entry: NDArray[np.int64]
    place: NDArray[np.int64]
    turned: NDArray[np.bool_]
    criteria: Mapping[str, NDArray[np.int8]]

    def __len__(self) -> int:
        return len(self.entry)


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """A move in one direction: frames, where it starts and ends, and how these lie to the nodes."""

    frames_m: NDArray[np.float32]
    entry: int
    state: int
    first: int
    first_turned: tuple[bool, bool]
    last: int
    last_turned: tuple[bool, bool]


@dataclass(frozen=True, slots=True, eq=False)
class Graph:
    """What a match is walked through.

    Parameters
    ----------
    keys
        Key poses by position.
    legs
        Moves out of each node.
    named
        State of each node with its own slots, -1 where the set names none.
    entries
        ``"train"``, ``"test"`` or ``"all"``.
    """

    keys: Mapping[Position, Keys]
    legs: Mapping[int, tuple[Leg, ...]]
    named: NDArray[np.int64]
    entries: Entries


@lru_cache(maxsize=3)
def load_graph(entries: Entries = "train") -> Graph:
    """The graph over training entries, held-back ones, or all of the open set.

    Key poses of ``"test"`` are at least ``PURGE_DISTANCE_M`` (five centimetres) from every training
    frame, whatever way the pair is turned; authored ones are split by key pose.

    Raises
    ------
    MissingPartError
        When the open pose set is absent.
    """
    whole = load_pose_set()
    train, test = split_entries(whole.entry, seed=0)
    chosen = {"train": train, "test": test, "all": train | test}[entries]
    poses = whole.take(chosen)
    ends, node, turned, named = _nodes(poses)
    held = _named_frames(poses)
    if entries == "test":
        apart = nearest_distance_m(poses.joints_m[held], whole.joints_m[train])
        held = held[apart >= PURGE_DISTANCE_M]
    where = {int(row): k for k, row in enumerate(ends)}
    return Graph(
        _keys(poses, held, where, node, turned, entries),
        _legs(poses, where, node, turned),
        named,
        entries,
    )


def _spans(entry: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    first = np.flatnonzero(np.r_[True, np.diff(entry) != 0])
    return first, np.r_[first[1:], len(entry)] - 1


def _nodes(
    poses: PoseSet,
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_], NDArray[np.int64]]:
    """Rows of all ends, the node of each, how it lies to it, and the state of every node."""
    first, last = _spans(poses.entry)
    ends = np.unique(np.r_[first, last])
    near = alignment(poses.joints_m[ends], poses.joints_m[ends])
    node = np.full(len(ends), -1, np.int64)
    turned = np.zeros((len(ends), 2), np.bool_)
    order = np.argsort(poses.state[ends] < 0, kind="stable")  # named ones lead
    leaders: list[int] = []
    for k in order:
        if node[k] >= 0:
            continue
        close = (near.rms_m[k] < MEETS_M) & (node < 0)
        node[close] = len(leaders)
        turned[close] = np.stack([near.is_mirrored[k], near.swapped[k]], 1)[close]
        node[k], turned[k] = len(leaders), False
        leaders.append(int(k))
    return ends, node, turned, poses.state[ends[leaders]]


def _named_frames(poses: PoseSet) -> NDArray[np.int64]:
    """Rows of named frames, a few of every entry."""
    first, last = _spans(poses.entry)
    rows = [
        np.unique(np.linspace(a, b, min(MOST_OF_ONE_ENTRY, b - a + 1)).round().astype(np.int64))
        for a, b in zip(first, last, strict=True)
        if poses.state[a] >= 0
    ]
    return np.concatenate(rows)


def _keys(
    poses: PoseSet,
    held: NDArray[np.int64],
    where: Mapping[int, int],
    node: NDArray[np.int64],
    turned: NDArray[np.bool_],
    entries: Entries,
) -> Mapping[Position, Keys]:
    authored = authored_keys(entries)
    keys = {}
    for position in Position:
        rows = [r for r in held if STATES[poses.state[r]].position is position]
        frames, entry, place, lies = [], [], [], []
        for row in rows:
            swap = STATES[poses.state[row]].upper is Athlete.B
            frames.append(poses.joints_m[row, ::-1] if swap else poses.joints_m[row])
            entry.append(int(poses.entry[row]))
            end = where.get(int(row))
            place.append(-1 if end is None else int(node[end]))
            at = (False, False) if end is None else tuple(turned[end])
            lies.append((at[0], at[1] ^ swap))
        more = authored.get(position)
        if more is not None:
            frames += list(more[0])
            entry += [int(e) for e in more[1]]
            place += [-1] * len(more[0])
            lies += [(False, False)] * len(more[0])
        if not frames:
            continue
        found = _with_edits(position, np.array(frames, np.float32), entry, place, lies)
        keys[position] = _clear(found, position)
    return keys


def _with_edits(
    position: Position,
    frames_m: NDArray[np.float32],
    entry: list[int],
    place: list[int],
    lies: list[tuple[bool, bool]],
) -> Keys:
    """Key poses and what edits make of them (of the same entry, at no node), with answers."""
    changed = edited(frames_m, position, LASTING_SEED)
    joints_m = np.concatenate([frames_m, changed])
    times = 1 + len(changed) // len(frames_m)
    asked = any(position in p for p in ASKED.values())
    return Keys(
        joints_m,
        np.array(entry * times),
        np.array(place + [-1] * len(changed)),
        np.array(lies + [(False, False)] * len(changed), np.bool_),
        _lasting(joints_m, position) if asked else {},
    )


def _lasting(joints_m: NDArray[np.float32], position: Position) -> Mapping[str, NDArray[np.int8]]:
    """Answers that last where other builds take the pose and struggle in it; others are unclear."""
    rng = np.random.default_rng(LASTING_SEED)
    answers = criteria_of(joints_m, position)
    for _ in range(LASTING_DRAWS):
        again = criteria_of(perturb(joints_m, rng, LASTING_AMOUNT), position)
        answers = {k: np.where(a == again[k], a, -1).astype(np.int8) for k, a in answers.items()}
    return answers


def _clear(keys: Keys, position: Position) -> Keys:
    """Without poses whose geometry speaks against their name, or is unclear of it."""
    if position is Position.OPEN_GUARD:
        rows = is_on_top(*keys.joints_m.astype(np.float64).swapaxes(0, 1))
    elif "leg_trapped" in keys.criteria:
        rows = keys.criteria["leg_trapped"] == (position is Position.HALF_GUARD)
    else:
        return keys
    return Keys(
        keys.joints_m[rows],
        keys.entry[rows],
        keys.place[rows],
        keys.turned[rows],
        {name: answer[rows] for name, answer in keys.criteria.items()},
    )


def _legs(
    poses: PoseSet, where: Mapping[int, int], node: NDArray[np.int64], turned: NDArray[np.bool_]
) -> Mapping[int, tuple[Leg, ...]]:
    legs: dict[int, list[Leg]] = {}
    for a, b in zip(*_spans(poses.entry), strict=True):
        if a == b:
            continue
        ends = []
        for row in (int(a), int(b)):
            end = where[row]
            ends.append((int(node[end]), (bool(turned[end, 0]), bool(turned[end, 1]))))
        frames, state = poses.joints_m[a : b + 1], int(poses.state[a])
        entry = int(poses.entry[a])
        (first, t0), (last, t1) = ends
        legs.setdefault(first, []).append(Leg(frames, entry, state, first, t0, last, t1))
        legs.setdefault(last, []).append(Leg(frames[::-1], entry, state, last, t1, first, t0))
    return {key: tuple(value) for key, value in legs.items()}


def state_in(state: int, swapped: bool) -> int:
    """A state, or the same with A and B exchanged; -1 stays."""
    return state if state < 0 or not swapped else int(swapped_states()[state])
