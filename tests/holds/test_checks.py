"""Criteria on figures whose truth is known, seen through many cameras with an estimator's errors.

The figures here are drawn with other seeds than those the judges were fitted on, and blemished as
a whole pipeline's track is: 2 % noise of an athlete's size, one joint in ten missing.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.holds.criteria.checks import SHORTEST_PART_S, check_holds
from posescore.holds.hold import CheckName, Hold
from posescore.lab.train.criteria.body import Floats
from posescore.lab.train.criteria.figures import SCENES
from posescore.terms import Athlete, Position
from posescore.words import how_seen
from tests.holds.footage import FPS, blemished, filmed, track_of

N_CAMERAS = 100
CHECKED = ("back_control", "knee_on_belly", "mount", "turtle")
LEAST_RIGHT = {
    CheckName.OTHER_KNEE_DOWN: 0.93,
    CheckName.SHIN: 0.80,
    CheckName.FACING: 0.95,
    CheckName.KNEES_DOWN: 0.90,
    CheckName.ARMS_TRAPPED: 0.80,
    CheckName.HOOKS: 0.78,
    CheckName.FEET_CROSSED: 0.82,
    CheckName.KNEE_OF_OPPONENT_DOWN: 0.92,
    CheckName.BEHIND_SHOULDER_LINE: 0.90,
}
"""Measured on these figures, less a few hundredths for the draw of a hundred."""


def true_values(name: str, truth: dict[str, np.ndarray]) -> dict[CheckName, object]:
    if name == "knee_on_belly":
        shin = "hip_side" if truth["hip_side"] else "head_side"
        return {CheckName.OTHER_KNEE_DOWN: bool(truth["other_knee_down"]), CheckName.SHIN: shin}
    if name == "mount":
        return {
            CheckName.FACING: "head" if truth["facing_head"] else "feet",
            CheckName.KNEES_DOWN: int(truth["knee_down"].sum()),
            CheckName.ARMS_TRAPPED: int(truth["arm_trapped"].sum()),
        }
    if name == "back_control":
        return {
            CheckName.HOOKS: int(truth["hook"].sum()),
            CheckName.FEET_CROSSED: bool(truth["feet_crossed"]),
        }
    return {CheckName(key): bool(value) for key, value in truth.items()}


def hold_of(position: Position, end_s: float, upper: Athlete = Athlete.A) -> Hold:
    return Hold(0.0, end_s, position, upper, 0.9)


@pytest.mark.parametrize("name", CHECKED)
def test_criteria_are_right_in_most_views(name: str) -> None:
    random = np.random.default_rng(2024)
    scene = SCENES[name](random, N_CAMERAS)
    stills = filmed(scene.keypoints_m, random)
    right: dict[CheckName, list[bool]] = {}
    sure: dict[CheckName, list[float]] = {}
    for row, still in enumerate(stills):
        frames = blemished(np.repeat(still[None], 100, axis=0), random)
        (hold, *more) = check_holds((hold_of(Position(name), 100 / FPS),), track_of(frames))
        assert not more, "a pose that does not change is one hold"
        truth = {key: values[row] for key, values in scene.truth.items()}
        for check_name, value in true_values(name, truth).items():
            check = hold.check(check_name)
            assert check is not None
            right.setdefault(check_name, []).append(check.value == value)
            sure.setdefault(check_name, []).append(check.probability)
            assert check.fraction is not None
            assert 0.0 <= check.fraction <= 1.0
    for check_name, hits in right.items():
        assert np.mean(hits) >= LEAST_RIGHT[check_name], check_name
        assert abs(np.mean(hits) - np.mean(sure[check_name])) < 0.12, f"{check_name} is too sure"


def kneeling_then_posted(random: np.random.Generator) -> tuple[Floats, Floats]:
    """One knee-on-belly with the other knee down, and another one with it up, from one camera."""
    scene = SCENES["knee_on_belly"](random, 40)
    down = scene.truth["other_knee_down"] & scene.truth["hip_side"]
    up = ~scene.truth["other_knee_down"] & scene.truth["hip_side"]
    both = np.concatenate([scene.keypoints_m[down][0], scene.keypoints_m[up][0]])
    px = filmed(both[None], random, (5, 15))[0]
    return px[:2], px[2:]


def test_a_knee_that_comes_up_divides_the_hold() -> None:
    random = np.random.default_rng(5)
    found = 0
    for _ in range(40):
        down, up = kneeling_then_posted(random)
        frames = np.concatenate([np.repeat(down[None], 120, 0), np.repeat(up[None], 120, 0)])
        track = track_of(blemished(frames, random))
        holds = check_holds((hold_of(Position.KNEE_ON_BELLY, 8.0),), track)
        assert_parts(holds, 8.0)
        values = [check.value for hold in holds if (check := hold.check(CheckName.OTHER_KNEE_DOWN))]
        found += values == [True, False] and abs(holds[0].end_s - 4.0) <= 0.2
    assert found >= 33


def assert_parts(holds: tuple[Hold, ...], end_s: float) -> None:
    assert holds[0].start_s == 0.0
    assert holds[-1].end_s == end_s
    for first, second in pairwise(holds):
        assert first.end_s == second.start_s
        assert min(first.duration_s, second.duration_s) >= SHORTEST_PART_S - 1e-6


def random_frames(random: np.random.Generator, n_frames: int) -> Floats:
    frames = random.uniform(0, 700, (n_frames, 2, 21, 2))
    frames[random.random(frames.shape[:3]) < random.choice([0.0, 0.5, 0.95])] = np.nan
    return frames


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_anything_can_be_checked(seed: int) -> None:
    random = np.random.default_rng(seed)
    n_frames = int(random.integers(1, 150))
    track = track_of(random_frames(random, n_frames))
    position = Position(random.choice([p.value for p in Position if p.has_upper]))
    holds = check_holds((hold_of(position, n_frames / FPS),), track)
    assert holds[0].start_s == 0.0
    assert holds[-1].end_s == pytest.approx(n_frames / FPS)
    for hold in holds:
        for check in hold.checks:
            assert 0.0 <= check.probability <= 1.0


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(CHECKED))
def test_exchanging_the_athletes_changes_nothing(seed: int, name: str) -> None:
    random = np.random.default_rng(seed)
    still = filmed(SCENES[name](random, 1).keypoints_m, random)
    frames = blemished(np.repeat(still, 60, axis=0), random)
    one = check_holds((hold_of(Position(name), 2.0),), track_of(frames))
    two = check_holds((hold_of(Position(name), 2.0, Athlete.B),), track_of(frames[:, ::-1]))
    assert [replace(hold, upper=Athlete.A) for hold in two] == list(one)


@pytest.mark.parametrize("frames_per_s", [24.0, 30000 / 1001, 60.0])
@pytest.mark.parametrize("name", CHECKED)
def test_checks_do_not_depend_on_the_frame_rate(name: str, frames_per_s: float) -> None:
    random = np.random.default_rng(3)
    still = filmed(SCENES[name](random, 1).keypoints_m, random)
    n_frames = round(4 * frames_per_s)
    track = track_of(np.repeat(still, n_frames, axis=0), frames_per_s)
    (hold,) = check_holds((hold_of(Position(name), track.end_s),), track)
    (other,) = check_holds((hold_of(Position(name), 4.0),), track_of(np.repeat(still, 120, axis=0)))
    for one, two in zip(hold.checks, other.checks, strict=True):
        assert one.value == two.value
        assert one.probability == pytest.approx(two.probability, abs=1e-3)


def test_an_unseen_pair_is_doubtful_and_says_so() -> None:
    frames = np.full((90, 2, 21, 2), np.nan)
    (hold,) = check_holds((hold_of(Position.BACK_CONTROL, 3.0),), track_of(frames))
    hooks = hold.check(CheckName.HOOKS)
    assert hooks is not None
    assert hooks.probability < 0.6
    assert "what is usual" in how_seen(hooks.fraction, hooks.visible, hooks.probability)


def test_positions_without_criteria_and_empty_stretches_stay_as_they_are() -> None:
    track = track_of(np.full((30, 2, 21, 2), np.nan))
    standing = Hold(0.0, 1.0, Position.STANDING)
    late = Hold(5.0, 6.0, Position.MOUNT, Athlete.B)
    assert check_holds((standing, late), track) == (standing, late)
