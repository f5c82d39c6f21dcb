"""How two athletes go from their feet to the mat: who came down when, who stayed up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from posescore.holds.geometry import lowest_y, middle, scale_px
from posescore.holds.windows import instants
from posescore.pose.track import PairTrack
from posescore.terms import Athlete, Floats

_BEGUN: Final = 0.25
_LANDED: Final = 0.65
"""Shares of the hips' height over the mat that are lost. Lying hips keep a tenth to a third."""
_LEAST_HIP_M: Final = 0.5
"""On the feet, however bent, hips are higher than this."""


@dataclass(frozen=True, slots=True)
class Descent:
    """One passage from the feet to the mat.

    Parameters
    ----------
    begun_s
        When either athlete's hips had come down a quarter of the way.
    landed_s
        When the lower one's had come down three quarters.
    lead_s
        How much earlier the upper one's hips came down a quarter; negative: the lower one's first.
        0 where the upper one's did not come down for good: he bent and rose, or stayed up, and only
        ``upper_drop`` tells which.
    upper_drop
        Share of the way that the upper one's hips had come down when the lower one landed.
    """

    begun_s: float
    landed_s: float
    lead_s: float
    upper_drop: float


def descent(track: PairTrack, start_s: float, end_s: float, upper: Athlete) -> Descent | None:
    """Measure the descent within a stretch that begins on the feet and ends on the mat.

    Returns
    -------
    Descent or None
        None where the hips were not seen well enough, or nobody came down.

    Notes
    -----
    The mat is taken to be where the pair's lowest keypoints are, so that a pair that moves away
    from the camera (and up in the picture) does not seem to rise. Heights are on the picture's
    scale, and shares of the first instants' median.
    """
    seen = instants(track, start_s, end_s, upper)
    mat = lowest_y(seen.pair_px[:, 0], seen.pair_px[:, 1])
    hips = np.stack([middle(seen.pair_px[:, slot], "hip")[:, 1] for slot in (0, 1)], axis=1)
    time_s = (seen.edges_s[:-1] + seen.edges_s[1:]) / 2
    known = np.isfinite(hips).all(axis=1) & np.isfinite(mat)
    if known.sum() < 4:
        return None
    height = (mat[:, None] - hips)[known] / np.nanquantile(scale_px(seen.pair_px[known]), 0.75)
    time_s = time_s[known]
    standing = np.maximum(np.median(height[: max(2, len(height) // 4)], axis=0), _LEAST_HIP_M)
    way = 1.0 - height / standing
    begun = [_first(way[:, slot], time_s, _BEGUN) for slot in (0, 1)]
    landed_s = _first(way[:, 1], time_s, _LANDED)
    if not np.isfinite(landed_s) or not np.isfinite(begun[1]):
        return None
    drop = float(np.interp(landed_s, time_s, way[:, 0]))
    lead_s = float(np.clip(begun[1] - begun[0], -2.0, 2.0)) if np.isfinite(begun[0]) else 0.0
    return Descent(float(min(begun)), float(landed_s), lead_s, drop)


def _first(way: Floats, time_s: Floats, level: float) -> float:
    """When a share of the way is reached for good: no later instant falls back below half of it."""
    above = way >= level
    lasting = np.minimum.accumulate(way[::-1])[::-1] >= level / 2
    found = np.flatnonzero(above & lasting)
    return float(time_s[found[0]]) if len(found) else np.inf
