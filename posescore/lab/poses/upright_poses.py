"""Authored poses of athletes who are not tangled, and of one who lies on the back.

At the start and between exchanges the athletes stand or kneel apart, or one sits in open guard
out of reach; recorded sets of grappling hold little of that.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from posescore.lab.bodies.posed_body import (
    Frames,
    Range,
    Rng,
    Wanted,
    both_sides,
    build,
    choose,
    turned,
    unit,
    vectors,
)


def supine(rng: Rng, n: int, roll_deg: float = 25.0) -> Frames:
    """An athlete on the back, sometimes turned to a side: knees up or flat, arms anywhere."""
    roll = np.deg2rad(roll_deg) * rng.standard_normal(n)
    front = np.stack([np.sin(roll), np.zeros(n), np.cos(roll)], 1)
    feet, knees, hands, elbows = [], [], [], []
    for sign in (1.0, -1.0):
        bent = vectors(rng, n, (0.08, 0.35), (-0.6, -0.3), (0.06, 0.12))
        flat = vectors(rng, n, (0.05, 0.3), (-0.9, -0.75), (0.06, 0.1))
        raised = vectors(rng, n, (0.0, 0.3), (-0.6, -0.2), (0.25, 0.6))
        feet.append(choose(rng, n, (0.6, 0.25, 0.15), bent, flat, raised))
        knees.append(vectors(rng, n, (0.0, 0.7), -0.3, (0.6, 1.0)))
        framing = vectors(rng, n, (-0.1, 0.3), (0.2, 0.6), (0.35, 0.6))
        folded = vectors(rng, n, (-0.15, 0.15), (0.35, 0.6), (0.22, 0.32))
        wide = vectors(rng, n, (0.3, 0.65), (0.2, 0.7), (0.06, 0.2))
        overhead = vectors(rng, n, (0.0, 0.4), (0.8, 1.0), (0.06, 0.3))
        hands.append(choose(rng, n, (0.45, 0.25, 0.2, 0.1), framing, folded, wide, overhead))
        elbows.append(vectors(rng, n, (0.4, 0.7), (0.2, 0.6), (0.0, 0.3)))
        for part in (feet, knees, hands, elbows):
            part[-1][:, 0] *= sign
    return build(
        Wanted(
            pelvis=vectors(rng, n, (-0.02, 0.02), 0.0, (0.1, 0.14)),
            spine=vectors(rng, n, (-0.15, 0.15), 1.0, (-0.05, 0.15)),
            chest=front,
            pelvis_front=unit(front + vectors(rng, n, (-0.3, 0.3), 0, 0.3)),
            feet=(feet[0], feet[1]),
            knees=(knees[0], knees[1]),
            hands=(hands[0], hands[1]),
            elbows=(elbows[0], elbows[1]),
            toes=both_sides(vectors(rng, n, (0, 0.3), -1.0, (-0.2, 0.5)), rng),
            gaze=vectors(rng, n, (-0.5, 0.5), -0.2, (0.3, 1.0)),
        )
    )


def _upright(rng: Rng, n: int, pelvis_z: Range, kneeling: bool = False) -> Frames:
    """Standing or kneeling at the origin, facing +y, arms down, in guard, or reaching out."""
    lean = rng.uniform(-0.05, 0.8, n)[:, None]
    pelvis = vectors(rng, n, 0.0, 0.0, pelvis_z)
    feet, knees, hands = [], [], []
    for sign in (-1.0, 1.0):
        stance = vectors(rng, n, (0.08, 0.3), (-0.35, 0.35), (0.09, 0.13))
        on_knee = vectors(rng, n, (0.08, 0.25), (-0.5, -0.3), (0.07, 0.12))
        feet.append((on_knee if kneeling else stance) * [sign, 1, 1])
        knees.append(
            vectors(rng, n, 0.15 * sign, 0.3, -0.2)
            if kneeling
            else vectors(rng, n, (0.1, 0.4), 1.0, 0.5) * [sign, 1, 1]
        )
        down = pelvis + vectors(rng, n, (0.2, 0.35), (-0.05, 0.2), (-0.1, 0.1)) * [sign, 1, 1]
        out = pelvis + vectors(rng, n, (-0.05, 0.3), (0.35, 0.7), (0.15, 0.6)) * [sign, 1, 1]
        hands.append(choose(rng, n, (1, 3), down, out))
    ahead = np.array([0.0, 1.0, 0.0])
    return build(
        Wanted(
            pelvis=pelvis,
            spine=lean * ahead + [0, 0, 1],
            chest=ahead + vectors(rng, n, (-0.4, 0.4), 0, 0),
            pelvis_front=ahead + vectors(rng, n, (-0.4, 0.4), 0, 0),
            feet=(feet[0], feet[1]),
            knees=(knees[0], knees[1]),
            hands=(hands[0], hands[1]),
            elbows=both_sides(vectors(rng, n, (-0.6, -0.3), 0.0, 0.6), rng),
            toes=both_sides(vectors(rng, n, (-0.5, 0.1), -1.0 if kneeling else 1.0, -0.1), rng),
            gaze=vectors(rng, n, (-0.4, 0.4), 1.0, 0.0),
        )
    )


def _facing(rng: Rng, first: Frames, second: Frames, apart_m: NDArray[np.float64]) -> Frames:
    """Two athletes facing +y put opposite each other, some looking elsewhere."""
    n = len(first)
    swing = np.where(apart_m > 1.2, 0.7, 0.25) * rng.standard_normal(n)
    opposite = turned(second[:, None], "z", np.pi + swing)[:, 0]
    opposite[..., 1] += apart_m[:, None]
    return np.stack([first, opposite], 1)


def standing(rng: Rng, n: int) -> Frames:
    """On their feet, gripping to well apart, as at the start and between exchanges."""
    apart = np.exp(rng.uniform(np.log(0.45), np.log(4.0), n))
    pair = [_upright(rng, n, (0.68, 0.9)) for _ in range(2)]
    return _facing(rng, pair[0], pair[1], apart)


def both_on_knees(rng: Rng, n: int) -> Frames:
    """Facing each other on the knees: no named position, so a scramble."""
    pair = [_upright(rng, n, (0.35, 0.55), kneeling=True) for _ in range(2)]
    return _facing(rng, pair[0], pair[1], rng.uniform(0.5, 1.6, n))


def seated_guard(rng: Rng, n: int) -> Frames:
    """Open guard at a distance: one standing or kneeling, the other seated or on the back."""
    stand, kneel = _upright(rng, n, (0.55, 0.88)), _upright(rng, n, (0.35, 0.5), kneeling=True)
    upper = np.where((rng.random(n) < 0.7)[:, None, None], stand, kneel)
    lower = supine(rng, n, 12.0)  # on the back, head at +y: the legs point to the upper
    sit = rng.uniform(0, np.deg2rad(80), n) * (rng.random(n) < 0.7)
    seated = turned(lower[:, None], "x", sit)[:, 0]
    legs = lower.copy()
    seated[:, :8] = legs[:, :8]  # toes, heels, ankles and knees stay as they lie
    seated[..., 1] += rng.uniform(0.75, 1.7, n)[:, None].astype(np.float32)
    return np.stack([upper, seated], 1)
