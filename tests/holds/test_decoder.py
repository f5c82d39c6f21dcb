"""Holds tile the footage, last long enough, and do not depend on the frame rate."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.errors import OwnFailureError
from posescore.holds.decoding.decoder import decode
from posescore.holds.decoding.grammar import Grammar
from posescore.position.probabilities import PositionProbabilities
from posescore.terms import STATES, Position, State
from tests.holds.matches import MADE, STORY, STORY_END_S, assert_tiles, sampled, steady

RATES = (24.0, 25.0, 30000 / 1001, 50.0, 60.0)
GRAMMAR = Grammar.shipped()
SWAPPED = [STATES.index(state.swapped) for state in STATES]


def variable_clock(seed: int, end_s: float = STORY_END_S) -> np.ndarray:
    random = np.random.default_rng(seed)
    time_s = np.cumsum(random.uniform(0.01, 0.09, int(end_s / 0.03)))
    return np.concatenate([[0.0], time_s[time_s < end_s - 0.01]])


def random_rows(seed: int, spread: float = 0.02) -> PositionProbabilities:
    """Rows that make no sense at all, on an uneven clock; a small spread makes them extreme."""
    random = np.random.default_rng(seed)
    n_frames = int(random.integers(1, 200))
    time_s = np.concatenate([[0.0], np.cumsum(random.uniform(0.005, 0.3, n_frames - 1))])
    row = random.dirichlet(np.full(len(STATES), random.uniform(spread, 1.0)), n_frames)
    return PositionProbabilities(row, time_s, float(time_s[-1] + 0.04), MADE)


@settings(deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_holds_tile_and_last_at_any_clock(seed: int) -> None:
    rows = random_rows(seed)
    holds = decode(rows)
    assert_tiles(holds, rows.end_s)
    shortest = dict(zip(STATES, GRAMMAR.model.minimum_s, strict=True))
    if len(holds) > 1:
        assert all(hold.duration_s >= shortest[hold.state] - 1e-6 for hold in holds)
    for hold in holds[1:]:
        assert hold.start_s in rows.time_s


@pytest.mark.parametrize("frames_per_s", RATES)
def test_the_story_is_found_at_every_rate(frames_per_s: float) -> None:
    holds = decode(sampled(steady(frames_per_s)))
    assert [hold.state for hold in holds] == [state for _, state in STORY]
    for hold, (start_s, _) in zip(holds, STORY, strict=True):
        assert abs(hold.start_s - start_s) <= 1.0 / frames_per_s + 1e-6


@pytest.mark.parametrize("seed", range(3))
def test_the_story_is_found_at_a_variable_rate(seed: int) -> None:
    holds = decode(sampled(variable_clock(seed)))
    assert [hold.state for hold in holds] == [state for _, state in STORY]
    for hold, (start_s, _) in zip(holds, STORY, strict=True):
        assert abs(hold.start_s - start_s) <= 0.1


def test_confidence_does_not_grow_with_the_frame_rate() -> None:
    slow, fast = (decode(sampled(steady(rate), trust=0.35)) for rate in (24.0, 60.0))
    for a, b in zip(slow, fast, strict=True):
        assert a.confidence == pytest.approx(b.confidence, abs=0.05)


@pytest.mark.parametrize("frames_per_s", RATES)
def test_flicker_makes_no_holds(frames_per_s: float) -> None:
    """Wrong in three frames of ten: no hold is lost or made up, but for one second of scramble."""
    holds = decode(sampled(steady(frames_per_s), flicker=0.3, seed=3))
    named = [hold for hold in holds if hold.position is not Position.SCRAMBLE]
    truth = [(start_s, state) for start_s, state in STORY if state.position != "scramble"]
    assert [hold.state for hold in named] == [state for _, state in truth]
    for hold, (start_s, state) in zip(named, truth, strict=True):
        assert abs(hold.start_s - start_s) <= (1.2 if state.position == "closed_guard" else 0.2)


def test_a_short_burst_of_wrong_frames_is_passed_over() -> None:
    rows = sampled(steady(30.0))
    wrong = rows.probability.copy()
    burst = (rows.time_s > 30.0) & (rows.time_s < 30.5)
    wrong[burst] = np.eye(len(STATES))[STATES.index(State(Position.STANDING))]
    holds = decode(PositionProbabilities(wrong, rows.time_s, rows.end_s, MADE))
    assert [hold.state for hold in holds] == [state for _, state in STORY]


@settings(deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_exchanging_the_athletes_exchanges_the_holds(seed: int) -> None:
    """Without exact ties, that is: extreme rows hold many equal zeros."""
    rows = random_rows(seed, spread=0.4)
    other = PositionProbabilities(rows.probability[:, SWAPPED], rows.time_s, rows.end_s, MADE)
    for hold, swapped in zip(decode(rows), decode(other), strict=True):
        assert swapped.state == hold.state.swapped
        assert (swapped.start_s, swapped.end_s) == (hold.start_s, hold.end_s)
        assert swapped.confidence == pytest.approx(hold.confidence, abs=1e-6)


def test_a_later_start_moves_the_holds() -> None:
    rows = sampled(steady(30.0))
    lead = np.arange(0, 60) / 30.0
    later = PositionProbabilities(
        np.vstack([np.repeat(rows.probability[:1], 60, axis=0), rows.probability]),
        np.concatenate([lead, rows.time_s + 2.0]), rows.end_s + 2.0, MADE,
    )  # fmt: skip
    for hold, moved in zip(decode(rows)[1:], decode(later)[1:], strict=True):
        assert moved.state == hold.state
        assert moved.start_s == pytest.approx(hold.start_s + 2.0)


@pytest.mark.parametrize("by_rows", [True, False])
def test_a_long_gap_is_scramble_and_doubtful(by_rows: bool) -> None:
    rows = sampled(steady(30.0))
    gap = (rows.time_s >= 29.0) & (rows.time_s < 32.5)
    unknown = rows.probability.copy()
    if by_rows:
        unknown[gap] = 1.0 / len(STATES)
    holds = decode(
        PositionProbabilities(unknown, rows.time_s, rows.end_s, MADE),
        seen=None if by_rows else ~gap,
    )
    middle = next(hold for hold in holds if hold.interval.contains(30.7))
    assert middle.position is Position.SCRAMBLE
    assert middle.confidence < 0.3
    assert middle.start_s == pytest.approx(29.0, abs=0.11)
    assert middle.end_s == pytest.approx(32.5, abs=0.11)


def test_a_short_gap_is_bridged() -> None:
    rows = sampled(steady(30.0))
    gap = (rows.time_s >= 29.0) & (rows.time_s < 30.0)
    assert [hold.state for hold in decode(rows, seen=~gap)] == [state for _, state in STORY]


def test_a_half_convincing_pose_stays_half_convincing() -> None:
    time_s = steady(30.0, 20.0)
    row = np.full((len(time_s), len(STATES)), 0.1 / 20)
    row[:, STATES.index(State(Position.MOUNT, STATES[1].upper))] = 0.46
    row[:, STATES.index(State(Position.SIDE_CONTROL, STATES[1].upper))] = 0.44
    holds = decode(PositionProbabilities(row, time_s, 20.0, MADE))
    assert len(holds) == 1
    assert 0.4 < holds[0].confidence < 0.65


def lasting_mistakes(seed: int, end_s: float = 120.0) -> tuple[PositionProbabilities, np.ndarray]:
    """A match drawn from the grammar, seen by a calibrated classifier whose mistakes last.

    In each hold one distribution is shown throughout, and the truth is drawn from it: of the holds
    in which it says 0.7, it is right in 0.7.
    """
    random = np.random.default_rng(seed)
    model = GRAMMAR.model
    time_s = steady(25.0, end_s)
    row, truth = np.zeros((len(time_s), len(STATES))), np.zeros(len(time_s), dtype=int)
    start_s, state = 0.0, int(random.choice(len(STATES), p=np.exp(model.log_start)))
    while start_s < end_s:
        lasts_s = model.minimum_s[state] + random.exponential(model.mean_s[state])
        inside = (time_s >= start_s) & (time_s < start_s + lasts_s)
        shown = 0.97 * random.dirichlet(np.full(len(STATES), 0.05)) + 0.03 / len(STATES)
        drawn = int(random.choice(len(STATES), p=shown))
        shown[[drawn, state]] = shown[[state, drawn]]
        row[inside], truth[inside] = shown, state
        start_s += lasts_s
        state = int(random.choice(len(STATES), p=np.exp(model.log_follow[state])))
    return PositionProbabilities(row, time_s, end_s, MADE), truth


def test_confidence_is_how_often_a_hold_is_right() -> None:
    sure, right, lasts_s = [], [], []
    for seed in range(25):
        rows, truth = lasting_mistakes(seed)
        for hold in decode(rows):
            inside = (rows.time_s >= hold.start_s) & (rows.time_s < hold.end_s)
            sure.append(hold.confidence)
            right.append(float((truth[inside] == STATES.index(hold.state)).mean()))
            lasts_s.append(hold.duration_s)
    bins = np.digitize(sure, [0.4, 0.6, 0.8])
    for number in range(4):
        chosen = bins == number
        weight = np.array(lasts_s)[chosen]
        gap = weight @ (np.array(sure) - np.array(right))[chosen] / weight.sum()
        assert abs(gap) < 0.12, f"bin {number}: {gap:+.2f} too sure"


def test_one_frame_is_one_hold() -> None:
    row = np.full((1, len(STATES)), 0.5 / (len(STATES) - 1))
    row[0, 5] = 0.5
    (hold,) = decode(PositionProbabilities(row, np.zeros(1), 0.04, MADE))
    assert (hold.start_s, hold.end_s, hold.state) == (0.0, 0.04, STATES[5])
    assert hold.confidence < 0.8


def test_no_frame_is_no_hold() -> None:
    empty = PositionProbabilities(np.zeros((0, len(STATES))), np.zeros(0), 0.0, MADE)
    assert decode(empty) == ()


def test_ten_minutes_take_a_fraction_of_a_second() -> None:
    random = np.random.default_rng(1)
    time_s = steady(30.0, 600.0)
    label = np.repeat(random.integers(0, len(STATES), 150), 120)
    row = 0.5 * random.dirichlet(np.full(len(STATES), 0.3), len(time_s))
    row[np.arange(len(time_s)), label] += 0.5
    rows = PositionProbabilities(row, time_s, 600.0, MADE)
    decode(rows)
    begun = time.process_time()
    decode(rows)
    assert time.process_time() - begun < 1.0


def test_every_position_can_be_left_and_reached_through_scramble() -> None:
    scramble = STATES.index(State(Position.SCRAMBLE))
    follow = np.exp(GRAMMAR.model.log_follow)
    assert (np.delete(follow[:, scramble], scramble) > 0.0).all()
    assert (np.delete(follow[scramble], scramble) > 0.0).all()
    assert follow.sum(axis=1) == pytest.approx(1.0)
    assert follow[np.ix_(SWAPPED, SWAPPED)] == pytest.approx(follow)


@pytest.mark.parametrize("text", ["format = 2", "format = 1\n[positions.mont]\n[weights]"])
def test_a_broken_grammar_says_so(text: str) -> None:
    with pytest.raises(OwnFailureError, match="grammar of positions"):
        Grammar.from_toml(text)
