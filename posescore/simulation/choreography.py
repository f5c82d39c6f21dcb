"""The motion of both athletes through the sample match.

Key poses stand at their times; between them every number of the pose follows a monotone cubic,
so movements start and end gently and nothing overshoots. A last pass over the whole motion
pushes the bodies out of each other and out of the mat while keeping accelerations small.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import torch
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from torch import Tensor

from posescore.simulation import key_poses as keys
from posescore.simulation.body import Skeleton
from posescore.simulation.fitting import fit, make_target
from posescore.simulation.key_poses import PairKey
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


_B = Athlete.B
_END: Final = (20.0, (0.35, -0.1))
CUES: Final = (
    Cue(0.0, keys.APART), Cue(0.5, keys.APART),
    Cue(1.6, keys.GRIPS), Cue(2.4, keys.GRIPS, yaw_deg=2),
    Cue(3.2, keys.GRIPS, yaw_deg=-14, shift=(0.06, 0.03)),
    Cue(3.9, keys.GRIPS, yaw_deg=-14, shift=(0.07, 0.03)),
    Cue(4.7, keys.GRIPS, yaw_deg=3, shift=(0.0, 0.0)), Cue(5.7, keys.GRIPS),
    Cue(6.6, keys.LEVEL), Cue(7.2, keys.DRIVE), Cue(7.8, keys.FALL),
    Cue(8.4, keys.CLOSED_GUARD), Cue(13.0, keys.CLOSED_GUARD), Cue(13.5, keys.OPENING),
    Cue(14.0, keys.OPEN_GUARD), Cue(18.0, keys.OPEN_GUARD),
    Cue(18.9, keys.PASS_STEP), Cue(19.8, keys.PASS_DROP),
    Cue(20.6, keys.SIDE_CONTROL), Cue(25.2, keys.SIDE_CONTROL),
    Cue(26.4, keys.KNEE_ON_BELLY_LOW), Cue(30.2, keys.KNEE_ON_BELLY_LOW),
    Cue(30.8, keys.KNEE_ON_BELLY), Cue(35.4, keys.KNEE_ON_BELLY),
    Cue(36.0, keys.SLIDE), Cue(36.6, keys.HALF_GUARD), Cue(40.6, keys.HALF_GUARD),
    Cue(41.8, keys.MOUNT), Cue(46.4, keys.MOUNT),
    Cue(47.4, keys.TURN), Cue(48.2, keys.TAKE_BACK),
    Cue(49.0, keys.BACK_ONE_HOOK), Cue(52.8, keys.BACK_ONE_HOOK),
    Cue(53.4, keys.BACK_BOTH_HOOKS), Cue(58.2, keys.BACK_BOTH_HOOKS),
    Cue(59.4, keys.SLIP, _B),
    Cue(60.8, keys.OPEN_GUARD, _B, *_END), Cue(64.6, keys.OPEN_GUARD, _B, *_END),
    Cue(65.5, keys.PASS_STEP, _B, *_END), Cue(66.4, keys.PASS_DROP, _B, *_END),
    Cue(67.2, keys.SIDE_CONTROL, _B, *_END), Cue(74.0, keys.SIDE_CONTROL, _B, *_END),
)  # fmt: skip
"""The whole match."""


def fit_cues(skeletons: tuple[Skeleton, Skeleton]) -> Tensor:
    """Fitted poses ``(2, n_cues, N_NUMBERS)`` of athletes A and B."""
    turned = [cue.key.turned(cue.yaw_deg, cue.shift) for cue in CUES]
    sides = [
        [
            pair.upper if cue.upper is athlete else pair.lower
            for cue, pair in zip(CUES, turned, strict=True)
        ]
        for athlete in Athlete
    ]
    down = [
        torch.tensor(
            [
                pair.knees_down.get("upper" if cue.upper is athlete else "lower", (False, False))
                for cue, pair in zip(CUES, turned, strict=True)
            ],
            dtype=torch.float64,
        )
        for athlete in Athlete
    ]
    return fit(
        (make_target(sides[0]), make_target(sides[1])), skeletons, (down[0], down[1])
    )


def interpolate(poses: Tensor, time_s: NDArray[np.float64]) -> Tensor:
    """Poses ``(2, n_times, N_NUMBERS)`` between cues."""
    at_s = np.array([cue.time_s for cue in CUES])
    return torch.from_numpy(PchipInterpolator(at_s, poses.numpy(), axis=1)(time_s))


def perform(skeletons: tuple[Skeleton, Skeleton], time_s: NDArray[np.float64]) -> Tensor:
    """Poses ``(2, n_times, N_NUMBERS)`` of both athletes through the whole match."""
    return interpolate(fit_cues(skeletons), time_s)
