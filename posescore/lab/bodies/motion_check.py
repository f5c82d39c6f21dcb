"""What can be measured of a motion: bodies inside each other, below the mat, or too fast."""

from __future__ import annotations

import numpy as np
import torch
from numpy.typing import NDArray

from posescore.lab.bodies.fitting import CAPSULES, segment_gaps

DEEP_M = 0.03
"""Overlap of flesh that anyone would see, metres."""


def overlaps(
    starts: NDArray[np.float64], ends: NDArray[np.float64], radii: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Deepest overlap of A's and B's flesh in every frame ``(n_frames,)``, metres.

    ``starts`` and ``ends`` are ``(n_frames, >= 30, 3)``: A's capsules, then B's.
    """
    count = len(CAPSULES)
    p, q = torch.from_numpy(starts), torch.from_numpy(ends - starts)
    gaps = segment_gaps(
        p[:, :count, None], q[:, :count, None],
        p[:, None, count : 2 * count], q[:, None, count : 2 * count],
    ).numpy()  # fmt: skip
    depth = radii[:count, None] + radii[None, count : 2 * count] - gaps
    return np.asarray(np.clip(depth, 0, None).max((1, 2)))


def report(
    points: NDArray[np.float64], depth_m: NDArray[np.float64], frames_per_s: float
) -> list[str]:
    """Lines for a person: overlap, depth below the mat, speed and acceleration.

    ``points (n_frames, 2, 21, 3)`` are keypoints in metres.
    """
    speed = np.linalg.norm(np.diff(points, axis=0), axis=-1) * frames_per_s
    jolt = np.linalg.norm(np.diff(points, n=2, axis=0), axis=-1) * frames_per_s**2
    return [
        f"frames: {len(points)}",
        f"flesh overlapping by more than {100 * DEEP_M:.0f} cm: {(depth_m > DEEP_M).sum()} frames",
        f"deepest overlap: {100 * depth_m.max():.1f} cm",
        f"lowest keypoint: {100 * points[..., 2].min():.1f} cm above the mat",
        f"fastest keypoint: {speed.max():.1f} m/s",
        f"greatest acceleration: {jolt.max():.0f} m/s2",
    ]
