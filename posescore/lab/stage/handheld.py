"""The camera of the sample match: someone at the edge of the mat, filming by hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

FOCAL_PX: Final = 1180.0
"""Focal length at 1280 pixels across: 57 degrees of view, as a telephone's main camera."""


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One picture's pinhole camera.

    ``rotation (3, 3)`` takes world directions to camera directions (x right, y down, z ahead),
    ``place (3,)`` is where the camera stands, metres.
    """

    rotation: NDArray[np.float64]
    place: NDArray[np.float64]
    focal_px: float
    size_px: tuple[int, int]

    def project(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Pixels and depth ``(..., 3)`` of world points ``(..., 3)``."""
        seen = (points - self.place) @ self.rotation.T
        depth = seen[..., 2:]
        centre = np.asarray(self.size_px, float) / 2
        return np.concatenate((centre + self.focal_px * seen[..., :2] / depth, depth), axis=-1)


def look_at(
    place: NDArray[np.float64], aim: NDArray[np.float64], roll_rad: float
) -> NDArray[np.float64]:
    """Rotation of a camera at ``place`` that looks at ``aim``, turned by ``roll_rad``."""
    ahead = (aim - place) / np.linalg.norm(aim - place)
    right = np.cross(ahead, (0.0, 0.0, 1.0))
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    cosine, sine = np.cos(roll_rad), np.sin(roll_rad)
    return np.stack((cosine * right + sine * down, cosine * down - sine * right, ahead))


def sway(time_s: NDArray[np.float64], seed: int, n: int) -> NDArray[np.float64]:
    """Smooth unrest ``(n_times, n)`` within about one, from a few slow sines."""
    random = np.random.default_rng(seed)
    hertz = np.array([0.07, 0.13, 0.29, 0.61, 1.1])
    size = np.array([0.5, 0.4, 0.18, 0.06, 0.02])
    phase = random.uniform(0, 2 * np.pi, (n, len(hertz)))
    waves = np.sin(2 * np.pi * time_s[:, None, None] * hertz + phase)
    return np.asarray((waves * size).sum(-1))


def views(
    time_s: NDArray[np.float64], middle: NDArray[np.float64], size_px: tuple[int, int]
) -> list[View]:
    """Cameras that follow ``middle (n_times, 3)`` of the pair lazily, with a hand's unrest."""
    step_s = float(time_s[1] - time_s[0])
    follow = smooth(middle, 1.2 / step_s)
    unrest = sway(time_s, 7, 7)
    angle = np.deg2rad(-8 + 9 * unrest[:, 0])
    away = 2.35 + 1.15 * follow[:, 2] + 0.12 * unrest[:, 1]
    place = np.stack(
        (
            follow[:, 0] * 0.6 + away * np.sin(angle),
            follow[:, 1] * 0.5 - away * np.cos(angle),
            1.72 + 0.06 * unrest[:, 2],
        ),
        1,
    )
    aim = follow * [1, 1, 0.9] + [0, 0, 0.09] + 0.05 * unrest[:, 3:6]
    roll = np.deg2rad(0.8 * unrest[:, 6])
    scale = size_px[0] / 1280
    return [
        View(look_at(p, a, r), p, FOCAL_PX * scale, size_px)
        for p, a, r in zip(place, aim, roll, strict=True)
    ]


def smooth(values: NDArray[np.float64], width: float) -> NDArray[np.float64]:
    """Columns of ``(n_times, n)`` averaged over a bell ``width`` rows wide."""
    reach = int(3 * width)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / width) ** 2)
    kernel /= kernel.sum()
    padded = np.pad(values, ((reach, reach), (0, 0)), mode="edge")
    columns = [np.convolve(column, kernel, mode="valid") for column in padded.T]
    return np.stack(columns, axis=1)
