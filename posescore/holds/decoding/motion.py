"""How settled the pair is: between two positions bodies move, in a held one they hardly do."""

from __future__ import annotations

from typing import Final

import numpy as np

from posescore.holds.geometry import scale_px
from posescore.holds.windows import instants
from posescore.pose.track import PairTrack
from posescore.position.probabilities import PositionProbabilities
from posescore.terms import KEYPOINT_INDEX, STATES, Athlete, Floats, Position, State

_BODY: Final = [
    KEYPOINT_INDEX[f"{side}_{joint}"]
    for joint in ("shoulder", "hip", "knee", "ankle")
    for side in ("left", "right")
]
_ON_THE_WAY: Final = 2.5
"""Times the match's median speed at which moving on and staying are as likely.

Positions are held for most of a match, so the median is the speed of holding, whatever the
athletes' style and the keypoints' jitter.
"""
_ON_THE_WAY_M_S: Final = (0.15, 0.35)
"""The same, at least and at most.

Changing a position moves a body by its own width, half a metre, in one to two seconds; holding
one, with the other fighting it, moves it by centimetres. Judgement, to a factor of about two: no
open footage with this truth was at hand.
"""
_SLOPE: Final = 0.25
"""Of the logistic in the logarithm of speed: from a tenth to nine tenths within a factor of 3."""
_JITTER_INSTANTS: Final = 5
_LASTING_INSTANTS: Final = 5
"""The speed is the median over so many instants, a second: bodies on the way move for longer than
the pose pass's keypoints jump. Chosen on the filmed training matches (decision 0507)."""
_MOST: Final = 0.9
_SCRAMBLE: Final = STATES.index(State(Position.SCRAMBLE))
_STANDING: Final = STATES.index(State(Position.STANDING))


def speed_m_s(track: PairTrack) -> tuple[Floats, Floats]:
    """Times of instants and how fast the more moving athlete's body moves there, both ``(n,)``.

    The upper quartile over shoulders, hips, knees and ankles, on the picture's scale, less the
    median movement of the less moving athlete, which is taken to be the camera's, and less what
    the keypoints' jitter makes up. NaN where unseen.

    Notes
    -----
    Where ``x`` jitters from instant to instant with variance ``s`` around a smooth way,
    ``x[i+1] - x[i-1]`` has variance ``2 s`` and ``x[i] - (x[i-1] + x[i+1]) / 2`` has ``1.5 s``
    and hardly any of the way itself: 4/3 of the latter's square is taken off the former's.
    """
    seen = instants(track, 0.0, track.end_s, Athlete.A)
    middle_s = (seen.edges_s[:-1] + seen.edges_s[1:]) / 2
    speed = np.full(len(seen), np.nan)
    if len(seen) < 3:
        return middle_s, speed
    scale = _quantile(scale_px(seen.pair_px)[:, None], 0.5, axis=0)
    body = seen.pair_px[:, :, _BODY] / scale
    moved = body[2:] - body[:-2]
    common = _quantile(moved, 0.5, axis=2)
    size = np.linalg.norm(common, axis=-1)
    slower = np.where(size[:, 0] <= size[:, 1], 0, 1)
    camera = common[np.arange(len(common)), slower]
    moved_m = _quantile(np.linalg.norm(moved - camera[:, None, None], axis=-1), 0.75, axis=2)
    off_m = np.linalg.norm(body[1:-1] - (body[2:] + body[:-2]) / 2, axis=-1)
    jitter_m = _smooth(_quantile(off_m, 0.75, axis=2))
    own_m = np.sqrt(np.maximum(moved_m**2 - 4.0 / 3.0 * jitter_m**2, 0.0))
    speed[1:-1] = own_m.max(axis=1) / (middle_s[2:] - middle_s[:-2])
    speed[0], speed[-1] = speed[1], speed[-2]
    return middle_s, speed


def unsettled(track: PairTrack) -> Floats:
    """``(n_frames,)``: probability that the pair is on the way from one position to another.

    0 where the movement is not seen: it says nothing there.
    """
    middle_s, speed = speed_m_s(track)
    usual = _quantile(speed, 0.5, axis=0) if len(speed) else np.nan
    speed = _lasting(speed)
    on_the_way = np.clip(_ON_THE_WAY * np.nan_to_num(usual), *_ON_THE_WAY_M_S)
    with np.errstate(divide="ignore", invalid="ignore"):
        odds = np.log(speed / on_the_way) / _SLOPE
        likely = np.minimum(1.0 / (1.0 + np.exp(-odds)), _MOST)
    likely = np.where(np.isfinite(speed), likely, 0.0)
    if not len(middle_s):
        return np.zeros(len(track))
    return np.asarray(np.interp(track.time_s, middle_s, likely))


def with_motion(probabilities: PositionProbabilities, track: PairTrack) -> PositionProbabilities:
    """Probabilities in which what moves from one position to another counts as scramble.

    Standing keeps its share: athletes on their feet walk.
    """
    moving = unsettled(track)[:, None]
    row = probabilities.probability * (1.0 - moving)
    row[:, _STANDING] = probabilities.probability[:, _STANDING]
    row[:, _SCRAMBLE] = 0.0
    row[:, _SCRAMBLE] = 1.0 - row.sum(axis=1)
    return PositionProbabilities(
        np.clip(row, 0.0, 1.0), probabilities.time_s, probabilities.end_s, probabilities.provenance
    )


def _lasting(speed: Floats) -> Floats:
    """Median over a second around each instant; NaN only where all of it is unseen."""
    room = _LASTING_INSTANTS // 2
    padded = np.pad(speed, room, mode="edge") if len(speed) else speed
    windows = [padded[i : i + len(speed)] for i in range(_LASTING_INSTANTS)]
    return _quantile(np.stack(windows), 0.5, axis=0)


def _quantile(values: Floats, share: float, axis: int) -> Floats:
    """Quantile without what is missing, NaN where all is (``numpy.nanquantile`` warns there)."""
    ordered = np.sort(values, axis=axis)
    known = np.isfinite(values).sum(axis=axis, keepdims=True)
    at = share * np.maximum(known - 1, 0)
    low = np.take_along_axis(ordered, np.floor(at).astype(np.intp), axis=axis)
    high = np.take_along_axis(ordered, np.ceil(at).astype(np.intp), axis=axis)
    between = low + (at - np.floor(at)) * (high - low)
    return np.asarray(np.where(known > 0, between, np.nan).squeeze(axis))


def _smooth(jitter_m: Floats) -> Floats:
    """Root mean square over a second around each instant, ``(n, 2)``; missing ones left out."""
    window = np.ones(min(_JITTER_INSTANTS, len(jitter_m)))
    known = np.isfinite(jitter_m)
    square = np.where(known, jitter_m, 0.0) ** 2
    total = np.stack([np.convolve(square[:, k], window, mode="same") for k in (0, 1)], axis=1)
    count = np.stack([np.convolve(known[:, k], window, mode="same") for k in (0, 1)], axis=1)
    return np.asarray(np.sqrt(total / np.maximum(count, 1.0)))
