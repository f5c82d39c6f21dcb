"""Authored half guards: knee shield, deep, reverse, and flat with the legs crossed over a shin.

The lower athlete lies along +y with the head at +y; a pair is ``(n, 2, 23, 3)`` with the upper
athlete in slot 0. What each looks like is common practice of the sport; whether a leg really is
between the opponent's is for the geometry to say (:mod:`posescore.lab.walks.truth`).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from posescore.lab.bodies.posed_body import (
    Frames,
    Rng,
    Vectors,
    Wanted,
    both_sides,
    build,
    choose,
    vectors,
)


def _lower(rng: Rng, n: int, roll_deg: tuple[float, float], legs: tuple[Vectors, ...]) -> Frames:
    """One on the back, rolled by an angle (positive: chest towards +x); ankles, then knees."""
    roll = np.deg2rad(rng.uniform(*roll_deg, n))
    front = np.stack([np.sin(roll), np.zeros(n), np.cos(roll)], 1)
    frame = vectors(rng, n, (-0.1, 0.3), (0.25, 0.6), (0.3, 0.55))
    hug = vectors(rng, n, (-0.1, 0.2), (0.0, 0.35), (0.3, 0.5))
    return build(
        Wanted(
            pelvis=vectors(rng, n, (-0.02, 0.02), 0.0, (0.11, 0.15)),
            spine=vectors(rng, n, (-0.2, 0.2), 1.0, (-0.02, 0.2)),
            chest=front,
            pelvis_front=front + vectors(rng, n, (-0.2, 0.2), 0.0, 0.2),
            feet=(legs[0], legs[1]),
            knees=(legs[2], legs[3]),
            hands=both_sides(choose(rng, n, (1, 1), frame, hug), rng, 0.08),
            elbows=both_sides(vectors(rng, n, (0.4, 0.6), 0.3, 0.1), rng),
            toes=both_sides(vectors(rng, n, (0.0, 0.3), -1.0, (-0.2, 0.4)), rng),
            gaze=vectors(rng, n, (-0.4, 0.4), -0.3, 0.8),
        )
    )


def _kneeling(
    rng: Rng, n: int, pelvis: Vectors, lean_deg: tuple[float, float], feet: tuple[Vectors, Vectors],
    knees: tuple[Vectors, Vectors], ahead: float = 1.0,
) -> Frames:  # fmt: skip
    """An upper athlete who faces +y (or -y) and leans over; left then right."""
    lean = np.deg2rad(rng.uniform(*lean_deg, n))
    side = rng.uniform(-0.2, 0.2, n)
    spine = np.stack([side, ahead * np.sin(lean), np.cos(lean) + 0.05], 1)
    front = np.stack([side, ahead * np.cos(lean), -np.sin(lean)], 1)
    reach = pelvis + np.array([0.0, ahead, 0.0]) * rng.uniform(0.35, 0.7, (n, 1))
    hands = []
    for sign in (-ahead, ahead):
        body = reach + vectors(rng, n, (0.0, 0.2), (-0.1, 0.1), (-0.15, 0.05)) * [sign, 1, 1]
        mat = reach * [1, 1, 0] + vectors(rng, n, (0.2, 0.45), (-0.1, 0.2), 0.07) * [sign, 1, 1]
        hands.append(choose(rng, n, (2, 1), body, mat))
    out = np.array([0.6 * ahead, 0.2 * ahead, 0.1])
    return build(
        Wanted(
            pelvis=pelvis,
            spine=spine,
            chest=front,
            pelvis_front=front,
            feet=feet,
            knees=knees,
            hands=(hands[0], hands[1]),
            elbows=(pelvis + out * [-1, 1, 1], pelvis + out),
            toes=both_sides(vectors(rng, n, (-0.2, 0.2), -ahead, -0.2), rng),
            gaze=front,
        )
    )


def flat(rng: Rng, n: int) -> Frames:
    """Chest on chest, the left shin of the upper one held between both legs of the lower one."""
    pelvis = vectors(rng, n, (-0.1, 0.1), (-0.3, 0.05), (0.24, 0.36))
    knee = vectors(rng, n, (-0.08, 0.06), (-0.32, -0.12), 0.07)
    held = knee + vectors(rng, n, (-0.06, 0.06), (-0.42, -0.38), 0.03)
    free_knee = vectors(rng, n, (0.26, 0.42), (-0.25, 0.15), 0.07)
    free = free_knee + vectors(rng, n, (-0.1, 0.1), (-0.42, -0.3), 0.03)
    upper = _kneeling(rng, n, pelvis, (40, 90), (held, free), (knee, free_knee))
    over = held + vectors(rng, n, (-0.1, 0.02), (0.02, 0.16), (0.08, 0.16))
    inside = held + vectors(rng, n, (0.1, 0.2), (0.0, 0.14), (0.04, 0.12))
    legs = (inside, over, vectors(rng, n, (0.3, 0.45), -0.35, (0.3, 0.5)),
            vectors(rng, n, (-0.5, -0.35), -0.35, (0.2, 0.45)))  # fmt: skip
    return np.stack([upper, _lower(rng, n, (-25, 45), legs)], 1)


def knee_shield(rng: Rng, n: int) -> Frames:
    """On a side, the top knee across the upper one's belly, the bottom leg hooked behind a knee."""
    pelvis = vectors(rng, n, (-0.1, 0.15), (-0.72, -0.5), (0.36, 0.52))
    knee = pelvis * [1, 1, 0] + vectors(rng, n, (-0.12, 0.0), (0.05, 0.25), 0.07)
    held = knee + vectors(rng, n, (-0.08, 0.05), (-0.42, -0.36), 0.03)
    free_knee = pelvis * [1, 1, 0] + vectors(rng, n, (0.25, 0.4), (0.0, 0.3), 0.07)
    free = free_knee + vectors(rng, n, (-0.1, 0.1), (-0.42, -0.34), 0.03)
    upper = _kneeling(rng, n, pelvis, (15, 65), (held, free), (knee, free_knee))
    shield_knee = pelvis + vectors(rng, n, (-0.15, 0.1), (0.14, 0.24), (0.0, 0.2))
    shield = pelvis + vectors(rng, n, (0.22, 0.4), (0.05, 0.2), (-0.15, 0.0))
    hook = (knee + held) / 2 + vectors(rng, n, (-0.06, 0.06), (-0.12, 0.05), (0.04, 0.12))
    legs = (shield, hook, shield_knee, vectors(rng, n, (-0.6, -0.4), -0.4, (0.08, 0.2)))
    return np.stack([upper, _lower(rng, n, (-10, 60), legs)], 1)


def deep(rng: Rng, n: int) -> Frames:
    """Underneath the upper one's hips, one of whose legs is held from both sides at the thigh."""
    pelvis = vectors(rng, n, (-0.1, 0.1), (-0.05, 0.2), (0.36, 0.55))
    knee = vectors(rng, n, (-0.1, 0.05), (-0.4, -0.2), (0.08, 0.2))
    held = knee + vectors(rng, n, (-0.05, 0.1), (-0.4, -0.3), (-0.02, 0.05))
    far = vectors(rng, n, (0.35, 0.55), (0.05, 0.45), 0.1)
    far_knee = far + vectors(rng, n, (-0.1, 0.1), (-0.1, 0.2), (0.2, 0.5))
    upper = _kneeling(rng, n, pelvis, (20, 80), (held, far), (knee, far_knee))
    inside = knee + vectors(rng, n, (0.08, 0.2), (-0.1, 0.1), (0.1, 0.25))
    over = knee + vectors(rng, n, (-0.15, 0.02), (-0.15, 0.05), (0.14, 0.28))
    legs = (inside, over, vectors(rng, n, (0.25, 0.45), -0.2, (0.35, 0.5)),
            vectors(rng, n, (-0.45, -0.25), -0.25, (0.35, 0.5)))  # fmt: skip
    return np.stack([upper, _lower(rng, n, (-20, 40), legs)], 1)


def reverse(rng: Rng, n: int) -> Frames:
    """Sitting on the belly or hip with the back to the head, one shin still held."""
    pelvis = vectors(rng, n, (0.02, 0.22), (0.05, 0.3), (0.26, 0.36))
    knee = vectors(rng, n, (-0.08, 0.08), (-0.38, -0.2), (0.08, 0.25))
    held = knee + vectors(rng, n, (-0.06, 0.06), (-0.42, -0.34), (-0.1, 0.0))
    held[:, 2] = np.maximum(held[:, 2], 0.07)
    free = vectors(rng, n, (0.4, 0.6), (-0.3, 0.1), 0.1)
    free_knee = free + vectors(rng, n, (-0.1, 0.05), (0.0, 0.2), (0.15, 0.5))
    upper = _kneeling(rng, n, pelvis, (0, 60), (free, held), (free_knee, knee), ahead=-1.0)
    inside = held + vectors(rng, n, (0.1, 0.2), (0.02, 0.2), (0.04, 0.14))
    over = held + vectors(rng, n, (-0.12, 0.0), (0.04, 0.2), (0.09, 0.18))
    legs = (inside, over, vectors(rng, n, (0.3, 0.45), -0.35, (0.3, 0.5)),
            vectors(rng, n, (-0.5, -0.3), -0.35, (0.3, 0.5)))  # fmt: skip
    return np.stack([upper, _lower(rng, n, (-20, 40), legs)], 1)


HALF_GUARDS: Final[tuple[Callable[[Rng, int], Frames], ...]] = (flat, knee_shield, deep, reverse)
