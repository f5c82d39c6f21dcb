"""A walked match as cameras see it: pixels of 21 keypoints, and what is hidden."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore import __version__
from posescore.evaluation.poses3d.body_keypoints import body_keypoints_m
from posescore.evaluation.poses3d.cameras import PICTURE_SIZES_PX, Cameras
from posescore.evaluation.poses3d.estimator_errors import hidden
from posescore.evaluation.poses3d.pose_set import JOINT
from posescore.lab.walks.motion import FPS, Rng, smoothed, wander
from posescore.lab.walks.walking import WalkedMatch
from posescore.pose.track import Finding, FindingKind, PairTrack
from posescore.terms import KEYPOINT_INDEX, N_KEYPOINTS, Interval, Provenance, Step

HEIGHT_M: Final = (0.8, 6.0)
DISTANCE_M: Final = (2.8, 11.0)
SWINGING: Final = 0.3
"""Share of shots whose camera swings away from the pair and back now and then."""
SWING_WIDTHS: Final = (0.08, 0.7)
"""How far, in widths of the picture."""
SWING_S: Final = (0.25, 1.2)
"""Standard deviation of the bell of time that a swing follows."""
_FACE: Final = [
    KEYPOINT_INDEX[k] for k in ("nose", "left_eye", "right_eye", "left_ear", "right_ear")
]
_LOOK_EVERY: Final = 3
"""Hidden keypoints are looked for in every third frame: a tenth of a second."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """A match as seen.

    Parameters
    ----------
    track
        True keypoints as a track, confidence 1.
    true_px
        ``(n, 2, 21, 2)`` float32.
    visible
        ``(n, 2, 21)`` bool: not behind a body, a referee or the picture's edge.
    cuts_s
        Seconds at which the camera cuts to another view.
    """

    track: PairTrack
    true_px: NDArray[np.float32]
    visible: NDArray[np.bool_]
    cuts_s: tuple[float, ...]


def seen(match: WalkedMatch, rng: Rng) -> Seen:
    """Film a match's keypoints: one camera or several, following, zooming, shaken."""
    keypoints_m = keypoints_of(match, rng)
    n = len(keypoints_m)
    cuts = _cuts(n, rng)
    size = PICTURE_SIZES_PX[int(rng.integers(len(PICTURE_SIZES_PX)))]
    true_px = np.empty((n, 2, N_KEYPOINTS, 2), np.float32)
    visible = np.empty((n, 2, N_KEYPOINTS), np.bool_)
    for a, b in pairwise(cuts):
        cameras = cameras_of(keypoints_m[a:b], size, rng)
        true_px[a:b], depth = cameras.project(keypoints_m[a:b])
        some = slice(0, b - a, _LOOK_EVERY)
        scale = (cameras.focal_px[some] / depth[some].mean((1, 2))).astype(np.float32)
        behind = hidden(true_px[a:b][some], depth[some], scale)
        visible[a:b] = ~np.repeat(behind, _LOOK_EVERY, 0)[: b - a]
        visible[a:b] &= ~_referee(true_px[a:b], rng)
    inside = (true_px >= 0) & (true_px < np.array(size))
    visible &= inside.all(-1)
    cuts_s = tuple(c / FPS for c in cuts[1:-1])
    return Seen(_track(true_px, size, cuts_s), true_px, visible, cuts_s)


def keypoints_of(match: WalkedMatch, rng: Rng) -> NDArray[np.float32]:
    """21 keypoints ``(n, 2, 21, 3)`` in metres, as one estimator means them throughout.

    Heads turn slowly; hips and shoulders lie a little otherwise, the same way in every frame.
    """
    points = body_keypoints_m(match.joints_m, rng, 0.0)
    n = len(points)
    for slot in (0, 1):
        head = match.joints_m[:, slot, JOINT["head"], None]
        up = match.joints_m[:, slot, JOINT["head"]] - match.joints_m[:, slot, JOINT["neck"]]
        up = up / np.maximum(np.linalg.norm(up, axis=-1, keepdims=True), 1e-6)
        turn = 0.45 * wander(rng, n, 1, 1.5)[:, :, None]
        face = points[:, slot, _FACE] - head
        axis = up[:, None]
        along = (face * axis).sum(-1, keepdims=True) * axis
        face = along + np.cos(turn) * (face - along) + np.sin(turn) * np.cross(axis, face)
        points[:, slot, _FACE] = head + face
    for part, spread, rise in (("hip", 0.14, 0.03), ("shoulder", 0.10, 0.02)):
        sides = [KEYPOINT_INDEX[f"{s}_{part}"] for s in ("left", "right")]
        middle = points[:, :, sides].mean(2, keepdims=True)
        wide = 1 + spread * rng.uniform(-1, 0.6)
        along = match.joints_m[:, :, JOINT["neck"]] - match.joints_m[:, :, JOINT["core"]]
        lift = rise * rng.standard_normal() * along[:, :, None] / 0.38
        points[:, :, sides] = middle + wide * (points[:, :, sides] - middle) + lift
    return points.astype(np.float32)


def _cuts(n: int, rng: Rng) -> list[int]:
    count = int(rng.choice([0, 1, 2, 3], p=[0.55, 0.2, 0.15, 0.1]))
    inner = sorted(int(c) for c in rng.uniform(3 * FPS, max(3 * FPS + 1, n - 3 * FPS), count))
    kept = [0]
    for cut in inner:
        if cut - kept[-1] >= 3 * FPS and n - cut >= 2 * FPS:
            kept.append(cut)
    return [*kept, n]


def cameras_of(points_m: NDArray[np.float32], size_px: tuple[int, int], rng: Rng) -> Cameras:
    """One camera for each frame of a shot, somewhere around the pair."""
    n = len(points_m)
    flat = points_m.reshape(n, -1, 3)
    middle = smoothed(((flat.min(1) + flat.max(1)) / 2).astype(np.float32), 20.0).astype(np.float64)
    follows = rng.uniform(0.6, 1.0) if rng.random() < 0.85 else 1.0
    aim = follows * middle + (1 - follows) * middle.mean(0)
    home = middle.mean(0)
    height = float(np.exp(rng.uniform(*np.log(HEIGHT_M))))
    distance = max(float(np.exp(rng.uniform(*np.log(DISTANCE_M)))), 0.8 * height)
    azimuth = rng.uniform(0, 2 * np.pi)
    walk = (
        np.cumsum(wander(rng, n, 1, 3.0)[:, 0])
        / FPS
        * rng.choice([0.0, 0.15, 0.4], p=[0.5, 0.3, 0.2])
    )
    angle = azimuth + walk / max(distance, 1.0)
    shake = rng.choice([0.0, 1.0, 2.0], p=[0.3, 0.5, 0.2])
    place = home + np.stack([distance * np.cos(angle), distance * np.sin(angle), 0 * angle], 1)
    place[:, 2] = height
    place += 0.02 * shake * wander(rng, n, 3, 0.8)
    aim = aim + 0.02 * shake * wander(rng, n, 3, 0.5)
    radius = np.percentile(np.linalg.norm(flat - middle[:, None], axis=2).max(1), 80)
    fill = rng.uniform(0.3, 0.85)
    away = np.linalg.norm(aim - place, axis=1)
    zoom = np.exp(rng.choice([0.0, 0.12, 0.25], p=[0.5, 0.3, 0.2]) * wander(rng, n, 1, 5.0)[:, 0])
    focal = fill * min(size_px) / 2 * np.median(away) / radius * zoom
    roll = np.deg2rad(rng.normal(0, 2.0) + 0.5 * shake * wander(rng, n, 1, 1.0)[:, 0])
    aside = rng.uniform(-0.3, 0.3, 2) * (1 - fill) * radius
    aim = aim + np.array([aside[0], aside[1], 0.0])
    aim = place + _swung(aim - place, focal / size_px[0], rng)
    return Cameras(place, _axes(aim - place, roll), focal, np.tile(np.array(size_px), (n, 1)))


def _swung(ahead: NDArray[np.float64], focal: NDArray[np.float64], rng: Rng) -> NDArray[np.float64]:
    """Ways ahead ``(n, 3)`` with swings to a side and back, up to the picture's edge and beyond.

    ``focal`` is in widths of the picture.
    """
    n = len(ahead)
    if rng.random() > SWINGING:
        return ahead
    at, turn = rng.uniform(0.0, 8.0), np.zeros(n)
    while at < n / FPS:
        far = rng.choice([-1.0, 1.0]) * np.exp(rng.uniform(*np.log(SWING_WIDTHS)))
        wide = np.exp(rng.uniform(*np.log(SWING_S)))
        bell = np.exp(-0.5 * ((np.arange(n) / FPS - at) / wide) ** 2)
        turn += np.arctan(far / focal) * bell
        at += rng.uniform(3.0, 18.0)
    cos, sin = np.cos(turn), np.sin(turn)
    across = np.stack(
        [cos * ahead[:, 0] - sin * ahead[:, 1], sin * ahead[:, 0] + cos * ahead[:, 1]]
    )
    return np.concatenate([across.T, ahead[:, 2:]], 1)


def _axes(ahead: NDArray[np.float64], roll_rad: NDArray[np.float64]) -> NDArray[np.float64]:
    ahead = ahead / np.linalg.norm(ahead, axis=1, keepdims=True)
    right = np.cross(ahead, np.array([0.0, 0.0, 1.0]))
    right /= np.maximum(np.linalg.norm(right, axis=1, keepdims=True), 1e-6)
    down = np.cross(ahead, right)
    cos, sin = np.cos(roll_rad)[:, None], np.sin(roll_rad)[:, None]
    return np.stack([cos * right + sin * down, cos * down - sin * right, ahead], axis=1)


def _referee(true_px: NDArray[np.float32], rng: Rng) -> NDArray[np.bool_]:
    """What a referee who walks through the picture hides, ``(n, 2, 21)``."""
    n = len(true_px)
    covered = np.zeros(true_px.shape[:3], np.bool_)
    low, high = true_px.min((1, 2)), true_px.max((1, 2))
    for _ in range(int(rng.poisson(0.012 * n / FPS))):
        begun = int(rng.integers(0, n))
        ended = min(n, begun + int(rng.uniform(0.8, 4.0) * FPS))
        span = slice(begun, ended)
        part = np.linspace(rng.uniform(-0.2, 1.2), rng.uniform(-0.2, 1.2), ended - begun)
        x = low[span, 0] + part * (high[span, 0] - low[span, 0])
        half = 0.12 * (high[span] - low[span]).max(1)
        covered[span] |= np.abs(true_px[span, :, :, 0] - x[:, None, None]) < half[:, None, None]
    return covered


def _track(
    true_px: NDArray[np.float32], size_px: tuple[int, int], cuts_s: tuple[float, ...]
) -> PairTrack:
    n = len(true_px)
    findings = tuple(
        Finding(FindingKind.CUT, Interval(at, at), 1.0, f"The camera cuts at {at:.1f} s.")
        for at in cuts_s
    )
    return PairTrack(
        keypoints_px=true_px,
        keypoint_confidence=np.ones(true_px.shape[:3], np.float32),
        frame_index=np.arange(n, dtype=np.int64),
        time_s=np.arange(n) / FPS,
        end_s=n / FPS,
        picture_size_px=(int(size_px[0]), int(size_px[1])),
        provenance=Provenance(__version__, (Step("walked match", {}),)),
        findings=findings,
    )
