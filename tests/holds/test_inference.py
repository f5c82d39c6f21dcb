"""Takedown or guard pull: two stick figures go to the mat in ways that leave no doubt."""

from __future__ import annotations

import numpy as np
import pytest

from posescore.holds.event import EventName
from posescore.holds.events.inference import infer_events
from posescore.holds.find import find_holds
from posescore.holds.hold import Hold
from posescore.pose.track import PairTrack
from posescore.position.probabilities import PositionProbabilities
from posescore.terms import KEYPOINT_INDEX, STATES, Athlete, Position, Provenance, State
from tests.holds.footage import FPS, track_of

A, B = Athlete.A, Athlete.B
HEIGHT_M = {
    "nose": 1.6, "shoulder": 1.4, "elbow": 1.15, "wrist": 1.0, "hip": 0.9,
    "knee": 0.48, "ankle": 0.08, "heel": 0.03, "toe": 0.02, "eye": 1.62, "ear": 1.6,
}  # fmt: skip


def filmed_fall(down_of_a: np.ndarray, down_of_b: np.ndarray) -> PairTrack:
    """Two figures seen from the side whose joints sink by a share of their height."""
    frames = np.zeros((len(down_of_a), 2, 21, 2))
    for slot, (x, down) in enumerate(((600.0, down_of_a), (680.0, down_of_b))):
        for name, index in KEYPOINT_INDEX.items():
            height = HEIGHT_M[name.rsplit("_", 1)[-1]]
            side = 20.0 * (name.startswith("right") - name.startswith("left"))
            lying = 0.15 if height > 0.3 else height
            z = (1.0 - down) * height + down * lying
            lean = (height - 0.9) * down * (150.0 if slot else -150.0)
            frames[:, slot, index] = np.stack([x + side + lean, 650.0 - 250.0 * z], axis=1)
    return track_of(frames)


def ramp(start_s: float, end_s: float, to: float, n_frames: int = 180) -> np.ndarray:
    return np.interp(np.arange(n_frames) / FPS, [start_s, end_s], [0.0, to])


def holds_of(position: Position, upper: Athlete) -> tuple[Hold, ...]:
    return (
        Hold(0.0, 2.0, Position.STANDING, None, 0.95),
        Hold(2.0, 3.2, Position.SCRAMBLE, None, 0.5),
        Hold(3.2, 6.0, position, upper, 0.95),
    )


@pytest.mark.parametrize("position", [Position.CLOSED_GUARD, Position.SIDE_CONTROL])
def test_an_attacker_who_drops_first_and_lands_on_top_attempted_a_takedown(
    position: Position,
) -> None:
    track = filmed_fall(ramp(1.8, 2.6, 0.7), ramp(2.3, 3.2, 1.0))
    (event,) = infer_events(holds_of(position, A), track)
    assert (event.event, event.athlete) == (EventName.TAKEDOWN_ATTEMPT, A)
    assert event.confidence > 0.7
    assert 1.5 <= event.time_s <= 2.4


def test_who_sits_down_alone_pulled_guard() -> None:
    track = filmed_fall(ramp(3.5, 4.5, 0.4), ramp(1.9, 2.8, 1.0))
    (event,) = infer_events(holds_of(Position.OPEN_GUARD, A), track)
    assert (event.event, event.athlete) == (EventName.GUARD_PULL, B)
    assert event.confidence > 0.7


def test_an_attacker_who_changes_level_is_no_passenger_though_the_other_falls_first() -> None:
    track = filmed_fall(ramp(2.2, 2.9, 0.6), ramp(1.9, 2.8, 1.0))
    (event,) = infer_events(holds_of(Position.HALF_GUARD, A), track)
    assert (event.event, event.athlete) == (EventName.TAKEDOWN_ATTEMPT, A)


def test_who_shoots_and_ends_in_turtle_attempted_the_takedown() -> None:
    track = filmed_fall(ramp(3.3, 4.0, 0.4), ramp(1.9, 2.8, 1.0))
    (event,) = infer_events(holds_of(Position.TURTLE, A), track)
    assert (event.event, event.athlete) == (EventName.TAKEDOWN_ATTEMPT, B)


def test_exchanging_the_athletes_exchanges_the_event() -> None:
    track = filmed_fall(ramp(2.3, 3.2, 1.0), ramp(1.8, 2.6, 0.7))
    (event,) = infer_events(holds_of(Position.CLOSED_GUARD, B), track)
    assert (event.event, event.athlete) == (EventName.TAKEDOWN_ATTEMPT, B)


def test_rising_first_from_side_control_gives_it_up() -> None:
    n_frames = 180
    a = 0.6 - ramp(2.0, 2.6, 0.6, n_frames)
    b = 1.0 - ramp(3.2, 4.2, 1.0, n_frames)
    holds = (
        Hold(0.0, 2.2, Position.SIDE_CONTROL, A, 0.95),
        Hold(2.2, 4.0, Position.SCRAMBLE, None, 0.5),
        Hold(4.0, 6.0, Position.STANDING, None, 0.95),
    )
    (event,) = infer_events(holds, filmed_fall(a, b))
    assert (event.event, event.athlete) == (EventName.POSITION_GIVEN_UP, A)
    together = filmed_fall(0.6 - ramp(2.2, 3.2, 0.6), 1.0 - ramp(2.2, 3.2, 1.0))
    assert infer_events(holds, together) == ()


def test_nothing_is_inferred_without_keypoints_beyond_what_the_holds_say() -> None:
    track = track_of(np.full((180, 2, 21, 2), np.nan))
    (event,) = infer_events(holds_of(Position.SIDE_CONTROL, A), track)
    assert event.event is EventName.TAKEDOWN_ATTEMPT
    assert event.confidence <= 0.6


def test_find_holds_needs_rows_of_the_same_frames() -> None:
    rows = PositionProbabilities(
        np.full((3, len(STATES)), 1 / len(STATES)), np.arange(3) / FPS, 0.1, Provenance("test")
    )
    with pytest.raises(ValueError, match="3 rows"):
        find_holds(rows, track_of(np.full((4, 2, 21, 2), np.nan)))


def test_find_holds_makes_a_gap_of_keypoints_scramble() -> None:
    frames = filmed_fall(ramp(9, 10, 0.0), ramp(9, 10, 0.0)).keypoints_px.astype(np.float64)
    frames[60:140] = np.nan
    row = np.full((180, len(STATES)), 0.2 / len(STATES))
    row[:, STATES.index(State(Position.STANDING))] += 0.8
    rows = PositionProbabilities(row, np.arange(180) / FPS, 6.0, Provenance("test"))
    holds, events = find_holds(rows, track_of(frames))
    assert [hold.position for hold in holds] == ["standing", "scramble", "standing"]
    assert events == ()
