"""Looking back over a finished track: exchanged athletes, exchanged sides, doubles, gaps.

Following decides frame by frame; only here is the future known too. Each function changes a
:class:`RawTrack` in place and returns what it found for a person to look at.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.oks import SIGMAS
from posescore.pose.track import Finding, FindingKind
from posescore.pose.tracking.appearance import colour_distance
from posescore.pose.tracking.raw_track import RawTrack
from posescore.pose.tracking.slots import COLOUR_UNIT
from posescore.terms import MIRRORED_KEYPOINTS, Athlete, Interval

BRIDGED_GAP_S: Final = 0.4
"""Gaps up to this are filled by straight lines: bodies in contact turn in no less than about half a
second, and 0.4 s of a hold's 3 s changes nothing."""
SAME_GI_DISTANCE: Final = 12.0
"""L*a*b* distance below which two gis look alike: the spread of one gi in light and shade."""
_SWITCH_COST: Final = 4.0
_SWITCH_COST_IN_CONTACT: Final = 1.5
_TRUST_ALONE: Final = 0.4
_TRUST_IN_CONTACT: Final = 0.15
_FLIP_PRIOR: Final = 0.02
_MERGED_OKS: Final = 0.65
"""True poses of both athletes are at most .2 alike in the rendered matches. One behind the other,
hidden limbs guessed half way, was found up to .6 alike and still nearer to the right one; doubles
are .75 alike and more."""


def two_state_path(
    cost: NDArray[np.float64], stay: NDArray[np.float64], switch: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """The cheapest path through two states (Viterbi).

    Parameters
    ----------
    cost
        ``(n, 2)``: cost of being in each state.
    stay, switch
        ``(n,)``: cost of keeping or changing the state on the way into row i; row 0 is not used.

    Returns
    -------
    ``(n,)`` bool: True where the path is in the second state.
    """
    n = len(cost)
    total = cost[0].copy()
    came_over = np.zeros((n, 2), dtype=np.bool_)
    for i in range(1, n):
        kept, changed = total + stay[i], total[::-1] + switch[i]
        came_over[i] = changed < kept
        total = np.minimum(kept, changed) + cost[i]
    path = np.zeros(n, dtype=np.bool_)
    state = int(total[1] < total[0])
    for i in range(n - 1, -1, -1):
        path[i] = bool(state)
        if came_over[i, state]:
            state = 1 - state
    return path


def stretches(flags: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """``(first, behind)`` rows of every run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def body_colours(track: RawTrack) -> NDArray[np.float64] | None:
    """``(2, 3)`` float64 L*a*b*: each athlete's gi over the track; None if one was never seen.

    Notes
    -----
    Medians over the half of the detections in which the bodies are furthest apart, where neither
    lies over the other.
    """
    both = np.isfinite(track.colour).all(axis=(1, 2))
    if not both.any():
        return None
    apart = np.nan_to_num(_apart(track)[both])
    far = apart >= np.median(apart)
    return np.asarray(np.median(track.colour[both][far], axis=0), dtype=np.float64)


def _apart(track: RawTrack) -> NDArray[np.float64]:
    """``(n,)``: distance of the body centres in mean body sizes, NaN unless both were found."""
    found = np.asarray(track.found.all(axis=1))
    apart = np.full(len(found), np.nan)
    if found.any():
        centre = np.nanmean(track.keypoints_px[found].astype(np.float64), axis=2)
        size = track.size_px[found].mean(axis=1)
        apart[found] = np.linalg.norm(centre[:, 0] - centre[:, 1], axis=-1) / size
    return apart


def correct_swaps(track: RawTrack) -> list[Finding]:
    """Put right where A and B were exchanged, judged by the colour of the gis.

    Notes
    -----
    Two states, as followed and exchanged. Evidence is how much better the colours fit one than
    the other, and counts little where the bodies touch, since there one gi covers the other;
    changing costs less there, since only there can following go wrong.
    """
    colours = body_colours(track)
    if colours is None or not len(track.time_s):
        return []
    separation = float(colour_distance(colours[0], colours[1]))
    if separation < SAME_GI_DISTANCE:
        return _doubtful_crossings(track, separation)
    evidence = _exchange_evidence(track, colours)
    apart = _apart(track)
    clear = apart > 1.0
    evidence *= np.where(clear, 1.0, np.where(np.isnan(apart), _TRUST_ALONE, _TRUST_IN_CONTACT))
    switch = np.where(~(clear & np.roll(clear, 1)), _SWITCH_COST_IN_CONTACT, _SWITCH_COST)
    cost = np.column_stack([evidence, -evidence])
    exchanged = two_state_path(cost, np.zeros(len(cost)), switch)
    track.exchange(exchanged)
    return [_swap_finding(track, rows) for rows in stretches(exchanged)]


def _exchange_evidence(track: RawTrack, colours: NDArray[np.float64]) -> NDArray[np.float64]:
    """``(n,)``: above 0 where the detections fit the other athlete's gi better, in colour units."""
    apart = colour_distance(track.colour[:, :, None], colours[None, None])
    kept = apart[:, 0, 0] - apart[:, 0, 1], apart[:, 1, 1] - apart[:, 1, 0]
    each = [np.nan_to_num(side) / COLOUR_UNIT for side in kept]
    return np.asarray(np.clip(each[0], -1, 1) + np.clip(each[1], -1, 1)) / 2


def _swap_finding(track: RawTrack, rows: tuple[int, int]) -> Finding:
    return Finding.named(
        FindingKind.POSSIBLE_SWAP, interval_of(track, *rows), 0.7, "finding_swapped"
    )


def _doubtful_crossings(track: RawTrack, separation: float) -> list[Finding]:
    """Where bodies of like colour touched or were lost and came apart again."""
    if not track.found.any():
        return []
    close: NDArray[np.bool_] = np.logical_not(_apart(track) > 0.6)
    return [
        Finding.named(
            FindingKind.POSSIBLE_SWAP,
            interval_of(track, first, behind),
            0.3,
            "finding_crossing",
            separation=separation,
        )
        for first, behind in stretches(close)
        if first > 0 and behind < len(close)
    ]


def drop_doubles(track: RawTrack) -> list[Finding]:
    """Keep one of two slots that lie on one body: the one whose gi fits; report long stretches."""
    squared = ((track.keypoints_px[:, 0] - track.keypoints_px[:, 1]).astype(np.float64) ** 2).sum(
        -1
    )
    area = np.maximum(1.0, 0.53 * track.size_px.min(axis=1) ** 2)
    fit = np.exp(-squared / (2 * area[:, None] * (2 * SIGMAS) ** 2))
    doubled = np.nan_to_num(fit).mean(axis=1) > _MERGED_OKS
    if not doubled.any():
        return []
    colours = body_colours(track)
    if colours is None:
        wrong_is_b = np.ones(len(doubled), dtype=np.bool_)
    else:
        seen = np.nanmean(np.nan_to_num(track.colour), axis=1)
        to_each = colour_distance(seen[:, None], colours)
        wrong_is_b = to_each[:, 0] <= to_each[:, 1]
    track.drop(doubled & wrong_is_b, 1)
    track.drop(doubled & ~wrong_is_b, 0)
    return [
        Finding.named(FindingKind.MERGED, interval, 0.8, "finding_merged")
        for interval in (interval_of(track, *rows) for rows in stretches(doubled))
        if interval.duration_s > BRIDGED_GAP_S
    ]


def correct_sides(track: RawTrack) -> int:
    """Put right where left and right of one athlete are exchanged for a while; count the frames.

    Notes
    -----
    Limbs do not jump across a body between two frames. For every athlete the cheapest path through
    "as found" and "sides exchanged" is taken; the found sides win where motion says nothing.
    """
    mirrored = list(MIRRORED_KEYPOINTS)
    mended = 0
    for slot in (0, 1):
        rows = np.flatnonzero(track.found[:, slot])
        if len(rows) < 2:
            continue
        points = track.keypoints_px[rows, slot].astype(np.float64)
        size = track.size_px[rows, slot]
        stay, switch = np.zeros(len(rows)), np.zeros(len(rows))
        stay[1:] = _jump(points[:-1], points[1:]) / size[1:]
        switch[1:] = _jump(points[:-1], points[1:, mirrored]) / size[1:]
        fresh = np.diff(track.time_s[rows]) > BRIDGED_GAP_S
        stay[1:][fresh] = switch[1:][fresh] = 0.0
        prior = np.column_stack([np.zeros(len(rows)), np.full(len(rows), _FLIP_PRIOR)])
        flipped = rows[two_state_path(prior, stay, switch)]
        for array in (track.keypoints_px, track.keypoint_confidence):
            array[flipped, slot] = array[flipped, slot][:, mirrored]
        mended += len(flipped)
    return mended


def _jump(before: NDArray[np.float64], after: NDArray[np.float64]) -> NDArray[np.float64]:
    """``(n,)``: mean distance of keypoints ``(n, 21, 2)`` that both frames have; 0 for none."""
    distance = np.linalg.norm(after - before, axis=-1)
    known = np.isfinite(distance)
    return np.asarray(np.where(known, distance, 0.0).sum(axis=1) / np.maximum(1, known.sum(axis=1)))


def missing_findings(track: RawTrack) -> list[Finding]:
    """One finding for every stretch in which an athlete was not found and which is not bridged."""
    return [
        Finding.named(
            FindingKind.ATHLETE_MISSING, interval, 1.0, "finding_missing", letter=str(athlete)
        )
        for athlete in Athlete
        for interval in (interval_of(track, *r) for r in stretches(~track.found[:, athlete.slot]))
        if interval.duration_s > BRIDGED_GAP_S
    ]


def interval_of(track: RawTrack, first: int, behind: int) -> Interval:
    """The time from a row to the row behind the last."""
    times = track.time_s
    end_s = times[behind] if behind < len(times) else times[-1] + _usual_step_s(times)
    return Interval(float(times[first]), float(end_s))


def _usual_step_s(times: NDArray[np.float64]) -> float:
    return float(np.median(np.diff(times))) if len(times) > 1 else 0.04
