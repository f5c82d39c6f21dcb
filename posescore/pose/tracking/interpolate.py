"""From the frames that were looked at to every frame of the footage."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from posescore.pose.tracking.postprocess import BRIDGED_GAP_S
from posescore.pose.tracking.raw_track import RawTrack


def interpolated(
    track: RawTrack, time_s: NDArray[np.float64]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Keypoints and confidence at given times, by straight lines across gaps that are bridged.

    Parameters
    ----------
    time_s
        ``(n_frames,)`` rising.

    Returns
    -------
    ``(n_frames, 2, 21, 2)`` float32 and ``(n_frames, 2, 21)`` float32, both NaN where a keypoint
    is missing: before the first and behind the last detection, and in gaps longer than
    :data:`posescore.pose.tracking.postprocess.BRIDGED_GAP_S` or across a cut.

    Notes
    -----
    Frames behind the last one that was looked at stand as it does. Confidence is interpolated
    too, and lowered by up to a fifth in the middle of the longest bridged gap: a drawn line is
    worth less than a detection.
    """
    n_keypoints = track.keypoints_px.shape[2]
    points = np.full((len(time_s), 2, n_keypoints, 2), np.nan, np.float32)
    confidence = np.full((len(time_s), 2, n_keypoints), np.nan, np.float32)
    views = np.cumsum(track.cut)
    time_s = np.clip(time_s, track.time_s[0], track.time_s[-1])
    for slot in (0, 1):
        for k in range(n_keypoints):
            rows = np.flatnonzero(np.isfinite(track.keypoints_px[:, slot, k]).all(axis=-1))
            if not len(rows):
                continue
            left, right, fraction = _between(track.time_s[rows], time_s)
            gap_s = track.time_s[rows[right]] - track.time_s[rows[left]]
            same_view = views[rows[left]] == views[rows[right]]
            good = (fraction >= 0) & ((left == right) | ((gap_s <= BRIDGED_GAP_S) & same_view))
            before, after, part = rows[left[good]], rows[right[good]], fraction[good]
            xy = track.keypoints_px[:, slot, k]
            points[good, slot, k] = xy[before] + (xy[after] - xy[before]) * part[:, None]
            found = track.keypoint_confidence[:, slot, k]
            value = found[before] + (found[after] - found[before]) * part
            middle = 2 * np.minimum(part, 1 - part) * gap_s[good] / BRIDGED_GAP_S
            confidence[good, slot, k] = value * (1 - 0.2 * middle)
    return points, confidence


def _between(
    known_s: NDArray[np.float64], time_s: NDArray[np.float64]
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float64]]:
    """For each time the known rows before and after it and the fraction of the way; -1 outside."""
    right = np.searchsorted(known_s, time_s, side="left")
    exact = (right < len(known_s)) & (known_s[np.minimum(right, len(known_s) - 1)] == time_s)
    left = np.where(exact, right, right - 1)
    outside = (left < 0) | (right >= len(known_s))
    left, right = (np.clip(side, 0, len(known_s) - 1) for side in (left, right))
    gap = known_s[right] - known_s[left]
    fraction = np.where(gap > 0, (time_s - known_s[left]) / np.where(gap > 0, gap, 1.0), 0.0)
    return left, right, np.where(outside, -1.0, fraction)
