"""Where faces are, for hiding them: the athletes' by their keypoints, everybody's by a detector.

An athlete's head is hidden where its keypoints are, with room to spare; where they are missing, at
the place where it was last or is next known, in a disc that grows with the time between. Where
neither is within :data:`CARRIED_S`, nobody knows where it is, and the whole picture is made
unrecognisable. Whoever else is in the picture, in the background too, is hidden where the detector
(:mod:`posescore.pose.estimators.face_detector`) sees a face; turned away, blurred or a few pixels
small it may not: look before you share.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.footage.drawing import Disc
from posescore.pose.track import PairTrack

HEAD: Final = 5
"""COCO's first keypoints: nose, eyes, ears."""
CARRIED_S: Final = 1.0
"""A known place is used for so long; after a second on the ground a head can be anywhere."""
OF_BODY: Final = 0.16
"""Radius as a fraction of the athlete's extent: twice a head's half height (a head is about an
eighth of the stature), so that one ear alone still covers the face."""
OF_PICTURE: Final = 0.04
"""The smallest radius as a fraction of the picture's height."""
GROWTH_PER_S: Final = 1.0
"""So much of the athlete's extent a head moves in a second when things go fast: growing half as
fast left faces bare in 0.3 % of the sample match with every other half second missing."""


@dataclass(frozen=True, slots=True, eq=False)
class Faces:
    """Places of both faces in every row of a track.

    Parameters
    ----------
    centre_px
        ``(n_frames, 2, 2)``; NaN where no place is known.
    radius_px
        ``(n_frames, 2)``; NaN likewise.
    """

    centre_px: NDArray[np.float64]
    radius_px: NDArray[np.float64]

    @property
    def known(self) -> NDArray[np.bool_]:
        """``(n_frames,)``: both faces have a place."""
        return np.asarray(np.isfinite(self.radius_px).all(axis=1))

    def discs(self, row: int) -> list[Disc] | None:
        """The discs that hide both faces; None where a face has no known place."""
        if not self.known[row]:
            return None
        places = zip(self.centre_px[row], self.radius_px[row], strict=True)
        return [Disc(float(x), float(y), float(radius)) for (x, y), radius in places]


def faces_of(track: PairTrack) -> Faces:
    """Places of the faces in all rows of a track."""
    points = track.keypoints_px.astype(np.float64)
    smallest_px = OF_PICTURE * track.picture_size_px[1]
    centre = np.full((len(track), 2, 2), np.nan)
    radius = np.full((len(track), 2), np.nan)
    for slot in (0, 1):
        extent = _extent(points[:, slot], smallest_px)
        head = points[:, slot, :HEAD]
        seen = _there(head)
        rows = np.flatnonzero(seen.any(axis=1))
        if not len(rows):
            continue
        middle = np.nanmean(head[rows], axis=1)
        reach = np.nanmax(np.hypot(*np.moveaxis(head[rows] - middle[:, None], -1, 0)), axis=1)
        known = np.maximum.reduce([OF_BODY * extent[rows], 1.8 * reach])
        known = np.maximum(known, smallest_px)
        nearest, away_s = _nearest(track.time_s[rows], track.time_s)
        reached = away_s <= CARRIED_S
        centre[reached, slot] = middle[nearest[reached]]
        grown = known[nearest] + GROWTH_PER_S * extent * away_s
        radius[reached, slot] = grown[reached]
    return Faces(centre, radius)


def _there(points: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which points have a place."""
    return np.asarray(np.isfinite(points).all(axis=-1), np.bool_)


def _extent(points: NDArray[np.float64], smallest_px: float) -> NDArray[np.float64]:
    """Diagonal of the box around an athlete, at least the usual one (a body folds up)."""
    there = _there(points)
    low = np.where(there[..., None], points, np.inf).min(axis=1)
    high = np.where(there[..., None], points, -np.inf).max(axis=1)
    extent = np.where(there.any(axis=1), np.hypot(*np.where(high > low, high - low, 0).T), 0.0)
    usual = float(np.median(extent[extent > 0])) if (extent > 0).any() else smallest_px
    return np.maximum(extent, usual)


def _nearest(
    known_s: NDArray[np.float64], time_s: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """For every instant the index of the nearest known one, and how far off it is."""
    after = np.clip(np.searchsorted(known_s, time_s), 0, len(known_s) - 1)
    before = np.maximum(after - 1, 0)
    earlier = np.abs(time_s - known_s[before]) <= np.abs(known_s[after] - time_s)
    nearest = np.where(earlier, before, after)
    return nearest, np.abs(time_s - known_s[nearest])
