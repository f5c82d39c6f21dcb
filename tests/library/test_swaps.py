"""Athletes exchanged from here on, or in a stretch: what turns and what stays."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from posescore.holds.event import EventName
from posescore.holds.hold import Hold
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import AddEvent, Relabel, SwapAthletes
from posescore.library.review.stretches import hold_key, seen, swapped
from posescore.terms import Interval, Position
from tests.library.samples import HOLDS, A, B

Kept = tuple[Library, Match]
HALF = hold_key(HOLDS[6])


def test_swapping_from_here_on_turns_what_the_program_saw(kept: Kept) -> None:
    library, match = kept
    library.edit(match.id, AddEvent(EventName.PENALTY, 51.0, A), "Ann")
    library.edit(match.id, Relabel(HALF, Position.HALF_GUARD, B), "Ann")
    review = library.edit(match.id, SwapAthletes(36.5), "Ann")
    assert review.swaps == (Interval(36.5, 60.0),)
    assert [h.hold.upper for h in review.holds[:5]] == [h.upper for h in HOLDS[:5]]
    assert review.holds[5].hold.upper is B
    assert review.holds[6].hold.upper is B, "said by a person"
    penalties = {
        x.event.time_s: x.event.athlete for x in review.events if x.event.event == "penalty"
    }
    assert penalties == {50.0: A, 51.0: A}, "the inferred one turned, the marked one stayed"


def test_a_swap_in_mid_hold_mends_a_hold_that_a_lost_track_had_cut() -> None:
    cut = [
        seen(Hold(10.0, 20.0, Position.MOUNT, A, 0.9)),
        seen(Hold(20.0, 30.0, Position.MOUNT, B, 0.5)),
        seen(Hold(30.0, 40.0, Position.STANDING)),
    ]
    (mended, standing) = swapped(cut, 20.0, 40.0)
    assert mended.hold == Hold(10.0, 30.0, Position.MOUNT, A, pytest.approx(0.7))
    assert standing == cut[2]


HOLD_ROWS = st.lists(
    st.tuples(st.floats(0.2, 5), st.floats(0, 2), st.sampled_from(HOLDS)), min_size=1, max_size=8
)


@given(HOLD_ROWS, st.floats(0, 30), st.floats(0, 30))
def test_swapping_twice_changes_no_instant(
    rows: list[tuple[float, float, Hold]], start_s: float, end_s: float
) -> None:
    start_s, end_s = min(start_s, end_s), max(start_s, end_s) + 0.01
    holds, at_s = [], 0.0
    for duration_s, gap_s, like in rows:
        holds.append(seen(replace(like, start_s=at_s, end_s=at_s + duration_s)))
        at_s += duration_s + gap_s
    once = swapped(holds, start_s, end_s)
    twice = swapped(once, start_s, end_s)
    for number in range(200):
        instant_s = (number + 0.5) * (at_s + 1) / 200
        states = [
            next((h.hold.state for h in some if h.hold.interval.contains(instant_s)), None)
            for some in (holds, once, twice)
        ]
        assert states[0] == states[2]
        inside = start_s <= instant_s < end_s
        assert states[1] == (states[0].swapped if inside and states[0] else states[0])


def test_two_swaps_of_one_stretch_cancel(kept: Kept) -> None:
    library, match = kept
    library.edit(match.id, SwapAthletes(20.0, 40.0), "Ann")
    review = library.edit(match.id, SwapAthletes(30.0), "Ann")
    assert review.swaps == (Interval(20.0, 30.0), Interval(40.0, 60.0))
    review = library.edit(match.id, SwapAthletes(20.0, 30.0), "Ann")
    assert review.swaps == (Interval(40.0, 60.0),)
    review = library.edit(match.id, SwapAthletes(40.0), "Ann")
    assert review.swaps == ()
    assert [h.hold.state for h in review.holds] == [h.state for h in HOLDS]
