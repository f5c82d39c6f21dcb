"""Pictures one by one: a position for each, ready to be written as JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.position.classifier import PositionClassifier
from posescore.terms import STATES, Athlete, Position

GROUPS: Final[dict[str, tuple[Position, ...]]] = {
    "guard": (Position.CLOSED_GUARD, Position.OPEN_GUARD),
    "half guard": (Position.HALF_GUARD,),
    "side control": (Position.SIDE_CONTROL, Position.NORTH_SOUTH),
    "mount": (Position.MOUNT,),
    "knee-on-belly": (Position.KNEE_ON_BELLY,),
    "back": (Position.BACK_CONTROL, Position.BACK_MOUNT),
    "standing": (Position.STANDING,),
    "turtle": (Position.TURTLE,),
    "scramble": (Position.SCRAMBLE,),
}
"""Positions as the trade groups them."""

BY_POSITION: dict[Position, list[int]] = {
    position: [i for i, state in enumerate(STATES) if state.position is position]
    for position in Position
}
"""States of each position."""


def classify_pictures(
    keypoints_px: NDArray[np.float32],
    confidence: NDArray[np.float32],
    frames: Sequence[str | int],
    time_s: Sequence[float | None],
    classifier: PositionClassifier | None = None,
) -> Iterator[dict[str, object]]:
    """One answer a picture, each judged alone, in the order given.

    Parameters
    ----------
    keypoints_px, confidence
        ``(n, 2, 17 or 21, 2)`` and ``(n, 2, 17 or 21)``; slot 0 is A. Missing is NaN, also the
        whole athlete where a picture shows one or none: the answer is then as uncertain as
        what is left allows.
    frames, time_s
        What names the picture, and its time or None.

    Yields
    ------
    dict
        ``frame``, ``time_s``, ``position``, ``upper`` (``"A"``, ``"B"`` or None) and
        ``probabilities`` (every position to a number; they sum to 1).
    """
    judge = classifier or PositionClassifier.load()
    rows = np.empty((len(keypoints_px), len(STATES)))
    of_estimator = found_by_an_estimator(confidence)
    for of_pass in (False, True):
        part = of_estimator == of_pass
        rows[part] = judge.of_keypoints(keypoints_px[part], confidence[part], of_pass=of_pass)
    for frame, at_s, row in zip(frames, time_s, rows, strict=True):
        yield answer(frame, at_s, row)


def found_by_an_estimator(confidence: NDArray[np.float32]) -> NDArray[np.bool_]:
    """``(n,)``: pictures whose keypoints have a confidence of their own.

    A mark by hand is worth one of two numbers: 1, or 0.8 where it is said to be hidden
    (:func:`posescore.pose.coco.read_coco`).
    """
    known = np.isfinite(confidence)
    by_hand = np.isclose(confidence, 1.0) | np.isclose(confidence, 0.8)
    return np.asarray((known & ~by_hand).any(axis=(1, 2)))


def answer(
    frame: str | int, time_s: float | None, probability: NDArray[np.float64]
) -> dict[str, object]:
    """The answer for one row ``(n_states,)`` of probabilities.

    Positions that the trade speaks of as one (see :data:`GROUPS`) are weighed together first:
    two guards that share a picture's probability must not lose to a third position. Then comes
    the likelier position of the likeliest group, then the likelier side of it.
    """
    by_position = {p: float(probability[index].sum()) for p, index in BY_POSITION.items()}
    group = max(GROUPS.values(), key=lambda g: sum(by_position[p] for p in g))
    position = max(group, key=lambda p: by_position[p])
    upper = None
    if position.has_upper:
        a, b = probability[BY_POSITION[position]]
        upper = Athlete.A if a >= b else Athlete.B
    return {
        "frame": frame,
        "time_s": time_s,
        "position": str(position),
        "upper": None if upper is None else str(upper),
        "probabilities": {str(p): value for p, value in by_position.items()},
    }
