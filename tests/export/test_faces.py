"""Faces are hidden where keypoints are, where they were, and everywhere when nobody knows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.errors import InputError
from posescore.export.faces import CARRIED_S, GROWTH_PER_S, faces_of
from posescore.export.shots import Showing, shots_of
from posescore.footage.clock import FrameClock
from posescore.footage.drawing import Disc, hide_discs
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.pose.track import PairTrack
from tests.export.filmed import pair_track
from tests.library.samples import INFO, analysis

CLOCK = FrameClock.steady(90, 30.0)


def without(track: PairTrack, rows: slice, keypoints: slice, slot: int = 0) -> PairTrack:
    points, sure = track.keypoints_px.copy(), track.keypoint_confidence.copy()
    points[rows, slot, keypoints] = np.nan
    sure[rows, slot, keypoints] = np.nan
    return replace(track, keypoints_px=points, keypoint_confidence=sure)


def test_every_head_keypoint_is_inside_its_disc() -> None:
    track = pair_track(CLOCK)
    faces = faces_of(track)
    assert faces.known.all()
    away = np.hypot(*np.moveaxis(track.keypoints_px[:, :, :5] - faces.centre_px[:, :, None], -1, 0))
    assert (away.max(axis=2) < 0.6 * faces.radius_px).all()


def test_one_ear_is_enough_to_cover_the_face() -> None:
    """From an ear to the far end of a face is about an eighth of the stature."""
    track = pair_track(CLOCK)
    one_ear = without(track, slice(None), slice(0, 4))
    away = np.hypot(*(faces_of(one_ear).centre_px - faces_of(track).centre_px)[:, 0].T)
    stature_px = 45.0
    assert (away + stature_px / 16 < faces_of(one_ear).radius_px[:, 0]).all()


def test_a_missing_head_is_hidden_where_it_was_and_larger() -> None:
    track = pair_track(CLOCK)
    gone = without(track, slice(30, 60), slice(0, 5))
    faces, whole = faces_of(gone), faces_of(track)
    assert faces.known.all()
    inside = np.hypot(*(faces.centre_px - whole.centre_px)[:, 0].T) < faces.radius_px[:, 0]
    assert inside.all()
    assert (np.diff(faces.radius_px[29:45, 0]) > 0).all()
    assert faces.radius_px[45, 0] > 1.2 * faces.radius_px[29, 0]


def test_a_head_missing_for_long_has_no_place() -> None:
    gone = without(pair_track(CLOCK), slice(40, None), slice(0, 5))
    known = faces_of(gone).known
    last_s = CLOCK.pts_s[39] + CARRIED_S
    assert known.tolist() == [time_s <= last_s + 1e-9 for time_s in CLOCK.pts_s]
    assert faces_of(gone).discs(89) is None
    nobody = without(pair_track(CLOCK), slice(None), slice(None), slot=1)
    assert not faces_of(nobody).known.any()


@settings(max_examples=40, deadline=None)
@given(st.floats(-50, 150), st.floats(-50, 110), st.floats(0, 90), st.integers(0, 2**32 - 1))
def test_what_a_disc_hides_cannot_be_told_from_its_mirror(
    x: float, y: float, radius: float, seed: int
) -> None:
    """Outside nothing changes; inside fine detail is gone whatever it was."""
    picture = np.random.default_rng(seed).integers(0, 256, (60, 100, 3)).astype(np.uint8)
    before = picture.copy()
    hidden = hide_discs(picture, [Disc(x, y, radius)])
    assert (picture == before).all()
    rows, columns = np.ogrid[:60, :100]
    inside = (columns - x) ** 2 + (rows - y) ** 2 <= radius**2
    assert (hidden[~inside] == picture[~inside]).all()
    if inside.sum() > 400:
        steps = np.abs(np.diff(hidden.astype(int), axis=1)).mean(axis=2)
        within = inside[:, 1:] & inside[:, :-1]
        assert steps[within].mean() < 0.25 * np.abs(np.diff(picture.astype(int), axis=1)).mean()


@given(st.floats(0.0, 1.0), st.floats(0.0, 2 * np.pi), st.floats(0.1, 2 * CARRIED_S - 0.1))
def test_a_head_no_faster_than_allowed_for_stays_hidden_through_a_gap(
    speed: float, angle: float, gap_s: float
) -> None:
    clock = FrameClock.steady(120, 30.0)
    still = replace(pair_track(FrameClock.steady(120, 30.0)), time_s=clock.pts_s)
    body = np.repeat(still.keypoints_px[:1].astype(float), 120, axis=0)
    extent = np.hypot(*np.ptp(body[0, 0], axis=0))
    way = speed * GROWTH_PER_S * extent * np.array([np.cos(angle), np.sin(angle)])
    body[:, 0] += clock.pts_s[:, None, None] * way
    seen = body.astype(np.float32)
    gap = np.abs(clock.pts_s - 2.0) < gap_s / 2
    seen[gap, :, :5] = np.nan
    faces = faces_of(replace(still, keypoints_px=seen))
    away = np.hypot(*np.moveaxis(body[:, :, :5] - faces.centre_px[:, :, None], -1, 0))
    assert faces.known.all()
    assert (away <= faces.radius_px[..., None] + 1e-3).all()


def test_pictures_without_a_known_face_are_hidden_whole(
    filmed: tuple[Library, Match],
) -> None:
    library, match = filmed
    review = library.review(match.id)
    shots = shots_of(library, match, review, Showing(skeletons=False, hide_faces=True))
    frame = shots.footage.frame(100)
    part = shots.picture(frame)
    assert 0 < (part != frame.picture).any(axis=2).mean() < 0.4
    assert (part[:60] == frame.picture[:60]).all()
    assert shots._faces is not None
    shots._faces.radius_px[:] = np.nan
    whole = shots.picture(frame).astype(int)
    assert (
        np.abs(np.diff(whole, axis=1)).max()
        < 40
        < np.abs(np.diff(frame.picture[:64], axis=1)).max()
    )


def test_without_keypoints_faces_cannot_be_hidden(filmed: tuple[Library, Match]) -> None:
    library, match = filmed
    bare = library.add_match(replace(INFO, footage=match.info.footage))
    made = replace(analysis(), clock=library.analysis(match.id).clock)
    library.save_analysis(bare.id, made)
    with pytest.raises(InputError, match="faces can only be hidden by keypoints"):
        shots_of(library, bare, library.review(bare.id), Showing(hide_faces=True))
