"""The match clock: one function says when it runs, whoever asks."""

from __future__ import annotations

import pytest
from hypothesis import given

from posescore.holds.event import EventName, MatchEvent
from posescore.scoring.match_clock import MatchClock
from posescore.scoring.rules import RuleSet
from posescore.terms import Athlete
from tests.scoring.strategies import events

RULES = RuleSet.load()
START, STOP, END, TAP, PENALTY = (
    EventName.START, EventName.STOP, EventName.END, EventName.TAP, EventName.PENALTY,
)  # fmt: skip
CASES = [
    ([], [(0.0, 60.0)], False),
    ([(4, START)], [(4.0, 60.0)], False),
    # A stop before the first start: the start was not marked, and the clock ran until then.
    ([(3, STOP), (5, START)], [(0.0, 3.0), (5.0, 60.0)], False),
    ([(1, START), (10, STOP), (12, START), (50, END)], [(1.0, 10.0), (12.0, 50.0)], False),
    ([(1, START), (2, START), (10, STOP), (11, STOP)], [(1.0, 10.0)], False),
    ([(0, STOP), (1, START)], [(1.0, 60.0)], False),
    ([(30, TAP), (40, END)], [(0.0, 30.0)], True),
    ([(40, END), (50, TAP)], [(0.0, 40.0)], False),
    # The fourth penalty disqualifies (article 6, from memory).
    ([(n, PENALTY) for n in (10, 20, 30, 40)], [(0.0, 40.0)], True),
]  # fmt: skip


@pytest.mark.parametrize(("marked", "running", "decided"), CASES)
def test_when_the_clock_runs(
    marked: list[tuple[float, EventName]], running: list[tuple[float, float]], decided: bool
) -> None:
    given_events = [MatchEvent(at_s, name, Athlete.A) for at_s, name in marked]
    for order in (given_events, given_events[::-1]):
        clock = MatchClock.of((), order, RULES, 60.0)
        assert [(each.start_s, each.end_s) for each in clock.running] == running
        assert clock.decided is decided


@given(events())
def test_stretches_are_apart_and_inside_the_match(marked: list[MatchEvent]) -> None:
    clock = MatchClock.of((), marked, RULES, 100.0)
    edges = [edge for each in clock.running for edge in (each.start_s, each.end_s)]
    assert edges == sorted(edges)
    assert all(0.0 <= edge <= clock.end_s for edge in edges)
    assert all(each.duration_s > 0 for each in clock.running)
