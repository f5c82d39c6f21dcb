"""The referee: walks round the pair, stands by, and sometimes crosses in front of the camera."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from posescore.lab.bodies.body import Skeleton
from posescore.lab.bodies.fitting import first_guess, make_target, sole_height
from posescore.lab.bodies.key_pose import BodyKey, Vector

STRIDE_M: Final = 1.25
"""Two steps of a walk."""

Route = tuple[tuple[float, tuple[float, float]], ...]
"""Where somebody walks: seconds and metres on the mat, in order of time."""

ROUTE: Final[Route] = (
    (0.0, (1.7, 2.1)), (8.8, (1.7, 2.1)), (12.8, (2.9, -1.2)), (14.6, (2.9, -1.2)),
    (18.0, (-2.7, -1.35)), (18.6, (-2.7, -1.35)), (21.8, (-1.5, 1.9)), (33.4, (-1.5, 1.9)),
    (36.6, (-2.7, -1.3)), (37.4, (-2.7, -1.3)), (40.6, (2.9, -1.3)), (41.2, (2.9, -1.3)),
    (44.4, (2.1, 1.9)), (59.0, (2.1, 1.9)), (60.6, (2.3, 1.1)), (67.9, (2.3, 1.1)),
    (69.0, (1.75, 0.8)), (74.1, (1.75, 0.8)),
)  # fmt: skip
"""Where the referee is in the sample match. Twice the way crosses the view."""

RAISES_S: Final = 68.7
"""When the arm goes up in the sample match."""


@dataclass(frozen=True, slots=True, eq=False)
class _Walk:
    """The way walked: places, headings and length of every leg, and time."""

    place: NDArray[np.float64]
    """``(n_times, 2)``."""
    strides: NDArray[np.float64]
    """``(n_times,)`` strides walked so far; whole numbers at every stop."""
    heading: NDArray[np.float64]
    """``(n_times, 2)`` unit vectors."""


def _walk(time_s: NDArray[np.float64], watched: NDArray[np.float64], route: Route) -> _Walk:
    at_s = np.array([stop for stop, _ in route])
    stops = np.array([place for _, place in route])
    lengths = np.linalg.norm(np.diff(stops, axis=0), axis=1)
    counts = np.round(lengths / STRIDE_M)
    leg = np.clip(np.searchsorted(at_s, time_s, side="right") - 1, 0, len(lengths) - 1)
    share = (time_s - at_s[leg]) / np.diff(at_s)[leg]
    ease = np.clip(share, 0, 1)
    ease = 0.4 * ease + 0.6 * (ease * ease * (3 - 2 * ease))
    place = stops[leg] + ease[:, None] * np.diff(stops, axis=0)[leg]
    strides = np.concatenate(([0.0], np.cumsum(counts)))[leg] + ease * counts[leg]
    going = np.diff(stops, axis=0)[leg]
    towards = watched - place
    moving = np.clip(4 * np.minimum(share, 1 - share), 0, 1) * (counts[leg] > 0)
    unit = going / np.maximum(np.linalg.norm(going, axis=1, keepdims=True), 1e-9)
    towards = towards / np.linalg.norm(towards, axis=1, keepdims=True)
    heading = _smooth(moving[:, None] * unit * 1.3 + (1 - moving)[:, None] * towards, 8)
    return _Walk(place, strides, heading / np.linalg.norm(heading, axis=1, keepdims=True))


def _smooth(values: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    kernel = np.hanning(2 * width + 3)[1:-1]
    kernel /= kernel.sum()
    padded = np.pad(values, ((width, width), (0, 0)), mode="edge")
    return np.stack([np.convolve(column, kernel, "valid") for column in padded.T], axis=1)


def _foot(strides: float, ahead: float) -> tuple[float, float]:
    """How far a foot is ahead of the hips, in strides, and how high it is lifted, 0 to 1."""
    phase = (strides + ahead) % 1.0
    swing = 0.42
    if phase < swing:
        u = phase / swing
        return -0.29 + 0.58 * u * u * (3 - 2 * u), float(np.sin(np.pi * u))
    return 0.29 - 0.58 * (phase - swing) / (1 - swing), 0.0


def _pose_at(
    place: NDArray[np.float64], heading: NDArray[np.float64], strides: float, pace: float,
    raised: float, sole_m: float, bone: float,
) -> BodyKey:  # fmt: skip
    """One instant of the walk; ``pace`` is 0 standing and 1 walking."""
    side = np.array([-heading[1], heading[0]])

    def at(ahead: float, left: float, height: float) -> Vector:
        x, y = place + ahead * heading + left * side
        return (float(x), float(y), height)

    hips = sole_m + 1.985 * bone - 0.03 * pace
    ankles, knees, swings = [], [], []
    for ahead, left in ((0.0, 0.09), (0.5, -0.09)):
        offset, lift = _foot(strides, ahead)
        offset, lift = offset * pace * STRIDE_M, lift * pace
        ankle = at(offset - 0.02, left, sole_m + 0.12 * lift)
        hip = at(0.0, left, hips)
        ankles.append(ankle)
        knees.append(_knee(hip, ankle, heading, bone))
        swings.append(offset)
    hand = 0.45 * pace
    left_hand = at(0.12 - hand * swings[0], 0.26, 0.84)
    left_elbow = at(-0.03 - 0.4 * hand * swings[0], 0.27, 1.08)
    right_hand = at(0.12 - hand * swings[1] + 0.2 * raised, -0.26 - 0.1 * raised, 0.84 + raised)
    right_elbow = at(-0.03 - 0.4 * hand * swings[1] + 0.2 * raised, -0.3, 1.08 + 0.35 * raised)
    x, y = float(heading[0]), float(heading[1])
    return BodyKey(
        at(0.0, 0.0, hips), (0.05 * x, 0.05 * y, 1.0), (x, y, 0.0),
        (knees[0], knees[1]), (ankles[0], ankles[1]),
        (left_elbow, right_elbow), (left_hand, right_hand),
        look=(x, y, -0.25),
    )  # fmt: skip


def _knee(hip: Vector, ankle: Vector, heading: NDArray[np.float64], bone: float) -> Vector:
    """The knee of a leg of two equal bones, bent forwards."""
    start, end = np.array(hip), np.array(ankle)
    half = float(np.linalg.norm(end - start)) / 2
    bend = np.sqrt(max(bone**2 - half**2, 1e-5))
    x, y, z = (start + end) / 2 + bend * np.array([*heading, 0.0])
    return (float(x), float(y), float(z))


def perform(
    skeleton: Skeleton,
    time_s: NDArray[np.float64],
    watched: NDArray[np.float64],
    route: Route = ROUTE,
    raises_s: float = RAISES_S,
) -> Tensor:
    """Poses ``(n_times, N_NUMBERS)`` of the referee, who faces ``watched (n_times, 2)``."""
    walk = _walk(time_s, watched, route)
    speed = np.gradient(walk.strides, time_s)
    pace = _smooth(np.clip(np.abs(speed) / 0.5, 0, 1)[:, None], 6)[:, 0]
    raised = np.clip((time_s - raises_s) / 0.7, 0, 1)
    raised = raised * raised * (3 - 2 * raised)
    sole_m = sole_height(skeleton)
    thigh = skeleton.between("upperleg01.L", "lowerleg01.L").norm()
    bone = float(thigh + skeleton.between("lowerleg01.L", "foot.L").norm()) / 2
    keys = [
        _pose_at(walk.place[i], walk.heading[i], walk.strides[i], pace[i], raised[i], sole_m, bone)
        for i in range(len(time_s))
    ]
    target = make_target(keys)
    numbers = first_guess(target, skeleton)
    flat = torch.from_numpy(_level(walk.heading))
    for foot in (5, 6):
        numbers[:, 3 + 6 * foot : 9 + 6 * foot] = flat
    return numbers


def _level(heading: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rotation numbers ``(n_times, 6)`` of feet that point along headings, soles level."""
    zero = np.zeros(len(heading))
    left = np.stack((-heading[:, 1], heading[:, 0], zero), 1)
    back = np.stack((-heading[:, 0], -heading[:, 1], zero), 1)
    return np.concatenate((left, back), axis=1)
