"""Pinhole cameras around a pair, as people hold them at a mat's edge, a stand or a balcony."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

PICTURE_SIZES_PX: Final = ((1280, 720), (1920, 1080), (720, 1280), (640, 480), (854, 480))
_NEAREST_M: Final = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Cameras:
    """One camera for each of n frames; positions in metres, z up.

    Parameters
    ----------
    position_m
        ``(n, 3)`` where the camera stands.
    axes
        ``(n, 3, 3)`` rows: right, down and forward of the picture, unit vectors in the world.
    focal_px
        ``(n,)`` focal length in pixels.
    picture_size_px
        ``(n, 2)`` width and height.
    """

    position_m: NDArray[np.float64]
    axes: NDArray[np.float64]
    focal_px: NDArray[np.float64]
    picture_size_px: NDArray[np.int64]

    def project(
        self, points_m: NDArray[np.float32]
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Pixels ``(n, ..., 2)`` and depths in metres ``(n, ...)`` of points ``(n, ..., 3)``.

        Points nearer than 30 cm are drawn as if they were 30 cm away.
        """
        shape = points_m.shape
        flat = points_m.reshape(shape[0], -1, 3) - self.position_m[:, None]
        seen = np.einsum("nij,nkj->nki", self.axes, flat)
        depth = np.maximum(seen[..., 2], _NEAREST_M)
        pixel = seen[..., :2] / depth[..., None] * self.focal_px[:, None, None]
        pixel += self.picture_size_px[:, None] / 2
        return (
            pixel.reshape(*shape[:-1], 2).astype(np.float32),
            depth.reshape(shape[:-1]).astype(np.float32),
        )


def random_cameras(
    points_m: NDArray[np.float32],
    rng: np.random.Generator,
    *,
    elevation_deg: tuple[float, float] = (-2.0, 65.0),
    distance_m: tuple[float, float] = (2.0, 9.0),
    roll_sd_deg: float = 4.0,
) -> Cameras:
    """A camera for each pair of points ``(n, ..., 3)``, looking at it from any side.

    Elevations lean to the low end of ``elevation_deg``, where people hold cameras; distances are
    even in their logarithm. The focal length makes the pair fill a quarter to nine tenths of the
    picture's short side, and the pair is rarely in the middle of the picture.
    """
    count = len(points_m)
    points = points_m.reshape(count, -1, 3).astype(np.float64)
    centre = (points.min(1) + points.max(1)) / 2
    low, high = np.deg2rad(elevation_deg)
    elevation = low + (high - low) * rng.random(count) ** 1.4
    azimuth = rng.uniform(0, 2 * np.pi, count)
    distance = np.exp(rng.uniform(np.log(distance_m[0]), np.log(distance_m[1]), count))
    outwards = np.stack(
        [
            np.cos(elevation) * np.cos(azimuth),
            np.cos(elevation) * np.sin(azimuth),
            np.sin(elevation),
        ],
        axis=1,
    )
    position = centre + distance[:, None] * outwards
    sizes = np.array(PICTURE_SIZES_PX)[rng.integers(len(PICTURE_SIZES_PX), size=count)]
    radius = np.linalg.norm(points - centre[:, None], axis=2).max(1)
    fill = rng.uniform(0.25, 0.9, count)
    focal = fill * sizes.min(1) / 2 * distance / radius
    shift = (1 - fill)[:, None] * sizes / 2 * rng.uniform(-0.8, 0.8, (count, 2))
    roll = np.deg2rad(roll_sd_deg) * np.clip(rng.standard_normal(count), -3, 3)
    return Cameras(position, _axes(-outwards, roll, shift / focal[:, None]), focal, sizes)


def _axes(
    forward: NDArray[np.float64], roll_rad: NDArray[np.float64], shift: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Axes of cameras that look along ``forward``, turned so that it falls ``shift`` off centre."""
    right = np.cross(forward, np.array([0.0, 0.0, 1.0]))
    right /= np.linalg.norm(right, axis=1, keepdims=True)
    down = np.cross(forward, right)
    cos, sin = np.cos(roll_rad)[:, None], np.sin(roll_rad)[:, None]
    right, down = cos * right + sin * down, cos * down - sin * right
    ahead = forward - shift[:, :1] * right - shift[:, 1:] * down
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    right = right - (right * ahead).sum(1, keepdims=True) * ahead
    right /= np.linalg.norm(right, axis=1, keepdims=True)
    return np.stack([right, np.cross(ahead, right), ahead], axis=1)
