"""The model in time on the sample match: exchange, mirror and frame rates change nothing.

Instants are held against plain medians (numpy as reference), one instant at a time.
"""

from __future__ import annotations

import warnings
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from posescore.errors import MissingPartError
from posescore.holds.film.features import Features, features_of, mirrored_features
from posescore.holds.film.instants import INSTANT_S, LEAST_CONFIDENCE, instants_of
from posescore.holds.film.model import BLOCK, CONTEXT, TimeModel
from posescore.holds.find import find_holds
from posescore.holds.hold import Hold
from posescore.pose.track import PairTrack
from posescore.terms import N_KEYPOINTS, STATES, Position
from tests.holds.footage import at_rate, exchanged, mirrored, sample_track, track_of

SWAPPED = [STATES.index(state.swapped) for state in STATES]


@pytest.fixture(scope="module")
def model() -> TimeModel:
    return TimeModel.load()


def spoilt(n_frames: int, frames_per_s: float) -> PairTrack:
    random = np.random.default_rng(3)
    points = random.normal(400, 100, (n_frames, 2, N_KEYPOINTS, 2))
    points[random.random(points.shape[:3]) < 0.2] = np.nan
    track = track_of(points, frames_per_s)
    sure = random.random(points.shape[:3]).astype(np.float32)
    return replace(track, keypoint_confidence=np.where(np.isnan(points[..., 0]), np.nan, sure))


@pytest.mark.parametrize("frames_per_s", [10.0, 24.0, 29.97, 60.0])
def test_instants_are_medians_of_what_is_surest(frames_per_s: float) -> None:
    track = spoilt(900, frames_per_s)
    film = instants_of(track)
    cell = np.floor((track.time_s + 1e-6) / INSTANT_S)
    assert len(film) == int(np.ceil(track.end_s / INSTANT_S - 1e-6))
    for instant in range(0, len(film), 7):
        points = track.keypoints_px[cell == instant].astype(float)
        trust = track.keypoint_confidence[cell == instant]
        sure = trust >= LEAST_CONFIDENCE
        points[~sure & sure.any(axis=0)] = np.nan
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # all missing
            wanted = np.nanmedian(points, axis=0)
            mean = np.nanmean(np.where(np.isnan(points[..., 0]), np.nan, trust), axis=0)
        np.testing.assert_allclose(film.keypoints_px[instant], wanted)
        np.testing.assert_allclose(film.confidence[instant], mean, rtol=1e-5)


def test_slow_footage_fills_instants_without_a_frame_and_long_gaps_stay_empty() -> None:
    track = track_of(np.full((20, 2, N_KEYPOINTS, 2), 5.0), 5.0)
    assert np.isfinite(instants_of(track).keypoints_px).all()
    kept = [*range(10), *range(15, 20)]
    gap = replace(
        track,
        keypoints_px=track.keypoints_px[kept],
        keypoint_confidence=track.keypoint_confidence[kept],
        frame_index=track.frame_index[kept],
        time_s=track.time_s[kept],
    )
    known = np.isfinite(instants_of(gap).keypoints_px).all(axis=(1, 2, 3))
    assert known.tolist() == [True] * 20 + [False] * 10 + [True] * 10


def test_features_follow_exchange_mirror_place_and_size() -> None:
    track = at_rate(sample_track(), 20.0)
    plain = features_of(instants_of(track))
    other = features_of(instants_of(exchanged(track)))
    np.testing.assert_allclose(other.poses, plain.poses[:, ::-1], atol=1e-5)
    np.testing.assert_allclose(other.motion, plain.motion[:, ::-1], atol=1e-4)
    image, wanted = features_of(instants_of(mirrored(track))), mirrored_features(plain)
    np.testing.assert_allclose(image.poses, wanted.poses, atol=1e-3)
    np.testing.assert_allclose(image.motion, wanted.motion, atol=1e-3)
    moved = replace(track, keypoints_px=(0.5 * track.keypoints_px + 70).astype(np.float32))
    again = features_of(instants_of(moved))
    np.testing.assert_allclose(again.poses, plain.poses, atol=1e-3)
    np.testing.assert_allclose(again.motion, plain.motion, atol=2e-3)


def test_a_turn_of_the_camera_is_no_movement_of_the_athletes() -> None:
    still = np.repeat(sample_track().keypoints_px[900:901], 90, axis=0).astype(float)
    panned = still + np.linspace(0, 400, 90)[:, None, None, None] * [1, 0]
    speeds = features_of(instants_of(track_of(panned))).motion[3:-3]
    assert np.abs(speeds[..., :16]).max() < 0.02
    assert np.abs(speeds[..., 16]).min() > 0.5


def test_exchanging_athletes_exchanges_the_sides(model: TimeModel) -> None:
    film, other = model.read(sample_track()), model.read(exchanged(sample_track()))
    np.testing.assert_allclose(other.states, film.states[:, SWAPPED], atol=2e-3)
    np.testing.assert_allclose(other.criteria, film.criteria[:, ::-1], atol=2e-2)
    holds, events = find_holds(film)
    swapped, said = find_holds(other)
    assert [h.state.swapped for h in swapped] == [h.state for h in holds]
    assert [h.start_s for h in swapped] == pytest.approx([h.start_s for h in holds], abs=0.21)
    assert [(e.event, e.athlete and e.athlete.other) for e in said] == [
        (e.event, e.athlete) for e in events
    ]


def test_a_mirrored_film_says_the_same(model: TimeModel) -> None:
    film, image = model.read(sample_track()), model.read(mirrored(sample_track()))
    np.testing.assert_allclose(image.states, film.states, atol=5e-3)
    for one, other in zip(find_holds(film)[0], find_holds(image)[0], strict=True):
        assert (one.state, one.start_s) == (other.state, other.start_s)
        assert [(c.name, c.value) for c in one.checks] == [(c.name, c.value) for c in other.checks]


@pytest.mark.parametrize("frames_per_s", [24.0, 25.0, 29.97, 50.0, 60.0])
def test_other_frame_rates_say_the_same(model: TimeModel, frames_per_s: float) -> None:
    plain = joined(find_holds(model.read(sample_track()))[0])
    other = joined(find_holds(model.read(at_rate(sample_track(), frames_per_s)))[0])
    assert [hold.state for hold in other] == [hold.state for hold in plain]
    ends = np.array([[h.start_s, h.end_s] for h in plain])
    np.testing.assert_allclose([[h.start_s, h.end_s] for h in other], ends, atol=0.31)


def joined(holds: tuple[Hold, ...]) -> list[Hold]:
    """Holds before they were divided where an answer changes."""
    whole: list[Hold] = []
    for hold in holds:
        if whole and whole[-1].state == hold.state:
            whole[-1] = replace(whole[-1], end_s=hold.end_s)
        else:
            whole.append(hold)
    return whole


def test_the_sample_match_is_read_as_it_was_told(model: TimeModel) -> None:
    """Its truth stands in ``sample_video/truth.json``."""
    holds = find_holds(model.read(sample_track()))[0]
    named = [h.position for h in joined(holds) if h.position is not Position.SCRAMBLE]
    assert named == [
        Position.STANDING, Position.CLOSED_GUARD, Position.OPEN_GUARD, Position.SIDE_CONTROL,
        Position.KNEE_ON_BELLY, Position.HALF_GUARD, Position.MOUNT, Position.BACK_CONTROL,
        Position.OPEN_GUARD, Position.SIDE_CONTROL,
    ]  # fmt: skip
    for first, second in pairwise(holds):
        assert first.end_s == second.start_s


def test_blocks_say_what_the_whole_says(model: TimeModel) -> None:
    """Context on either side of a block is all that an answer depends on."""
    random = np.random.default_rng(0)
    n = BLOCK + 2 * CONTEXT + 40
    features = Features(
        random.standard_normal((n, 2, N_KEYPOINTS, 4)).astype(np.float32),
        random.standard_normal((n, 2, 22)).astype(np.float32),
    )
    given = {"poses": features.poses, "motion": features.motion}
    whole = model.session.run(["states"], given)[0]
    np.testing.assert_allclose(model._run(features)["states"], whole, atol=1e-3)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_films_of_hardly_any_frames(model: TimeModel, count: int) -> None:
    track = sample_track()
    few = PairTrack(
        track.keypoints_px[:count], track.keypoint_confidence[:count], track.frame_index[:count],
        track.time_s[:count], count / 30, track.picture_size_px, track.provenance,
    )  # fmt: skip
    film = model.read(few)
    assert len(film.of_frames(few)) == count
    holds, events = find_holds(film)
    assert len(holds) == min(count, 1)
    assert events == ()


def test_a_file_that_is_no_model_is_refused(tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "broken.onnx"
    path.write_bytes(b"nothing")
    with pytest.raises(MissingPartError, match=r"broken\.onnx"):
        TimeModel.load(path)
    with pytest.raises(MissingPartError, match=r"none\.onnx"):
        TimeModel.load(tmp_path / "none.onnx")
