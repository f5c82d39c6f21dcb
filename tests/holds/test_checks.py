"""Criteria of holds out of what a film says, made by hand; pooling against plain sums."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.holds.check import CHECKS
from posescore.holds.criteria.checks import NOT_SEEN, SHORTEST_PART_S, check_holds
from posescore.holds.film.model import TimeModel
from posescore.holds.film.outputs import CRITERIA
from posescore.holds.hold import CheckName, Hold
from posescore.terms import KEYPOINT_INDEX, Athlete, Position
from posescore.words import how_seen
from tests.holds.footage import sample_track
from tests.holds.readings import PLAIN, reading, saying

KNEE = (Hold(0.0, 8.0, Position.KNEE_ON_BELLY, Athlete.A, 0.9),)
BACK = (Hold(0.0, 8.0, Position.BACK_CONTROL, Athlete.A, 0.9),)


def test_a_clear_answer_is_the_value_of_the_check() -> None:
    for sign, value in ((3.0, True), (-3.0, False)):
        (hold,) = check_holds(KNEE, saying(reading(), "other_knee_down", np.full(80, sign)))
        check = hold.check(CheckName.OTHER_KNEE_DOWN)
        assert check is not None
        assert check.value is value
        assert check.probability > 0.9
        assert check.fraction == pytest.approx(1.0)


def test_a_knee_that_comes_up_divides_the_hold() -> None:
    odds = np.concatenate([np.full(40, 3.0), np.full(40, -3.0)])
    first, second = check_holds(KNEE, saying(reading(), "other_knee_down", odds))
    assert first.end_s == second.start_s == pytest.approx(4.0, abs=0.11)
    values = [hold.check(CheckName.OTHER_KNEE_DOWN) for hold in (first, second)]
    assert [check.value for check in values if check] == [True, False]


def test_a_flicker_does_not_divide() -> None:
    odds = np.full(80, 3.0)
    odds[40:44] = -3.0
    assert len(check_holds(KNEE, saying(reading(), "other_knee_down", odds))) == 1


@pytest.mark.parametrize(("left", "right", "hooks"), [(3, 3, 2), (3, -3, 1), (-3, -3, 0)])
def test_sides_are_counted(left: float, right: float, hooks: int) -> None:
    film = saying(reading(), "hook", np.full(80, left), 0)
    (hold,) = check_holds(BACK, saying(film, "hook", np.full(80, right), 1))
    check = hold.check(CheckName.HOOKS)
    assert check is not None
    assert check.value == hooks


def test_what_is_not_shown_is_what_is_usual_and_says_so() -> None:
    prior = replace(PLAIN, prior=(-1.0,) * len(CRITERIA))
    (hold,) = check_holds(KNEE, replace(reading(), calibration=prior))
    check = hold.check(CheckName.OTHER_KNEE_DOWN)
    assert check is not None
    assert check.value is False
    assert check.probability == pytest.approx(1 / (1 + np.exp(-1.0)))
    assert check.visible == 0.0
    assert check.visible < NOT_SEEN
    assert "what is usual" in how_seen(check.fraction, check.visible, check.probability)


def test_pooling_is_a_weighed_mean_with_what_is_usual() -> None:
    random = np.random.default_rng(1)
    film = reading()
    film = replace(
        film, criteria=random.normal(0, 3, film.criteria.shape),
        shown=random.random(film.shown.shape),
    )  # fmt: skip
    c = replace(
        PLAIN, criteria=(0.7,) * len(CRITERIA), usual=(0.2,) * len(CRITERIA),
        prior=(-1.5,) * len(CRITERIA), doubt=(3.0,) * len(CRITERIA),
    )  # fmt: skip
    odds, shown = replace(film, calibration=c).answer(slice(5, 30), Athlete.B)
    for column in range(len(CRITERIA)):
        above, weight = -1.5 * 3.0, 3.0
        for instant in range(5, 30):
            weight += film.shown[instant, 1, column]
            above += film.shown[instant, 1, column] * film.criteria[instant, 1, column]
        assert odds[column] == pytest.approx(0.7 * above / weight + 0.2)
        assert shown[column] == pytest.approx(1 - 3.0 / weight)


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    position=st.sampled_from([p for p in Position if p.has_upper]),
    upper=st.sampled_from(list(Athlete)),
    start=st.integers(0, 50),
    length=st.integers(1, 29),
)
def test_parts_tile_the_hold_and_checks_are_what_the_registry_allows(
    seed: int, position: Position, upper: Athlete, start: int, length: int
) -> None:
    random = np.random.default_rng(seed)
    film = reading()
    steps = np.repeat(random.normal(0, 4, (8, *film.criteria.shape[1:])), 10, axis=0)
    film = replace(film, criteria=steps, shown=random.random(film.shown.shape))
    hold = Hold(start / 10, (start + length) / 10, position, upper, 0.8)
    parts = check_holds((hold,), film)
    assert (parts[0].start_s, parts[-1].end_s) == (hold.start_s, hold.end_s)
    for first, second in pairwise(parts):
        assert first.end_s == second.start_s
        assert min(first.duration_s, second.duration_s) >= SHORTEST_PART_S - 1e-6
    for part in parts:
        assert part.state == hold.state
        for check in part.checks:
            assert CHECKS[check.name].allows(check.value)
            assert 0.0 <= check.probability <= 1.0


def test_legs_that_nobody_sees_leave_doubt() -> None:
    """On the sample match, whose knee is clearly up from 31 to 35 s."""
    model, track = TimeModel.load(), sample_track()
    legs = [
        KEYPOINT_INDEX[f"{side}_{joint}"]
        for side in ("left", "right")
        for joint in ("knee", "ankle", "heel", "toe")
    ]
    points, confidence = track.keypoints_px.copy(), track.keypoint_confidence.copy()
    points[:, 0, legs], confidence[:, 0, legs] = np.nan, np.nan
    blind = replace(track, keypoints_px=points, keypoint_confidence=confidence)
    hold = Hold(31.0, 35.0, Position.KNEE_ON_BELLY, Athlete.A)
    seen, unseen = (
        check_holds((hold,), film)[-1].check(CheckName.OTHER_KNEE_DOWN)
        for film in (model.read(track), model.read(blind))
    )
    assert seen is not None
    assert unseen is not None
    assert (seen.value, seen.probability > 0.9) == (False, True)
    assert unseen.probability < 0.7
    assert unseen.visible == 0.0
