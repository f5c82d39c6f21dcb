"""Authored poses of an athlete who sits astride another: mount and back mount.

As :mod:`posescore.lab.poses.rare_poses` draws them: the lower athlete lies along +y with the head
at +y, z is up, distances are metres, the upper athlete is in slot 0.
"""

from __future__ import annotations

import numpy as np

from posescore.lab.bodies.posed_body import (
    Frames,
    Range,
    Rng,
    Vectors,
    Wanted,
    both_sides,
    build,
    choose,
    vectors,
)
from posescore.lab.poses.upright_poses import supine


def _side_astride(
    rng: Rng, n: int, pelvis: Vectors, sign: float, slid: Vectors, hooks: float
) -> tuple[Vectors, Vectors, Vectors]:
    """Knee, foot and hand of one side of an athlete astride, each ``(n, 3)``."""
    outwards = [sign, 1, 1]
    flat = pelvis * [0.3, 1.0, 0.0]
    reach = vectors(rng, n, (0.22, 0.4), (0.02, 0.38), (0.05, 0.08)) * outwards
    knee = flat + np.stack([np.zeros(n), slid, np.zeros(n)], 1) + reach
    back = knee + vectors(rng, n, (-0.18, 0.02), (-0.43, -0.36), (0.0, 0.06)) * outwards
    hooked = flat + vectors(rng, n, (0.05, 0.2), (-0.5, -0.3), (0.1, 0.28)) * outwards
    foot_up = flat + vectors(rng, n, (0.3, 0.5), (0.0, 0.25), (0.07, 0.1)) * outwards
    pick = rng.choice(3, n, p=(0.85 - hooks, hooks, 0.15))[:, None]
    foot = np.select([pick == 0, pick == 1], [back, hooked], foot_up)
    knee = np.where(pick == 2, foot_up + np.array([0.1 * sign, 0.1, 0.5]), knee)
    chest = vectors(rng, n, (0.0, 0.2), (0.4, 0.6), (0.25, 0.35))
    mat = vectors(rng, n, (0.2, 0.5), (0.6, 1.0), (0.06, 0.1))
    hug = vectors(rng, n, (-0.1, 0.15), (0.55, 0.8), (0.1, 0.25))
    free = pelvis + vectors(rng, n, (0.1, 0.4), (0.1, 0.4), (0.1, 0.5))
    return knee, foot, choose(rng, n, (3, 3, 2, 1), chest, mat, hug, free) * outwards


def _astride(rng: Rng, n: int, pelvis_z: Range, hooks: float) -> Frames:
    """Kneeling astride what lies along +y: upright to flat, feet beside or hooked inside.

    From low on the hips to high under the arms; in two of five the hips have slid to one side,
    one knee up at the opponent's shoulder or a foot posted.
    """
    aside = np.where(rng.random(n) < 0.4, rng.choice([-1.0, 1.0], n) * rng.uniform(0.1, 0.3, n), 0)
    pelvis = vectors(rng, n, (-0.06, 0.06), (-0.15, 0.5), pelvis_z)
    pelvis[:, 0] += aside
    lean = np.deg2rad(rng.uniform(0, 95, n))
    spine = np.stack([rng.uniform(-0.15, 0.15, n), np.sin(lean), np.cos(lean) + 0.02], 1)
    front = np.stack([rng.uniform(-0.2, 0.2, n), np.cos(lean), -np.sin(lean)], 1)
    knees, feet, hands = [], [], []
    for sign in (1.0, -1.0):
        knee, foot, hand = _side_astride(rng, n, pelvis, sign, -sign * aside, hooks)
        knees.append(knee)
        feet.append(foot)
        hands.append(hand)
    # Astride and facing the head, the upper athlete's left is at -x: swap the lists.
    return build(
        Wanted(
            pelvis=pelvis,
            spine=spine,
            chest=front,
            pelvis_front=front,
            feet=(feet[1], feet[0]),
            knees=(knees[1], knees[0]),
            hands=(hands[1], hands[0]),
            elbows=both_sides(vectors(rng, n, -0.6, 0.4, 0.2), rng),
            toes=both_sides(vectors(rng, n, (-0.3, 0.3), -1.0, (-0.3, 0.1)), rng),
            gaze=front,
        )
    )


def mount(rng: Rng, n: int) -> Frames:
    """Sitting on the torso, from the hips to the chest, upright to chest on chest."""
    return np.stack([_astride(rng, n, (0.27, 0.38), 0.15), supine(rng, n, 30.0)], 1)


def _prone(rng: Rng, n: int) -> Frames:
    """An athlete on the belly, flat or with the knees drawn up a little."""
    drawn = rng.uniform(0, 1, (n, 1)) ** 2
    flat_foot = vectors(rng, n, (0.06, 0.3), (-0.88, -0.75), (0.06, 0.12))
    drawn_foot = vectors(rng, n, (0.1, 0.35), (-0.5, -0.3), (0.06, 0.12))
    feet = both_sides((1 - drawn) * flat_foot + drawn * drawn_foot, rng)
    hands = both_sides(vectors(rng, n, (0.05, 0.45), (0.5, 0.95), (0.05, 0.12)), rng)
    pelvis = vectors(rng, n, 0.0, 0.0, (0.12, 0.16)) + drawn * [0.0, 0.0, 0.18]
    return build(
        Wanted(
            pelvis=pelvis,
            spine=vectors(rng, n, (-0.1, 0.1), 1.0, (-0.15, 0.2)),
            chest=vectors(rng, n, (-0.25, 0.25), 0.0, -1.0),
            pelvis_front=vectors(rng, n, (-0.2, 0.2), 0.0, -1.0),
            feet=(feet[1], feet[0]),
            knees=both_sides(vectors(rng, n, (-0.4, -0.1), 0.3, -0.3), rng),
            hands=(hands[1], hands[0]),
            elbows=both_sides(vectors(rng, n, -0.6, 0.4, 0.0), rng),
            toes=both_sides(vectors(rng, n, (-0.3, 0.3), -1.0, -0.2), rng),
            gaze=vectors(rng, n, (-0.5, 0.5), 0.5, (-0.6, 0.6)),
        )
    )


def back_mount(rng: Rng, n: int) -> Frames:
    """As mount, on the back of an opponent who lies face-down or is about to."""
    return np.stack([_astride(rng, n, (0.3, 0.44), 0.45), _prone(rng, n)], 1)
