"""The pose pass's errors on true keypoints, with their persistence.

A heel behind a thigh is wrong for seconds, not for one frame. Every keypoint strays: quickly,
slowly and for as long as a pose is held, each by its own measure, far more while it is hidden, and
now and then several times as far as usual. A hidden one is drawn to where it usually is. For
stretches a keypoint lies at the opponent's or at the other side's, the limbs of a side are
exchanged, a keypoint or an athlete is missing. The figures stand in ``pass_errors.json`` beside
this file.
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

from posescore.evaluation.poses3d.estimator_errors import ARMS, LEGS
from posescore.lab.walks.motion import FPS, Rng, smoothed, wander
from posescore.lab.walks.usual_places import usual_places
from posescore.pose.track import PairTrack
from posescore.terms import MIRRORED_KEYPOINTS, N_KEYPOINTS

FILE: Final = Path(__file__).with_name("pass_errors.json")
_GUESS_EVERY: Final = 3
"""Where hidden keypoints usually are is told for every third frame: a tenth of a second."""


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
    out = _as_usual(_exchanged(true, rng, f, amount), true, visible, rng, f)
    out = _strayed(out, visible, size, rng, f, amount)
    out = _elsewhere(out, true, visible, rng, f, amount)
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


def _as_usual(
    points: NDArray[np.float32],
    true: NDArray[np.float32],
    visible: NDArray[np.bool_],
    rng: Rng,
    f: dict[str, Any],
) -> NDArray[np.float32]:
    """Hidden keypoints a part of the way to where they usually are."""
    behind = smoothed((~visible).astype(np.float32), 4.0)[..., None]
    some = np.arange(0, len(true), _GUESS_EVERY)
    way = usual_places(true[some], visible[some]) - true[some]
    way = np.repeat(way, _GUESS_EVERY, 0)[: len(true)]
    share = np.clip(f["usual_share"] + f["usual_spread"] * rng.standard_normal(2), 0.0, 1.0)
    share = share.astype(np.float32)[:, None, None]
    return np.asarray(points + share * behind * smoothed(way, 4.0), np.float32)


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
    seen_sd, hidden_sd = (np.array(f[f"noise_{name}"]) for name in ("seen", "hidden"))
    tail = f["tail_seen"] + behind * (f["tail_hidden"] - f["tail_seen"])
    far = np.exp(tail * wander(rng, n, 42, f["slow_s"]).reshape(behind.shape))
    sd = amount * (seen_sd + behind * (hidden_sd - seen_sd)) * far
    shares = np.clip(f["slower_share"], 0.0, 1.0)
    lasting = (shares[0] + behind * (shares[1] - shares[0]))[..., None]
    slow, slower = (
        wander(rng, n, 84, f[name]).reshape(points.shape) for name in ("slow_s", "slower_s")
    )
    quick = rng.standard_normal(points.shape, np.float32)
    share = min(1.0, f["slow_share"])
    stray = share * (np.sqrt(1 - lasting) * slow + np.sqrt(lasting) * slower)
    stray = sd[..., None] * (stray + np.sqrt(1 - share**2) * quick)
    return np.asarray(points + stray * size[:, None, None, None], np.float32)


def _elsewhere(
    points: NDArray[np.float32],
    true: NDArray[np.float32],
    visible: NDArray[np.bool_],
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
                else:
                    points[a:b, slot, k] = true[a:b, slot, MIRRORED_KEYPOINTS[k]] + offset
    return points


def _confidence(
    error: NDArray[np.float32], visible: NDArray[np.bool_], rng: Rng, f: dict[str, Any]
) -> NDArray[np.float32]:
    n = len(error)
    behind = smoothed((~visible).astype(np.float32), 3.0)
    seen, hidden = f["confidence_level"]
    floor = f["confidence_floor"]
    fall = floor + (1 - floor) * np.exp(-((error / f["confidence_fall"]) ** 2))
    noise = f["confidence_noise"] * wander(rng, n, 42, 0.7).reshape(error.shape)
    level = seen + behind * (hidden - seen)
    return np.asarray(np.clip(level * fall + noise, 0.02, 0.99), np.float32)


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
