"""The pose pass's errors on true keypoints, with their persistence.

A heel behind a thigh is wrong for seconds, not for one frame. Every keypoint strays slowly and
quickly, more while it is hidden; for stretches it lies elsewhere (near by, at the opponent's or at
the other side's), the limbs of a side are exchanged, a keypoint or an athlete is missing. The
figures stand in ``pass_errors.json`` beside this file.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.lab.walks.motion import FPS, Rng, smoothed, wander
from posescore.pose.track import PairTrack
from posescore.simulation.estimator_errors import ARMS, LEGS
from posescore.terms import MIRRORED_KEYPOINTS, N_KEYPOINTS

FILE: Final = Path(__file__).with_name("pass_errors.json")


@lru_cache(maxsize=1)
def shipped_figures() -> dict[str, Any]:
    """The figures of the errors."""
    return dict(json.loads(FILE.read_text("utf-8")))


def errors(
    track: PairTrack,
    visible: NDArray[np.bool_],
    rng: Rng,
    figures: dict[str, Any] | None = None,
    amount: float | None = None,
) -> PairTrack:
    """A true track as the pass would have read it.

    Parameters
    ----------
    track
        True keypoints, 30 frames a second.
    visible
        ``(n, 2, 21)``.
    rng
        Draws everything.
    figures
        In place of ``pass_errors.json``.
    amount
        How bad the footage is as a whole; drawn around 1 by default.
    """
    f = figures or shipped_figures()
    amount = float(np.exp(0.3 * rng.standard_normal())) if amount is None else amount
    true = track.keypoints_px
    n = len(true)
    size = _pair_size(true)
    out = _exchanged(true, rng, f, amount)
    out = _strayed(out, visible, size, rng, f, amount)
    out = _elsewhere(out, true, visible, size, rng, f, amount)
    error = np.linalg.norm(out - true, axis=-1) / size[:, None, None]
    confidence = _confidence(error, visible, rng, f)
    gone = _gone(visible, rng, f, amount)
    for a, b in _spans(rng, n, f["slots_swapped_per_s"] * amount, f["slots_swapped_mean_s"]):
        out[a:b], confidence[a:b] = out[a:b, ::-1].copy(), confidence[a:b, ::-1].copy()
        gone[a:b] = gone[a:b, ::-1].copy()
    out[gone], confidence[gone] = np.nan, np.nan
    return replace(track, keypoints_px=out, keypoint_confidence=confidence)


def _pair_size(true: NDArray[np.float32]) -> NDArray[np.float32]:
    points = true.reshape(len(true), -1, 2)
    return np.asarray(np.maximum((points.max(1) - points.min(1)).max(1), 1.0), np.float32)


def _spans(rng: Rng, n: int, per_s: float, mean_s: float) -> Iterator[tuple[int, int]]:
    """Stretches of frames that begin at a rate and last about as long as said."""
    for begun in rng.integers(0, n, rng.poisson(per_s * n / FPS)):
        lasts = 1 + int(rng.exponential(mean_s) * FPS)
        yield int(begun), min(n, int(begun) + lasts)


def _exchanged(
    true: NDArray[np.float32], rng: Rng, f: dict[str, Any], amount: float
) -> NDArray[np.float32]:
    out = true.copy()
    for slot in (0, 1):
        for name, part in (("legs", LEGS), ("arms", ARMS)):
            other = [MIRRORED_KEYPOINTS[k] for k in part]
            rate = f[f"{name}_swapped_per_s"] * amount
            for a, b in _spans(rng, len(true), rate, f["swapped_mean_s"]):
                out[a:b, slot, list(part)] = true[a:b, slot][:, other]
    return out


def _strayed(
    points: NDArray[np.float32],
    visible: NDArray[np.bool_],
    size: NDArray[np.float32],
    rng: Rng,
    f: dict[str, Any],
    amount: float,
) -> NDArray[np.float32]:
    n = len(points)
    behind = smoothed((~visible).astype(np.float32), 4.0)
    seen_sd, hidden_sd = rng.uniform(*f["noise_seen"]), rng.uniform(*f["noise_hidden"])
    sd = amount * (seen_sd + behind * (hidden_sd - seen_sd))
    slow = wander(rng, n, 84, f["slow_s"]).reshape(points.shape)
    slower = wander(rng, n, 84, 4 * f["slow_s"]).reshape(points.shape)
    quick = rng.standard_normal(points.shape, np.float32)
    share = f["slow_share"]
    stray = sd[..., None] * (share * slow + np.sqrt(1 - share**2) * quick)
    stray += amount * f["bias_hidden"] * behind[..., None] * slower
    return np.asarray(points + stray * size[:, None, None, None], np.float32)


def _elsewhere(
    points: NDArray[np.float32],
    true: NDArray[np.float32],
    visible: NDArray[np.bool_],
    size: NDArray[np.float32],
    rng: Rng,
    f: dict[str, Any],
    amount: float,
) -> NDArray[np.float32]:
    n = len(points)
    kinds, weight = list(f["wrong_kinds"]), np.array(list(f["wrong_kinds"].values()))
    highest = f["wrong_per_s_hidden"] * amount
    for slot in (0, 1):
        for k in range(N_KEYPOINTS):
            for a, b in _spans(rng, n, highest, f["wrong_mean_s"]):
                if (
                    visible[a, slot, k]
                    and rng.random() > f["wrong_per_s_seen"] / f["wrong_per_s_hidden"]
                ):
                    continue
                kind = kinds[int(rng.choice(len(kinds), p=weight / weight.sum()))]
                offset = points[a:b, slot, k] - true[a:b, slot, k]
                if kind == "opponent":
                    points[a:b, slot, k] = true[a:b, 1 - slot, k] + offset
                elif kind == "mirrored":
                    points[a:b, slot, k] = true[a:b, slot, MIRRORED_KEYPOINTS[k]] + offset
                else:
                    aside = f["wrong_reach"] * rng.standard_normal(2) * size[a:b, None]
                    points[a:b, slot, k] += aside.astype(np.float32)
    return points


def _confidence(
    error: NDArray[np.float32], visible: NDArray[np.bool_], rng: Rng, f: dict[str, Any]
) -> NDArray[np.float32]:
    n = len(error)
    fall = np.exp(-((error / f["confidence_fall"]) ** 2))
    level = 0.9 - 0.3 * smoothed((~visible).astype(np.float32), 3.0)
    noise = f["confidence_noise"] * wander(rng, n, 42, 0.7).reshape(error.shape)
    return np.asarray(np.clip(level * (0.5 + 0.5 * fall) + noise, 0.02, 1.0), np.float32)


def _gone(
    visible: NDArray[np.bool_], rng: Rng, f: dict[str, Any], amount: float
) -> NDArray[np.bool_]:
    n = len(visible)
    gone = np.zeros(visible.shape, np.bool_)
    ratio = f["missing_per_s_seen"] / f["missing_per_s_hidden"]
    for slot in (0, 1):
        for k in range(N_KEYPOINTS):
            for a, b in _spans(rng, n, f["missing_per_s_hidden"] * amount, f["missing_mean_s"]):
                if not visible[a, slot, k] or rng.random() < ratio:
                    gone[a:b, slot, k] = True
        rate = f["athlete_missing_per_s"] * amount
        for a, b in _spans(rng, n, rate, f["athlete_missing_mean_s"]):
            gone[a:b, slot] = True
    return gone
