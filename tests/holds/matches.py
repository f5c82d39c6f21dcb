"""Invented matches: a continuous truth, sampled at any frame rate, with a classifier's errors."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from posescore.holds.hold import Hold
from posescore.position.probabilities import PositionProbabilities
from posescore.terms import STATES, Athlete, Position, Provenance, State

MADE = Provenance("test")
A, B = Athlete.A, Athlete.B

STORY = (
    (0.0, State(Position.STANDING)),
    (8.03, State(Position.SCRAMBLE)),
    (9.11, State(Position.CLOSED_GUARD, A)),
    (16.52, State(Position.OPEN_GUARD, A)),
    (19.87, State(Position.SIDE_CONTROL, A)),
    (27.43, State(Position.KNEE_ON_BELLY, A)),
    (33.79, State(Position.MOUNT, A)),
    (40.21, State(Position.BACK_CONTROL, A)),
)
STORY_END_S = 48.0


def steady(frames_per_s: float, end_s: float = STORY_END_S) -> NDArray[np.float64]:
    return np.arange(int(np.ceil(end_s * frames_per_s - 1e-9))) / frames_per_s


def story_at(time_s: float) -> int:
    state = next(state for start_s, state in reversed(STORY) if time_s >= start_s)
    return STATES.index(state)


def sampled(
    time_s: NDArray[np.float64],
    end_s: float = STORY_END_S,
    trust: float = 0.7,
    flicker: float = 0.0,
    seed: int = 0,
) -> PositionProbabilities:
    """Rows giving ``trust`` to the true state; a share of frames trusts a random one instead."""
    random = np.random.default_rng(seed)
    label = np.array([story_at(t) for t in time_s])
    wrong = random.random(len(label)) < flicker
    label[wrong] = random.integers(0, len(STATES), wrong.sum())
    row = np.full((len(label), len(STATES)), (1.0 - trust) / len(STATES))
    row[np.arange(len(label)), label] += trust
    return PositionProbabilities(row, np.asarray(time_s, dtype=np.float64), end_s, MADE)


def assert_tiles(holds: tuple[Hold, ...], end_s: float) -> None:
    assert holds[0].start_s == 0.0
    assert holds[-1].end_s == end_s
    for first, second in pairwise(holds):
        assert first.end_s == second.start_s
        assert first.state != second.state
    for hold in holds:
        assert hold.duration_s > 0.0
        assert 0.0 <= hold.confidence <= 1.0
