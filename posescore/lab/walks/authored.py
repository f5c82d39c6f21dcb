"""Authored key poses beside those of the open set, split into training and test by key pose.

Each position has a bank of key poses drawn once with a fixed seed. Every fourth is held back, and
held-back ones within ``PURGE_DISTANCE_M`` (:mod:`posescore.evaluation.poses3d.pose_set`) of a
training one are dropped. Those whose geometry speaks against the published criterion are dropped by
the graph.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import PURGE_DISTANCE_M, nearest_distance_m
from posescore.lab.bodies.posed_body import Frames, Rng
from posescore.lab.poses.pose_variation import FLOOR_M, on_floor
from posescore.lab.poses.rare_poses import AUTHORED
from posescore.lab.poses.top_poses import AUTHORS
from posescore.lab.walks.half_guards import HALF_GUARDS
from posescore.terms import Position

BANK_SEED: Final = 11
HELD_BACK: Final = 4
_EACH: Final[Mapping[Position, int]] = {
    Position.KNEE_ON_BELLY: 400,
    Position.MOUNT: 500,
    Position.BACK_MOUNT: 240,
    Position.BACK_CONTROL: 300,
    Position.NORTH_SOUTH: 60,
    Position.TURTLE: 120,
    Position.STANDING: 120,
    Position.OPEN_GUARD: 40,
    Position.SIDE_CONTROL: 100,
    Position.HALF_GUARD: 200,
}

_MORE: Final = {Position.HALF_GUARD: HALF_GUARDS}

Bank = Mapping[Position, tuple[NDArray[np.float32], NDArray[np.int64]]]


def _authors(position: Position) -> list[Callable[[Rng, int], Frames]]:
    top = [AUTHORS[position]] if position in AUTHORS else []
    return [*AUTHORED.get(position, ()), *top, *_MORE.get(position, ())]


@lru_cache(maxsize=3)
def authored_keys(entries: str) -> Bank:
    """Frames ``(n, 2, 23, 3)`` (upper athlete first) and negative entries of each position."""
    bank = {}
    for order, (position, each) in enumerate(_EACH.items()):
        rng = np.random.default_rng((BANK_SEED, order))
        authors = _authors(position)
        frames = np.concatenate([author(rng, each) for author in authors])
        frames[..., 2] = np.maximum(frames[..., 2], FLOOR_M)
        frames = on_floor(frames)
        entry = -1 - 1000 * order - np.arange(len(frames))
        held = np.arange(len(frames)) % HELD_BACK == 0
        if entries == "train":
            frames, entry = frames[~held], entry[~held]
        elif entries == "test":
            apart = nearest_distance_m(frames[held], frames[~held])
            novel = apart >= PURGE_DISTANCE_M
            frames, entry = frames[held][novel], entry[held][novel]
        bank[position] = (frames.astype(np.float32), entry)
    return bank
