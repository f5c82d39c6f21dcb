from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from posescore.pose.track import FindingKind
from posescore.pose.tracking.interpolate import interpolated
from posescore.pose.tracking.postprocess import (
    BRIDGED_GAP_S,
    correct_sides,
    correct_swaps,
    stretches,
    two_state_path,
)
from posescore.pose.tracking.raw_track import RawTrack
from posescore.terms import MIRRORED_KEYPOINTS
from tests.pose.scenes import STANDING

COSTS = st.floats(0, 10)


@settings(max_examples=100, deadline=None)
@given(st.integers(1, 7).flatmap(lambda n: st.tuples(
    arrays(np.float64, (n, 2), elements=COSTS), arrays(np.float64, (n,), elements=COSTS),
    arrays(np.float64, (n,), elements=COSTS))))  # fmt: skip
def test_two_state_path_is_the_cheapest_of_all(
    given_costs: tuple[np.ndarray, np.ndarray, np.ndarray],
) -> None:
    cost, stay, switch = given_costs

    def total(path: tuple[int, ...]) -> float:
        moves = sum((stay if path[i] == path[i - 1] else switch)[i] for i in range(1, len(path)))
        return float(sum(cost[i, s] for i, s in enumerate(path)) + moves)

    best = min(total(path) for path in itertools.product((0, 1), repeat=len(cost)))
    found = tuple(int(s) for s in two_state_path(cost, stay, switch))
    assert abs(total(found) - best) < 1e-9


@given(st.lists(st.booleans(), max_size=30))
def test_stretches_are_the_runs_of_true(flags: list[bool]) -> None:
    rebuilt = np.zeros(len(flags), dtype=bool)
    for first, behind in stretches(np.array(flags, dtype=bool)):
        assert first < behind
        rebuilt[first:behind] = True
    assert rebuilt.tolist() == flags


def raw(n: int = 60, apart_px: float = 250.0) -> RawTrack:
    track = RawTrack.empty(np.arange(n) * 2, np.arange(n) / 15)
    for slot in (0, 1):
        track.keypoints_px[:, slot] = STANDING + np.array([200 + slot * apart_px, 180])
        track.keypoint_confidence[:, slot] = 0.8
        track.colour[:, slot] = ((85, 0, 5), (32, 8, -42))[slot]
    return track


def test_an_exchange_is_put_right_and_reported() -> None:
    track = raw()
    whole = track.keypoints_px.copy()
    rows = np.zeros(60, dtype=bool)
    rows[20:45] = True
    track.exchange(rows)
    findings = correct_swaps(track)
    np.testing.assert_array_equal(track.keypoints_px, whole)
    assert [f.kind for f in findings] == [FindingKind.POSSIBLE_SWAP]
    assert abs(findings[0].interval.start_s - 20 / 15) < 1e-6
    assert abs(findings[0].interval.end_s - 45 / 15) < 1e-6


def test_like_gis_are_never_exchanged() -> None:
    track = raw()
    track.colour[:] = (85, 0, 5)
    whole = track.keypoints_px.copy()
    assert not correct_swaps(track)
    np.testing.assert_array_equal(track.keypoints_px, whole)


def test_a_moment_of_wrong_colour_in_contact_changes_nothing() -> None:
    track = raw(apart_px=40)
    track.colour[20:24] = track.colour[20:24, ::-1]
    whole = track.keypoints_px.copy()
    assert not correct_swaps(track)
    np.testing.assert_array_equal(track.keypoints_px, whole)


def test_sides_are_put_right_where_they_jump() -> None:
    track = raw()
    whole = track.keypoints_px.copy()
    track.keypoints_px[30:33, 0] = track.keypoints_px[30:33, 0][:, list(MIRRORED_KEYPOINTS)]
    track.keypoints_px[50, 1] = track.keypoints_px[50, 1, list(MIRRORED_KEYPOINTS)]
    assert correct_sides(track) == 4
    np.testing.assert_array_equal(track.keypoints_px, whole)


def test_gaps_are_bridged_up_to_the_limit_and_never_across_a_cut() -> None:
    track = raw()
    short = round(BRIDGED_GAP_S * 15) - 1
    track.drop(np.isin(np.arange(60), np.arange(10, 10 + short)), 0)
    track.drop(np.isin(np.arange(60), np.arange(30, 30 + short + 2)), 0)
    time_s = np.arange(119) / 30
    points, confidence = interpolated(track, time_s)
    known = np.isfinite(points[:, 0]).all(axis=(1, 2))
    assert known[: 2 * 29].all()
    assert not known[2 * 30 : 2 * (30 + short + 2) - 1].any()
    assert np.isfinite(confidence[:, 0]).all(axis=1).tolist() == known.tolist()
    np.testing.assert_allclose(points[known, 0], np.broadcast_to(
        track.keypoints_px[0, 0], points[known, 0].shape), atol=1e-3)  # fmt: skip
    track.cut[12] = True
    cut_points, _ = interpolated(track, time_s)
    assert np.isnan(cut_points[2 * 10 : 2 * (10 + short) - 1, 0]).all()


def test_what_lies_between_two_frames_lies_on_the_line() -> None:
    track = raw(2)
    track.keypoints_px[1] += 10
    points, confidence = interpolated(track, np.array([0.0, 1 / 30, 1 / 15, 0.08]))
    np.testing.assert_allclose(points[1], track.keypoints_px[0] + 5, atol=1e-3)
    np.testing.assert_array_equal(points[3], track.keypoints_px[1])
    assert (confidence[1] < 0.8).all()
    assert (confidence[1] > 0.6).all()
