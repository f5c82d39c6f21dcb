"""Tracks for tests: of given pixels, and the sample match's true keypoints."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from posescore.pose.coco import track_from_coco
from posescore.pose.track import PairTrack
from posescore.resources import shipped
from posescore.terms import MIRRORED_KEYPOINTS, Floats, Provenance

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


@cache
def sample_track() -> PairTrack:
    """True keypoints of the sample match, 30 a second."""
    return track_from_coco(Path(shipped("sample_video", "keypoints.json")))


def exchanged(track: PairTrack) -> PairTrack:
    return replace(
        track,
        keypoints_px=track.keypoints_px[:, ::-1],
        keypoint_confidence=track.keypoint_confidence[:, ::-1],
    )


def mirrored(track: PairTrack) -> PairTrack:
    image = track.keypoints_px[:, :, list(MIRRORED_KEYPOINTS)].copy()
    image[..., 0] = track.picture_size_px[0] - image[..., 0]
    confidence = track.keypoint_confidence[:, :, list(MIRRORED_KEYPOINTS)]
    return replace(track, keypoints_px=image, keypoint_confidence=confidence)


def at_rate(track: PairTrack, frames_per_s: float) -> PairTrack:
    """The same film with other frames: keypoints move in straight lines between those given."""
    time_s = np.arange(int(track.end_s * frames_per_s)) / frames_per_s
    before = np.clip(np.searchsorted(track.time_s, time_s, "right") - 1, 0, len(track) - 2)
    part = (time_s - track.time_s[before]) / (track.time_s[before + 1] - track.time_s[before])
    part = np.clip(part, 0, 1)[:, None, None]
    points, sure = track.keypoints_px, track.keypoint_confidence
    return PairTrack(
        ((1 - part[..., None]) * points[before] + part[..., None] * points[before + 1]).astype(
            np.float32
        ),
        ((1 - part) * sure[before] + part * sure[before + 1]).astype(np.float32),
        np.arange(len(time_s), dtype=np.int64),
        time_s,
        track.end_s,
        track.picture_size_px,
        track.provenance,
    )
