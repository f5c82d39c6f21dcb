"""Events between holds out of what a film says, made by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from posescore.holds.event import EventName
from posescore.holds.events.inference import infer_events
from posescore.holds.film.outputs import WAYS
from posescore.holds.film.reading import FilmReading
from posescore.holds.find import find_holds
from posescore.holds.hold import Hold
from posescore.terms import Athlete, Position, State
from tests.holds.readings import in_state, reading

A, B = Athlete.A, Athlete.B
DOWN = (
    Hold(0.0, 2.0, Position.STANDING, None, 0.95),
    Hold(2.0, 3.2, Position.SCRAMBLE, None, 0.5),
    Hold(3.2, 8.0, Position.CLOSED_GUARD, A, 0.9),
)


def brought_about(way: int, log_odds: float = 5.0) -> FilmReading:
    film = reading()
    ways = film.ways.copy()
    ways[20:32, way] = log_odds
    return replace(film, ways=ways)


@pytest.mark.parametrize("way", range(1, len(WAYS)))
def test_who_brought_it_down_is_said(way: int) -> None:
    (event,) = infer_events(DOWN, brought_about(way))
    assert (event.event, event.athlete) == WAYS[way]
    assert event.time_s == 2.0
    assert 0.5 < event.confidence <= 0.9


def test_a_fall_side_by_side_is_nobodys() -> None:
    assert infer_events(DOWN, brought_about(0)) == ()


def test_nothing_is_inferred_over_a_long_passage() -> None:
    far = (DOWN[0], replace(DOWN[1], end_s=20.0), replace(DOWN[2], start_s=20.0, end_s=30.0))
    assert infer_events(far, brought_about(1)) == ()


def test_a_position_given_up_is_the_upper_ones() -> None:
    film = reading()
    given = film.given_up.copy()
    given[38:50, 1] = 6.0
    up = (
        Hold(0.0, 4.0, Position.SIDE_CONTROL, B, 0.9),
        Hold(4.0, 5.0, Position.SCRAMBLE, None, 0.5),
        Hold(5.0, 8.0, Position.STANDING, None, 0.8),
    )
    (event,) = infer_events(up, replace(film, given_up=given))
    assert (event.event, event.athlete) == (EventName.POSITION_GIVEN_UP, B)
    assert infer_events(up, film) == ()


def test_holds_of_a_film_tile_it() -> None:
    film = in_state(reading(), 0.0, 3.0, State(Position.STANDING))
    film = in_state(film, 3.0, 4.0, State(Position.SCRAMBLE))
    film = in_state(film, 4.0, 8.0, State(Position.MOUNT, B))
    holds, _ = find_holds(film)
    assert [hold.state for hold in holds] == [
        State(Position.STANDING), State(Position.SCRAMBLE), State(Position.MOUNT, B)
    ]  # fmt: skip
    assert [hold.end_s for hold in holds] == pytest.approx([3.0, 4.0, 8.0], abs=0.11)


def test_a_gap_of_keypoints_is_scramble() -> None:
    film = in_state(reading(), 0.0, 8.0, State(Position.MOUNT, A))
    seen = film.seen.copy()
    seen[30:55] = False
    holds, _ = find_holds(replace(film, seen=seen))
    assert [hold.position for hold in holds] == [
        Position.MOUNT, Position.SCRAMBLE, Position.MOUNT
    ]  # fmt: skip
    assert holds[1].confidence < 0.5
