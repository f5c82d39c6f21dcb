"""Figures filmed: a track of one pair standing still in front of a camera, with its errors."""

from __future__ import annotations

import numpy as np

from posescore.evaluation.poses3d.cameras import Cameras, random_cameras
from posescore.lab.train.criteria.body import Floats
from posescore.lab.train.criteria.calibration import seen
from posescore.lab.train.criteria.figures import SCENES, Scene
from posescore.pose.track import PairTrack
from posescore.terms import Provenance

FPS = 30.0


def track_of(frames_px: Floats, frames_per_s: float = FPS) -> PairTrack:
    n_frames = len(frames_px)
    keypoints = frames_px.astype(np.float32)
    return PairTrack(
        keypoints,
        np.where(np.isnan(keypoints[..., 0]), np.nan, 0.9).astype(np.float32),
        np.arange(n_frames, dtype=np.int64),
        np.arange(n_frames) / frames_per_s,
        n_frames / frames_per_s,
        (1280, 720),
        Provenance("test"),
    )


def blemished(
    still_px: Floats, random: np.random.Generator, noise: float = 0.02, missing: float = 0.1
) -> Floats:
    """Noise in parts of an athlete's height, about 0.55 of the pair's box, and missing joints."""
    points = still_px.reshape(len(still_px), -1, 2)
    size = (points.max(axis=1) - points.min(axis=1)).max(axis=1)[:, None, None, None]
    noisy = still_px + 0.55 * noise * size * random.standard_normal(still_px.shape)
    noisy[random.random(noisy.shape[:3]) < missing] = np.nan
    return noisy


def filmed(
    pairs_m: Floats, random: np.random.Generator, elevation_deg: tuple[float, float] = (3, 35)
) -> Floats:
    """Each pair ``(n, 2, 21, 3)`` through a camera of its own, without errors."""
    points = pairs_m.astype(np.float32)
    cameras: Cameras = random_cameras(points, random, elevation_deg=elevation_deg)
    return cameras.project(points)[0].astype(np.float64)


__all__ = ["FPS", "SCENES", "Scene", "blemished", "filmed", "seen", "track_of"]
