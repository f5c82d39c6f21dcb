"""Moving on and staying; what the classifier is sure of stays."""

from __future__ import annotations

import numpy as np
import pytest

from posescore.holds.decoding.decoder import decode
from posescore.holds.decoding.motion import speed_m_s, unsettled, with_motion
from posescore.holds.find import find_holds
from posescore.lab.train.criteria.calibration import scene_seen
from posescore.lab.train.criteria.figures import SCENES
from posescore.position.probabilities import PositionProbabilities
from posescore.terms import STATES, Position, Provenance, State
from tests.holds.footage import FPS, blemished, filmed, track_of
from tests.holds.matches import A

MOUNT = STATES.index(State(Position.MOUNT, A))
SIDE = STATES.index(State(Position.SIDE_CONTROL, A))
HALF = STATES.index(State(Position.HALF_GUARD, A))


def rows_of(label: np.ndarray, trust: float = 0.8) -> PositionProbabilities:
    row = np.full((len(label), len(STATES)), (1.0 - trust) / len(STATES))
    row[np.arange(len(label)), label] += trust
    time_s = np.arange(len(label)) / FPS
    return PositionProbabilities(row, time_s, len(label) / FPS, Provenance("test"))


def two_poses(seed: int, way_s: float, restless_m: float = 0.0) -> np.ndarray:
    """Eight seconds of one pose, a smooth way of ``way_s`` seconds, eight of another one.

    The other is the furthest of ten, so that the upper athlete has some way to go.
    """
    random = np.random.default_rng(seed)
    pairs = SCENES["mount"](random, 11).keypoints_m
    way_m = np.linalg.norm(pairs[:, 0] - pairs[0, 0], axis=-1).mean(axis=1)
    px = filmed(np.concatenate([pairs[0], pairs[np.argmax(way_m)]])[None], random, (5, 25))[0]
    first, second = px[:2], px[2:]
    n_still, n_way = round(8 * FPS), round(way_s * FPS)
    part = np.concatenate([np.zeros(n_still), np.linspace(0, 1, n_way), np.ones(n_still)])
    part = part**2 * (3 - 2 * part)
    frames = first + part[:, None, None, None] * (second - first)
    time_s = np.arange(len(part)) / FPS
    phase = random.uniform(0, 2 * np.pi, (2, 21, 2))
    size = np.ptp(first.reshape(-1, 2), axis=0).max() / 1.8
    sway = np.sin(2 * np.pi * 0.6 * time_s[:, None, None, None] + phase)
    return frames + restless_m * size * sway


@pytest.mark.parametrize("restless_m", [0.0, 0.02])
def test_a_hold_begins_when_the_bodies_have_settled(restless_m: float) -> None:
    """The classifier names the next position half-way; the hold begins at the end of the way."""
    for seed in range(5):
        random = np.random.default_rng(seed)
        frames = blemished(two_poses(seed, 2.0, restless_m), random)
        label = np.where(np.arange(len(frames)) < 9 * FPS, SIDE, MOUNT)
        track = track_of(frames)
        holds = decode(with_motion(rows_of(label), track))
        named = [hold for hold in holds if hold.position is not Position.SCRAMBLE]
        assert [hold.position for hold in named] == ["side_control", "mount"]
        assert named[0].end_s == pytest.approx(8.0, abs=0.7)
        assert named[1].start_s == pytest.approx(10.0, abs=0.7)


@pytest.mark.parametrize("restless_m", [0.0, 0.02, 0.05])
def test_restless_holds_stay_whole(restless_m: float) -> None:
    for seed in range(5):
        random = np.random.default_rng(seed)
        frames = blemished(two_poses(seed, 2.0, restless_m)[: round(8 * FPS)], random)
        track = track_of(frames)
        (hold,) = decode(with_motion(rows_of(np.full(len(frames), MOUNT)), track))
        assert hold.position is Position.MOUNT


def test_a_moving_camera_is_not_a_moving_pair() -> None:
    frames = two_poses(1, 1.0)[: round(6 * FPS)]
    pan = np.stack([40.0 * np.arange(len(frames)) / FPS, np.zeros(len(frames))], axis=1)
    _, still = speed_m_s(track_of(frames))
    _, panned = speed_m_s(track_of(frames + pan[:, None, None]))
    assert panned == pytest.approx(still, abs=0.02)


def test_jitter_is_not_movement() -> None:
    frames = np.repeat(two_poses(2, 1.0)[:1], 180, axis=0)
    noisy = blemished(frames, np.random.default_rng(0), noise=0.05, missing=0.2)
    assert np.nanmedian(speed_m_s(track_of(noisy))[1]) < 0.15


def test_keypoints_that_jump_for_a_moment_are_no_movement() -> None:
    frames = np.repeat(two_poses(2, 1.0)[:1], 180, axis=0)
    frames[85:91] += np.array([90.0, 40.0]) * np.array([1.0, -1.0])[:, None, None]
    assert np.nanmax(speed_m_s(track_of(frames))[1]) > 1.0
    assert unsettled(track_of(frames)).max() < 0.1


@pytest.mark.parametrize("n_frames", range(1, 46, 4))
def test_footage_of_a_moment_has_its_movement_too(n_frames: int) -> None:
    frames = two_poses(2, 1.0)[:n_frames]
    middle_s, speed = speed_m_s(track_of(frames))
    assert speed.shape == middle_s.shape
    assert unsettled(track_of(frames)).shape == (n_frames,)


def test_what_is_not_seen_says_nothing_of_movement() -> None:
    assert not unsettled(track_of(np.full((60, 2, 21, 2), np.nan))).any()
    assert not unsettled(track_of(np.full((1, 2, 21, 2), 5.0))).any()


def test_standing_keeps_its_share_while_walking() -> None:
    standing = STATES.index(State(Position.STANDING))
    frames = two_poses(3, 2.0)
    rows = rows_of(np.full(len(frames), standing))
    moved = with_motion(rows, track_of(frames))
    assert moved.probability[:, standing] == pytest.approx(rows.probability[:, standing])


@pytest.mark.parametrize("named", [MOUNT, HALF])
def test_mount_and_half_guard_are_the_classifiers_word(named: int) -> None:
    """Mixed with geometry as eight films had it, every mount of other films was half guard."""
    px, _ = scene_seen("astride", 99, 6)
    for still in px:
        label = np.full(round(6 * FPS), named)
        track = track_of(np.repeat(still[None], len(label), axis=0))
        holds, _ = find_holds(rows_of(label, 0.9), track)
        assert {hold.position for hold in holds} == {STATES[named].position}
