"""Authored poses for the positions of which the open set has little or nothing.

Every function draws n pairs of one position with random build, lean, limbs and grips, as the
trade knows the position: the lower athlete lies along +y with the head at +y, z is up, and
distances are metres. A pair is ``(n, 2, 23, 3)`` with the upper athlete in slot 0. Nothing here
comes from recorded poses or from the sample match.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from posescore.evaluation.poses3d.pose_set import PoseSet
from posescore.lab.bodies.posed_body import (
    Frames,
    Rng,
    Vectors,
    Wanted,
    both_sides,
    build,
    choose,
    turned,
    unit,
    vectors,
)
from posescore.lab.poses.astride_poses import back_mount, mount
from posescore.lab.poses.pose_variation import FLOOR_M, on_floor, perturb
from posescore.lab.poses.upright_poses import both_on_knees, seated_guard, standing, supine
from posescore.terms import STATES, Athlete, Position, State


def knee_on_belly(rng: Rng, n: int) -> Frames:
    """Shin across the belly from the lower athlete's left, hips over the own heel, bent forward.

    Four in five face the head, with the knee on the torso that is nearest the hip, as the rule
    asks; the others face the feet. The other foot is posted, near or wide, with the knee up or
    low; in one of five the other knee is on the mat. Hands hold collar, trousers or the far arm,
    post on the mat, or are free.
    """
    to_head = rng.random(n) < 0.8
    ahead = np.where(to_head, 1.0, -1.0)
    along = rng.uniform(0.05, 0.38, n)
    zero = np.zeros(n)
    shin_knee = vectors(rng, n, (-0.32, -0.02), (-0.08, 0.1), (0.2, 0.3))
    shin_foot = vectors(rng, n, (0.1, 0.3), (-0.12, 0.1), (0.18, 0.28))
    pelvis = vectors(rng, n, (0.1, 0.34), (-0.1, 0.06), (0.36, 0.55))
    for place in (shin_knee, shin_foot, pelvis):
        place[:, 1] += along
    forward = np.stack([zero, ahead, zero], 1)
    other, other_knee = _other_leg(rng, n, along, forward)
    lean = np.deg2rad(rng.uniform(15, 85, n))[:, None]
    aim = unit(forward + vectors(rng, n, (-0.9, 0.1), 0, 0))
    spine = np.sin(lean) * aim + np.cos(lean) * np.array([0.0, 0.0, 1.0])
    facing = unit(np.cos(lean) * aim - np.sin(lean) * np.array([0.0, 0.0, 1.0]))
    facing = facing + vectors(rng, n, (-0.3, 0.2), (-0.2, 0.2), 0)
    is_left = to_head[:, None]
    feet = (np.where(is_left, shin_foot, other), np.where(is_left, other, shin_foot))
    knees = (np.where(is_left, shin_knee, other_knee), np.where(is_left, other_knee, shin_knee))
    hands = _hands_over(rng, n, pelvis, forward)
    upper = build(
        Wanted(
            pelvis=pelvis,
            spine=spine,
            chest=facing,
            pelvis_front=facing,
            feet=feet,
            knees=knees,
            hands=hands,
            elbows=both_sides(pelvis + vectors(rng, n, (-0.5, -0.2), (-0.1, 0.5), 0.2), rng, 0.1),
            toes=(unit(facing + np.array([0, 0, -0.6])), unit(facing + np.array([0, 0, -0.3]))),
            gaze=facing,
        )
    )
    return np.stack([upper, supine(rng, n)], 1)


def _other_leg(rng: Rng, n: int, along: Vectors, forward: Vectors) -> tuple[Vectors, Vectors]:
    """Foot and knee of the leg that is not on the belly: posted, in one of five knee down."""
    reach_out = forward * rng.uniform(-0.1, 0.6, n)[:, None]
    floor = np.stack([np.zeros(n), along, np.zeros(n)], 1)
    posted = floor + reach_out + vectors(rng, n, (0.42, 1.0), 0, (0.07, 0.11))
    posted_knee = posted + vectors(rng, n, (-0.3, 0.05), (-0.1, 0.1), (0.15, 0.5))
    down = floor + vectors(rng, n, (0.5, 0.75), (-0.3, 0.1), (0.07, 0.1))
    down_knee = down + vectors(rng, n, (-0.15, 0.05), 0, -0.03) + 0.4 * forward
    is_down = (rng.random(n) < 0.2)[:, None]
    return np.where(is_down, down, posted), np.where(is_down, down_knee, posted_knee)


def _hands_over(rng: Rng, n: int, pelvis: Vectors, forward: Vectors) -> tuple[Vectors, Vectors]:
    """Where the hands of one with a knee on the belly are: collar, trousers, mat, arm, or free."""
    collar = vectors(rng, n, (-0.15, 0.15), (0.4, 0.62), (0.2, 0.35))
    trousers = vectors(rng, n, (-0.25, 0.2), (-0.4, 0.05), (0.15, 0.45))
    mat = vectors(rng, n, (-0.5, -0.2), (0.2, 0.8), (0.04, 0.1))
    far_arm = vectors(rng, n, (-0.35, -0.1), (0.35, 0.7), (0.05, 0.35))
    free = pelvis + 0.4 * forward + vectors(rng, n, (-0.2, 0.2), (-0.2, 0.2), (-0.1, 0.4))
    first, second = (
        choose(rng, n, w, collar, trousers, mat, far_arm, free)
        for w in ((2, 3, 2, 2, 1), (4, 1, 2, 2, 1))
    )
    return first, second


def _held_from_behind(rng: Rng, n: int, up: Vectors, front: Vectors) -> Frames:
    """An athlete who is held from behind, upright (spine +z, front +y)."""
    tuck = rng.uniform(0.3, 0.8, n)
    lower_feet = both_sides(
        np.stack([rng.uniform(-0.3, -0.08, n), tuck, rng.uniform(-0.1, 0.1, n)], 1), rng
    )
    fighting = vectors(rng, n, (-0.25, -0.02), (0.1, 0.25), (0.4, 0.62))
    low = vectors(rng, n, (-0.4, -0.1), (0.2, 0.5), (-0.05, 0.3))
    return build(
        Wanted(
            pelvis=np.zeros((n, 3)),
            spine=up,
            chest=front,
            pelvis_front=front,
            feet=lower_feet,
            knees=both_sides(vectors(rng, n, (-0.8, -0.1), 0.4, 1.0), rng),
            hands=both_sides(choose(rng, n, (2, 1), fighting, low), rng, 0.1),
            elbows=both_sides(vectors(rng, n, -0.5, 0.2, 0.1), rng),
            toes=both_sides(vectors(rng, n, (-0.3, 0.1), 1.0, (-0.2, 0.4)), rng),
            gaze=vectors(rng, n, (-0.5, 0.5), 1.0, (-0.6, 0.2)),
        )
    )


def back_control(rng: Rng, n: int) -> Frames:
    """Chest to back with two hooks, one or none; seated, leaning back, belly-up or on a side.

    Built upright (spine +z, front +y), then turned as a whole.
    """
    up = vectors(rng, n, (-0.1, 0.1), (-0.1, 0.1), 1.0)
    front = vectors(rng, n, (-0.2, 0.2), 1.0, 0.0)
    lower = _held_from_behind(rng, n, up, front)
    hook = vectors(rng, n, (-0.22, 0.0), (0.22, 0.42), (-0.15, 0.1))
    crossed = vectors(rng, n, (-0.02, 0.12), (0.25, 0.4), (-0.05, 0.2))
    outside = vectors(rng, n, (-0.5, -0.25), (0.0, 0.45), (-0.1, 0.0))
    feet = [
        choose(rng, n, w, hook, crossed, outside) * [sign, 1, 1]
        for sign, w in ((1, (6, 1.5, 1)), (-1, (5, 1.5, 2.5)))
    ]
    over = vectors(rng, n, (-0.1, 0.1), (0.08, 0.22), (0.42, 0.6))
    under = vectors(rng, n, (-0.15, 0.05), (0.1, 0.22), (0.25, 0.45))
    upper = build(
        Wanted(
            pelvis=vectors(rng, n, (-0.06, 0.06), (-0.27, -0.17), (-0.05, 0.08)),
            spine=up + vectors(rng, n, (-0.25, 0.25), (-0.1, 0.25), 0),
            chest=front,
            pelvis_front=front,
            feet=(feet[0], feet[1]),
            knees=both_sides(vectors(rng, n, (-0.9, -0.5), 0.2, (0.0, 0.3)), rng),
            hands=(over, under),
            elbows=both_sides(vectors(rng, n, -0.6, 0.0, 0.4), rng),
            toes=both_sides(vectors(rng, n, (-0.2, 0.5), 1.0, (-0.3, 0.3)), rng),
            gaze=vectors(rng, n, (-0.6, 0.6), 1.0, 0.0),
        )
    )
    pair = np.stack([upper, lower], 1)
    pair = turned(pair, "z", np.zeros(n))
    leaning = np.deg2rad(rng.uniform(-5, 60, n))
    lying = np.deg2rad(rng.uniform(60, 95, n))
    seated = rng.random(n) < 0.45
    roll = np.where(seated, 0.0, rng.choice([-1.0, 0.0, 1.0], n, p=(0.35, 0.3, 0.35)))
    roll = roll * np.deg2rad(rng.uniform(45, 95, n)) + np.deg2rad(12) * rng.standard_normal(n)
    pair = turned(pair, "z", roll)  # about the spine, before lying down
    return turned(pair, "x", np.where(seated, leaning, lying))


def north_south(rng: Rng, n: int) -> Frames:
    """Chest on chest, head towards the opponent's hips; kneeling or sprawled, up to 40 deg off."""
    pelvis = vectors(rng, n, (-0.1, 0.1), (0.85, 1.2), (0.2, 0.48))
    spine = vectors(rng, n, (-0.15, 0.15), -1.0, (-0.25, 0.25))
    front = vectors(rng, n, (-0.15, 0.15), 0.0, -1.0)
    floor = pelvis * [1, 1, 0]
    kneel = floor + vectors(rng, n, (0.12, 0.3), (0.2, 0.42), (0.07, 0.12))
    knee = floor + vectors(rng, n, (0.2, 0.4), (-0.15, 0.1), 0.0)
    sprawl = floor + vectors(rng, n, (0.1, 0.45), (0.7, 0.85), (0.07, 0.12))
    sprawled = (rng.random(n) < 0.45)[:, None]
    feet = both_sides(np.where(sprawled, sprawl, kneel), rng)
    hug = vectors(rng, n, (0.15, 0.35), (0.0, 0.5), (0.08, 0.25))
    post = vectors(rng, n, (0.3, 0.55), (0.3, 0.8), (0.06, 0.1))
    hands = both_sides(choose(rng, n, (2, 1), hug, post), rng, 0.08)
    # Facing the feet and the mat, the upper athlete's left is at +x.
    upper = build(
        Wanted(
            pelvis=pelvis,
            spine=spine,
            chest=front,
            pelvis_front=front,
            feet=feet,
            knees=both_sides(np.where(sprawled, knee * [1, 1, 0] + [0.1, 0.3, -0.5], knee), rng),
            hands=hands,
            elbows=both_sides(vectors(rng, n, 0.7, 0.5, 0.1), rng),
            toes=both_sides(vectors(rng, n, (-0.2, 0.2), 1.0, -0.5), rng),
            gaze=vectors(rng, n, (-0.6, 0.6), -0.5, (-0.4, 0.4)),
        )
    )
    head = np.array([0.0, 0.55, 0.0], np.float32)
    around = np.deg2rad(rng.uniform(-40, 40, n))
    upper = turned((upper - head)[:, None], "z", around)[:, 0] + head
    return np.stack([upper, supine(rng, n)], 1)


def _on_all_fours(rng: Rng, n: int) -> Frames:
    knees = both_sides(vectors(rng, n, (-0.28, -0.1), (0.05, 0.25), 0.06), rng)
    feet = both_sides(vectors(rng, n, (-0.25, -0.08), (-0.35, -0.15), (0.06, 0.12)), rng)
    high = (rng.random(n) < 0.35)[:, None]
    hands = np.where(
        high,
        vectors(rng, n, (-0.3, -0.12), (0.5, 0.75), (0.06, 0.1)),
        vectors(rng, n, (-0.25, 0.0), (0.45, 0.8), (0.06, 0.25)),
    )
    return build(
        Wanted(
            pelvis=vectors(rng, n, (-0.05, 0.05), (-0.08, 0.08), (0.3, 0.46)),
            spine=np.where(
                high,
                vectors(rng, n, (-0.15, 0.15), 1.0, (-0.1, 0.15)),
                vectors(rng, n, (-0.15, 0.15), 1.0, (-0.45, -0.1)),
            ),
            chest=vectors(rng, n, (-0.3, 0.3), 0.0, -1.0),
            pelvis_front=vectors(rng, n, (-0.2, 0.2), 0.0, -1.0),
            feet=feet,
            knees=knees,
            hands=both_sides(hands, rng, 0.06),
            elbows=both_sides(vectors(rng, n, -0.5, 0.3, 0.0), rng),
            toes=both_sides(vectors(rng, n, (-0.2, 0.2), -1.0, -0.4), rng),
            gaze=vectors(rng, n, (-0.4, 0.4), 0.6, -0.6),
        )
    )


def turtle(rng: Rng, n: int) -> Frames:
    """On knees and elbows; the other behind, at the side, or in front with the head controlled."""
    around = np.deg2rad(
        np.where(rng.random(n) < 0.2, 180 + 25 * rng.standard_normal(n), rng.uniform(-110, 110, n))
    )
    tall = rng.random(n) < 0.3
    pelvis = vectors(rng, n, (-0.1, 0.1), (-0.62, -0.35), 0.0)
    pelvis[:, 2] = np.where(tall, rng.uniform(0.5, 0.8, n), rng.uniform(0.35, 0.5, n))
    lean = np.deg2rad(rng.uniform(20, 85, n))
    spine = np.stack([rng.uniform(-0.2, 0.2, n), np.sin(lean), np.cos(lean)], 1)
    front = np.stack([np.zeros(n), np.cos(lean), -np.sin(lean)], 1)
    floor = pelvis * [1, 1, 0]
    feet, knees = [], []
    for sign in (-1.0, 1.0):  # left of one who faces +y is at -x
        knee = floor + vectors(rng, n, (0.1, 0.35), (0.05, 0.3), 0.05) * [sign, 1, 1]
        kneel = knee + vectors(rng, n, (-0.1, 0.1), (-0.43, -0.3), (0.02, 0.06))
        foot = floor + vectors(rng, n, (0.15, 0.4), (-0.1, 0.3), (0.07, 0.1)) * [sign, 1, 1]
        sprawl = floor + vectors(rng, n, (0.1, 0.4), (-0.75, -0.4), (0.07, 0.1)) * [sign, 1, 1]
        stands = (tall | (rng.random(n) < 0.25))[:, None]
        feet.append(np.where(stands, choose(rng, n, (2, 1), foot, sprawl), kneel))
        knees.append(np.where(stands, floor + np.array([0.2 * sign, 0.5, 0.6]), knee))
    waist = vectors(rng, n, (0.0, 0.3), (-0.05, 0.35), (0.12, 0.5))
    far = vectors(rng, n, (0.0, 0.35), (0.2, 0.5), (0.15, 0.55))
    hands = [choose(rng, n, (2, 1), waist, far) * [sign, 1, 1] for sign in (-1.0, 1.0)]
    upper = build(
        Wanted(
            pelvis=pelvis,
            spine=spine,
            chest=front,
            pelvis_front=front,
            feet=(feet[0], feet[1]),
            knees=(knees[0], knees[1]),
            hands=(hands[0], hands[1]),
            elbows=both_sides(vectors(rng, n, -0.6, 0.1, 0.3), rng),
            toes=both_sides(vectors(rng, n, (-0.2, 0.2), (-1.0, 1.0), -0.4), rng),
            gaze=vectors(rng, n, (-0.6, 0.6), 0.5, -0.2),
        )
    )
    middle = np.array([0.0, 0.25, 0.0], np.float32)
    upper = turned(upper[:, None], "z", around)[:, 0] + middle
    return np.stack([upper, _on_all_fours(rng, n)], 1)


AUTHORED: Final[dict[Position, tuple[Callable[[Rng, int], Frames], ...]]] = {
    Position.KNEE_ON_BELLY: (knee_on_belly,),
    Position.MOUNT: (mount,),
    Position.BACK_MOUNT: (back_mount,),
    Position.BACK_CONTROL: (back_control,),
    Position.NORTH_SOUTH: (north_south,),
    Position.TURTLE: (turtle,),
    Position.STANDING: (standing,),
    Position.OPEN_GUARD: (seated_guard,),
    Position.SCRAMBLE: (both_on_knees,),
}
"""Authors of each position."""


def _none_under_floor(frames: Frames) -> Frames:
    """Joints that would be under the mat lie on it, so that they do not lift the whole pair."""
    settled = frames.copy()
    settled[..., 2] = np.maximum(settled[..., 2], FLOOR_M)
    return settled


def authored_poses(rng: Rng, each: int) -> PoseSet:
    """``each`` frames of every authored position, A the upper athlete, every frame an entry.

    Entries are negative, so that they never meet those of the open set.
    """
    frames, state = [], []
    for position, authors in AUTHORED.items():
        upper = Athlete.A if position.has_upper else None
        for author in authors:
            count = each // len(authors)
            frames.append(on_floor(_none_under_floor(author(rng, count))))
            state.append(np.full(count, STATES.index(State(position, upper)), np.int64))
    joints_m = perturb(np.concatenate(frames).astype(np.float32), rng, 0.7)
    return PoseSet(joints_m, -1 - np.arange(len(joints_m)), np.concatenate(state))
