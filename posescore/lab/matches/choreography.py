"""The motion of both athletes through the sample match.

Key poses stand at their times; between them every number of the pose follows a monotone cubic,
so movements start and end gently and nothing overshoots; a little unrest keeps holds alive. A
last pass over the whole motion (:mod:`posescore.lab.bodies.contact`) takes steps one foot at a
time and pushes the bodies out of each other and out of the mat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import torch
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.spatial.transform import Rotation
from torch import Tensor

from posescore.lab.bodies.body import HINGES, SEGMENTS, Skeleton, orthonormal, six_numbers
from posescore.lab.bodies.contact import settle
from posescore.lab.bodies.fitting import Target, fit, make_target
from posescore.lab.bodies.key_pose import PairKey
from posescore.lab.poses import ground_poses as ground
from posescore.lab.poses import opening_poses as opening
from posescore.terms import Athlete

KNOTS_PER_S: Final = 15
"""Knots of the last pass; frames in between follow a cubic spline."""


@dataclass(frozen=True, slots=True)
class Cue:
    """A key pose at a time: who is the upper athlete in it, and where on the mat it lies."""

    time_s: float
    key: PairKey
    upper: Athlete = Athlete.A
    yaw_deg: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)


_B: Final = Athlete.B
_END: Final = (20.0, (0.35, -0.1))
CUES: Final = (
    Cue(0.0, opening.APART), Cue(0.5, opening.APART),
    Cue(1.6, opening.GRIPS), Cue(2.4, opening.GRIPS, yaw_deg=2),
    Cue(3.2, opening.GRIPS, yaw_deg=-14, shift=(0.06, 0.03)),
    Cue(3.9, opening.GRIPS, yaw_deg=-14, shift=(0.07, 0.03)),
    Cue(4.7, opening.GRIPS), Cue(5.7, opening.GRIPS),
    Cue(6.15, opening.REACH), Cue(6.6, opening.LEVEL),
    Cue(7.2, opening.DRIVE), Cue(7.8, opening.FALL),
    Cue(8.4, opening.CLOSED_GUARD), Cue(13.0, opening.CLOSED_GUARD), Cue(13.5, opening.OPENING),
    Cue(14.0, opening.OPEN_GUARD), Cue(18.0, opening.OPEN_GUARD),
    Cue(18.9, opening.PASS_STEP), Cue(19.6, opening.PASS_DROP), Cue(20.1, opening.PASS_ARM),
    Cue(20.6, opening.SIDE_CONTROL), Cue(25.2, opening.SIDE_CONTROL),
    Cue(25.8, ground.RISE),
    Cue(26.4, ground.KNEE_ON_BELLY_LOW), Cue(30.2, ground.KNEE_ON_BELLY_LOW),
    Cue(30.8, ground.KNEE_ON_BELLY), Cue(35.4, ground.KNEE_ON_BELLY),
    Cue(35.75, ground.STEP_OVER), Cue(36.15, ground.SLIDE),
    Cue(36.6, ground.HALF_GUARD), Cue(40.6, ground.HALF_GUARD),
    Cue(41.2, ground.FREE_LEG), Cue(41.8, ground.MOUNT), Cue(46.4, ground.MOUNT),
    Cue(46.95, ground.POST), Cue(47.5, ground.TURN), Cue(48.25, ground.TAKE_BACK),
    Cue(49.0, ground.BACK_ONE_HOOK), Cue(52.5, ground.BACK_ONE_HOOK),
    Cue(52.9, ground.HOOK_IN), Cue(53.3, ground.BACK_BOTH_HOOKS), Cue(58.2, ground.BACK_BOTH_HOOKS),
    Cue(58.55, ground.UNHOOK, _B), Cue(58.95, ground.PEEL, _B), Cue(59.75, ground.SLIP, _B),
    Cue(60.8, opening.OPEN_GUARD, _B, *_END), Cue(64.6, opening.OPEN_GUARD, _B, *_END),
    Cue(65.5, opening.PASS_STEP, _B, *_END), Cue(66.2, opening.PASS_DROP, _B, *_END),
    Cue(66.7, opening.PASS_ARM, _B, *_END),
    Cue(67.2, opening.SIDE_CONTROL, _B, *_END), Cue(74.0, opening.SIDE_CONTROL, _B, *_END),
)  # fmt: skip
"""The whole match."""

CUE_S: Final = np.array([cue.time_s for cue in CUES])


def cue_targets(cues: Sequence[Cue] = CUES) -> tuple[Target, Target]:
    """Key poses of athletes A and B at the cues."""
    turned = [cue.key.turned(cue.yaw_deg, cue.shift) for cue in cues]
    found = []
    for athlete in Athlete:
        is_upper = [cue.upper is athlete for cue in cues]
        pairs = list(zip(is_upper, turned, strict=True))
        found.append(
            make_target(
                [pair.upper if up else pair.lower for up, pair in pairs],
                [pair.upper_knees_down if up else (False, False) for up, pair in pairs],
                [pair.rests[0 if up else 1] for up, pair in pairs],
            )
        )
    return found[0], found[1]


def fit_cues(skeletons: tuple[Skeleton, Skeleton], cues: Sequence[Cue] = CUES) -> Tensor:
    """Fitted poses ``(2, n_cues, N_NUMBERS)`` of athletes A and B."""
    return fit(cue_targets(cues), skeletons)


def interpolate(
    poses: Tensor, time_s: NDArray[np.float64], cue_s: NDArray[np.float64] = CUE_S
) -> Tensor:
    """Poses ``(2, n_times, N_NUMBERS)`` between cues; rotations go the shorter way round."""
    count = len(SEGMENTS)
    six = poses[..., 3 : 3 + 6 * count].reshape(2, len(cue_s), count, 6)
    turned = Rotation.from_matrix(orthonormal(six).numpy().reshape(-1, 3, 3))
    quaternions = turned.as_quat().reshape(2, len(cue_s), count, 4)
    for cue in range(1, len(cue_s)):
        back = (quaternions[:, cue] * quaternions[:, cue - 1]).sum(-1) < 0
        quaternions[:, cue][back] *= -1
    between = PchipInterpolator(cue_s, quaternions, axis=1)(time_s)
    matrices = Rotation.from_quat(between.reshape(-1, 4)).as_matrix()
    again = six_numbers(torch.from_numpy(matrices)).reshape(2, len(time_s), 6 * count)
    rest = torch.cat((poses[..., :3], poses[..., 3 + 6 * count :]), -1).numpy()
    plain = torch.from_numpy(PchipInterpolator(cue_s, rest, axis=1)(time_s))
    return torch.cat((plain[..., :3], again, plain[..., 3:]), -1)


UNREST: Final = {
    "pelvis": 0.018, "chest": 0.035, "head": 0.06, "thigh": 0.014, "foot": 0.01, "upper_arm": 0.05,
    "knee": 0.02, "elbow": 0.07,
}  # fmt: skip
"""How much people move while they hold a position, radians (about)."""


def unrest(time_s: NDArray[np.float64], seed: int) -> NDArray[np.float64]:
    """Small smooth movements ``(n_times, N_NUMBERS)`` to add to a pose's numbers."""
    random = np.random.default_rng(seed)

    def waves(count: int, size: float) -> NDArray[np.float64]:
        hertz = random.uniform(0.12, 0.75, (4, count))
        phase = random.uniform(0, 2 * np.pi, (4, count))
        angle = 2 * np.pi * time_s[:, None, None] * hertz + phase
        return np.asarray(size * 0.5 * np.sin(angle).sum(1))

    parts = [waves(3, 0.006)]
    for name in (*SEGMENTS, *HINGES):
        size = UNREST[name.removeprefix("left_").removeprefix("right_")]
        parts.append(waves(6 if name in SEGMENTS else 1, size))
    return np.concatenate(parts, axis=1)


def perform(
    skeletons: tuple[Skeleton, Skeleton],
    time_s: NDArray[np.float64],
    cues: Sequence[Cue] = CUES,
    unrest_seeds: tuple[int, int] = (3, 4),
) -> Tensor:
    """Poses ``(2, n_times, N_NUMBERS)`` of both athletes through a whole match."""
    cue_s = np.array([cue.time_s for cue in cues])
    poses = fit_cues(skeletons, cues)
    knots_s = np.linspace(0, cue_s[-1], round(cue_s[-1] * KNOTS_PER_S) + 1)
    moving = interpolate(poses, knots_s, cue_s)
    unrests = [unrest(knots_s, seed) for seed in unrest_seeds]
    moving = moving + torch.from_numpy(np.stack(unrests))
    settled = settle(moving, skeletons, cue_targets(cues), cue_s, knots_s)
    return torch.from_numpy(CubicSpline(knots_s, settled.numpy(), axis=1)(time_s))
