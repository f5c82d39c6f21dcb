"""A last pass over a whole motion: steps, weight on the mat, and no body inside another."""

from __future__ import annotations

from typing import Final

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from posescore.lab.bodies.body import Skeleton, pose
from posescore.lab.bodies.fitting import (
    KNEE_M,
    Target,
    ends,
    overlap,
    sole_height,
    strain,
    sunk,
)

LIFT_M: Final = 0.07
"""How high a foot is lifted in a step."""


def steps(
    ankle: NDArray[np.float64],
    flat: NDArray[np.float64],
    cue_s: NDArray[np.float64],
    time_s: NDArray[np.float64],
    first: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Paths of the ankles of feet that stand, one foot moving after the other.

    Parameters
    ----------
    ankle
        ``(n_cues, 2, 3)`` places of the ankles at the cues.
    flat
        ``(n_cues, 2)`` 1 where the sole lies on the mat.
    cue_s, time_s
        Times of cues and of the motion, seconds.
    first
        Which foot moves first.

    Returns
    -------
    path, weight
        ``(n_times, 2, 3)`` and ``(n_times, 2)``: where the foot is and whether it stands or steps.
    """
    cue = np.clip(np.searchsorted(cue_s, time_s, side="right") - 1, 0, len(cue_s) - 2)
    share = (time_s - cue_s[cue]) / (cue_s[cue + 1] - cue_s[cue])
    path, weight = np.zeros((len(time_s), 2, 3)), np.zeros((len(time_s), 2))
    for foot in range(2):
        start = 0.0 if foot == first else 0.42
        u = np.clip((share - start) / 0.58, 0, 1)
        ease = u * u * u * (10 - 15 * u + 6 * u * u)
        here, there = ankle[cue, foot], ankle[cue + 1, foot]
        far = np.linalg.norm((there - here)[:, :2], axis=1)
        path[:, foot] = here + ease[:, None] * (there - here)
        path[:, foot, 2] += LIFT_M * np.minimum(far / 0.15, 1) * np.sin(np.pi * u) ** 2
        weight[:, foot] = flat[cue, foot] * flat[cue + 1, foot]
    return path, weight


def _held(values: NDArray[np.float64], cue_s: NDArray[np.float64], time_s: NDArray[np.float64]
          ) -> NDArray[np.float64]:  # fmt: skip
    """1 where a flag is set at both cues about an instant, falling off quickly elsewhere."""
    columns = [np.interp(time_s, cue_s, column) for column in values.T]
    return np.stack(columns, axis=1) ** 6


def settle(
    moving: Tensor,
    skeletons: tuple[Skeleton, Skeleton],
    targets: tuple[Target, Target],
    cue_s: NDArray[np.float64],
    time_s: NDArray[np.float64],
    n_steps: int = 90,
) -> Tensor:
    """The same motion ``(2, n_times, N_NUMBERS)`` with weight on the mat and bodies apart.

    Gradient descent over all instants at once; what it may not do is leave the choreography far
    or jerk.
    """
    wishes = [
        _Wishes(moving[slot], skeletons[slot], targets[slot], cue_s, time_s) for slot in range(2)
    ]
    numbers = moving.clone().requires_grad_()
    optimiser = torch.optim.Adam([numbers], lr=0.006)
    for step in range(n_steps):
        optimiser.param_groups[0]["lr"] = 0.006 * (1 - step / n_steps) + 0.0003
        optimiser.zero_grad()
        places = [ends(skeletons[slot], pose(skeletons[slot], numbers[slot])) for slot in range(2)]
        cost = 40 * overlap(*places).square().sum()
        for slot in range(2):
            cost = cost + wishes[slot].cost(numbers[slot], places[slot])
            cost = cost + 2 * strain(numbers[slot], skeletons[slot]).sum()
        shift = numbers - moving
        cost = cost + 0.25 * shift.square().sum() + 12 * _jerk(shift)
        cost.backward()  # type: ignore[no-untyped-call]
        optimiser.step()
    return numbers.detach()


def _jerk(shift: Tensor) -> Tensor:
    """Second differences over time: corrections must come and go smoothly."""
    return (shift[:, 2:] - 2 * shift[:, 1:-1] + shift[:, :-2]).square().sum()


class _Wishes:
    """What the mat asks of one athlete in every instant."""

    def __init__(
        self,
        moving: Tensor,
        skeleton: Skeleton,
        target: Target,
        cue_s: NDArray[np.float64],
        time_s: NDArray[np.float64],
    ) -> None:
        at_cue = np.searchsorted(time_s, cue_s - 1e-6).clip(0, len(time_s) - 1)
        with torch.no_grad():
            places = ends(skeleton, pose(skeleton, moving[at_cue]))
        ankle = torch.stack((places["foot.L"], places["foot.R"]), 1).numpy().copy()
        flat = target.flat.numpy()
        ankle[..., 2] = np.where(flat > 0, sole_height(skeleton), ankle[..., 2])
        same = _same_places(target)
        for cue in range(1, len(ankle)):
            if same[cue]:
                ankle[cue] = ankle[cue - 1]
        path, weight = steps(ankle, flat, cue_s, time_s, first=0)
        self.path, self.weight = torch.from_numpy(path), torch.from_numpy(weight)
        self.knees = torch.from_numpy(_held(target.knees_down.numpy(), cue_s, time_s))
        self.rests = torch.from_numpy(_held(target.rests.numpy(), cue_s, time_s))
        knees = torch.stack((places["lowerleg01.L"], places["lowerleg01.R"]), 1).numpy()
        self.knee_path = torch.from_numpy(_between(knees, cue_s, time_s))

    def cost(self, numbers: Tensor, places: dict[str, Tensor]) -> Tensor:
        """Squared metres over all instants, weighted."""
        cost = 60 * sunk(places).square().sum()
        for slot, side in enumerate(("L", "R")):
            off = (places[f"foot.{side}"] - self.path[:, slot]).square().sum(-1)
            cost = cost + 25 * (self.weight[:, slot] * off).sum()
            knee = places[f"lowerleg01.{side}"]
            height = (knee[..., 2] - KNEE_M).square()
            slide = (knee[..., :2] - self.knee_path[:, slot, :2]).square().sum(-1)
            cost = cost + (self.knees[:, slot] * (40 * height + 10 * slide)).sum()
        hips = (places["root"][..., 2] - self._height("root")).clamp(min=0).square()
        return cost + 30 * (self.rests[:, 0] * hips).sum()

    @staticmethod
    def _height(_name: str) -> float:
        return 0.128


def _same_places(target: Target) -> NDArray[np.bool_]:
    """Whether a key pose's feet are written where the one before has them."""
    joints = target.joints.numpy()[:, 2:4]
    same = np.zeros(len(joints), bool)
    same[1:] = np.abs(joints[1:] - joints[:-1]).max((1, 2)) < 1e-6
    return same


def _between(
    places: NDArray[np.float64], cue_s: NDArray[np.float64], time_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Straight lines between places ``(n_cues, ...)`` at the cues."""
    flat = places.reshape(len(places), -1)
    columns = [np.interp(time_s, cue_s, column) for column in flat.T]
    return np.stack(columns, axis=1).reshape(len(time_s), *places.shape[1:])
