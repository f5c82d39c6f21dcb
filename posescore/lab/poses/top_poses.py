"""Authored poses of the upper athlete that gyms know well and the open set shows another way.

Its side controls lie head towards head, hardly any straight across the chest; its half guards are
guards, hardly any a mount that a leg is still trapped out of. As in
:mod:`posescore.lab.poses.rare_poses` the lower athlete lies along +y with the head at +y, a pair
is ``(n, 2, 23, 3)`` with the upper athlete in slot 0, and nothing comes from recorded poses or
from the sample match.
"""

from __future__ import annotations

import numpy as np

from posescore.evaluation.poses3d.pose_set import JOINT, PoseSet
from posescore.lab.bodies.posed_body import (
    FOOT_M,
    HEEL_M,
    SHIN_M,
    THIGH_M,
    Frames,
    Rng,
    Vectors,
    Wanted,
    both_sides,
    build,
    choose,
    off_axis,
    reach,
    turned,
    unit,
    vectors,
)
from posescore.lab.poses.pose_variation import FLOOR_M, on_floor, perturb
from posescore.lab.poses.upright_poses import supine
from posescore.terms import STATES, Athlete, Position, State


def side_control(rng: Rng, n: int) -> Frames:
    """Chest on chest from a side, 40 to 125 degrees between the trunks; each leg kneels or sprawls.

    Built facing the feet (spine along -y) and turned about the opponent's chest.
    """
    pelvis = vectors(rng, n, (-0.12, 0.12), (0.42, 0.72), (0.18, 0.46))
    floor = pelvis * [1, 1, 0]
    feet, knees, hands = [], [], []
    for sign in (1.0, -1.0):
        knee = floor + vectors(rng, n, (0.1, 0.38), (-0.32, 0.08), 0.06) * [sign, 1, 1]
        kneel = knee + vectors(rng, n, (-0.12, 0.12), (0.36, 0.43), (0.01, 0.06)) * [sign, 1, 1]
        sprawl = floor + vectors(rng, n, (0.05, 0.42), (0.65, 0.85), (0.07, 0.12)) * [sign, 1, 1]
        sprawled = (rng.random(n) < 0.4)[:, None]
        feet.append(np.where(sprawled, sprawl, kneel))
        knees.append(np.where(sprawled, floor + np.array([0.3 * sign, 0.3, -0.5]), knee))
        hug = vectors(rng, n, (0.05, 0.35), (-0.45, -0.12), (0.06, 0.25))
        near = vectors(rng, n, (0.2, 0.5), (0.0, 0.3), (0.06, 0.15))
        hands.append(choose(rng, n, (3, 1), hug, near) * [sign, 1, 1])
    upper = build(
        Wanted(
            pelvis=pelvis,
            spine=vectors(rng, n, (-0.15, 0.15), -1.0, (-0.15, 0.25)),
            chest=vectors(rng, n, (-0.25, 0.25), 0.0, -1.0),
            pelvis_front=vectors(rng, n, (-0.3, 0.3), 0.0, -1.0),
            feet=(feet[0], feet[1]),
            knees=(knees[0], knees[1]),
            hands=(hands[0], hands[1]),
            elbows=both_sides(vectors(rng, n, 0.6, 0.2, 0.1), rng),
            toes=both_sides(vectors(rng, n, (-0.2, 0.2), 1.0, -0.5), rng),
            gaze=vectors(rng, n, (-0.7, 0.7), -0.5, (-0.4, 0.4)),
        )
    )
    around = np.deg2rad(rng.uniform(-140, -55, n))
    chest = vectors(rng, n, (-0.08, 0.08), (0.26, 0.5), 0.0).astype(np.float32)
    upper = turned(upper[:, None], "z", around)[:, 0] + chest[:, None]
    return np.stack([upper, supine(rng, n)], 1)


def half_guard(rng: Rng, n: int) -> Frames:
    """A mount but for one leg: the shin is still between the opponent's, who cross over it."""
    pelvis = vectors(rng, n, (-0.12, 0.12), (-0.2, 0.3), (0.26, 0.4))
    lean = np.deg2rad(rng.uniform(5, 95, n))
    spine = np.stack([rng.uniform(-0.15, 0.15, n), np.sin(lean), np.cos(lean) + 0.02], 1)
    front = np.stack([rng.uniform(-0.2, 0.2, n), np.cos(lean), -np.sin(lean)], 1)
    flat = pelvis * [1, 1, 0]
    free_knee = flat + vectors(rng, n, (0.2, 0.42), (0.0, 0.38), (0.05, 0.08))
    free = free_knee + vectors(rng, n, (-0.18, 0.04), (-0.43, -0.36), (0.0, 0.06))
    held_knee = flat + vectors(rng, n, (-0.22, 0.02), (-0.05, 0.2), (0.05, 0.12))
    held = held_knee + vectors(rng, n, (-0.05, 0.2), (-0.43, -0.34), (0.0, 0.1))
    hands = []
    for sign in (1.0, -1.0):
        hug = vectors(rng, n, (-0.1, 0.2), (0.5, 0.8), (0.1, 0.3))
        mat = vectors(rng, n, (0.2, 0.5), (0.5, 1.0), (0.06, 0.1))
        hands.append(choose(rng, n, (2, 1), hug, mat) * [sign, 1, 1])
    # Facing the head, the upper athlete's left is at -x: there the leg is held.
    upper = build(
        Wanted(
            pelvis=pelvis,
            spine=spine,
            chest=front,
            pelvis_front=front,
            feet=(held, free),
            knees=(held_knee, free_knee),
            hands=(hands[1], hands[0]),
            elbows=both_sides(vectors(rng, n, -0.6, 0.4, 0.2), rng),
            toes=both_sides(vectors(rng, n, (-0.3, 0.3), -1.0, (-0.3, 0.1)), rng),
            gaze=front,
        )
    )
    return np.stack([upper, _crossing_over(supine(rng, n, 30.0), held, rng)], 1)


def _crossing_over(lower: Frames, ankle: Vectors, rng: Rng) -> Frames:
    """Both legs of one on the back about an ankle: left (at +x) from inside, right from outside."""
    n, body = len(lower), lower.copy()
    where = {
        "left": (vectors(rng, n, (-0.1, 0.06), (-0.1, 0.12), (0.06, 0.2)), [0.35, -0.3, 0.6]),
        "right": (vectors(rng, n, (-0.08, 0.1), (-0.1, 0.1), (0.08, 0.24)), [-0.5, -0.35, 0.4]),
    }
    toes = unit(vectors(rng, n, (-0.4, 0.4), -1.0, (-0.2, 0.5)))
    for side, (offset, knee_at) in where.items():
        hip = body[:, JOINT[f"{side}_hip"]].astype(np.float64)
        hint = hip + np.array(knee_at) + 0.1 * rng.standard_normal((n, 3))
        knee, end = reach(hip, ankle + offset, hint, THIGH_M, SHIN_M)
        shin = unit(end - knee)
        heel = end + HEEL_M * unit(shin - 0.6 * off_axis(toes, shin))
        for name, at in {
            "knee": knee,
            "ankle": end,
            "heel": heel,
            "toe": heel + FOOT_M * toes,
        }.items():
            body[:, JOINT[f"{side}_{name}"]] = at
    return body


AUTHORS = {Position.SIDE_CONTROL: side_control, Position.HALF_GUARD: half_guard}


def authored_top_poses(rng: Rng, each: int) -> PoseSet:
    """``each`` frames of both positions, A the upper athlete, every frame an entry (negative)."""
    frames, state = [], []
    for position, author in AUTHORS.items():
        drawn = author(rng, each)
        drawn[..., 2] = np.maximum(drawn[..., 2], FLOOR_M)
        frames.append(on_floor(drawn))
        state.append(np.full(each, STATES.index(State(position, Athlete.A)), np.int64))
    joints_m = perturb(np.concatenate(frames).astype(np.float32), rng, 0.7)
    return PoseSet(joints_m, -1 - np.arange(len(joints_m)), np.concatenate(state))
