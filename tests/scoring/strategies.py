"""Hypothesis strategies: matches that could have been written down."""

from __future__ import annotations

from hypothesis import strategies as st

from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Check, CheckName, Hold
from posescore.scoring.log import NEEDS_ATHLETE
from posescore.terms import Athlete, Position

GROUND = [position for position in Position if position.has_upper]
_VALUES: dict[CheckName, tuple[bool | int | str, ...]] = {
    CheckName.SHIN: ("hip_side", "head_side"),
    CheckName.FACING: ("head", "feet"),
    CheckName.HOOKS: (0, 1, 2),
    CheckName.ARMS_TRAPPED: (0, 1, 2),
    CheckName.KNEES_DOWN: (0, 1, 2),
}


@st.composite
def checks(draw: st.DrawFn) -> tuple[Check, ...]:
    names = draw(st.lists(st.sampled_from(CheckName), unique=True, max_size=3))
    return tuple(
        Check(
            name,
            draw(st.sampled_from(_VALUES.get(name, (True, False)))),
            draw(st.sampled_from((1.0, 0.9, 0.6, 0.4))),
        )
        for name in names
    )


@st.composite
def holds(
    draw: st.DrawFn,
    *,
    longest_s: float = 7.0,
    positions: list[Position] | None = None,
    max_size: int = 10,
) -> list[Hold]:
    """Holds in time order, tiling or with gaps, times in tenths of a second."""
    time = draw(st.integers(0, 50))
    found: list[Hold] = []
    for _ in range(draw(st.integers(0, max_size))):
        time += draw(st.sampled_from((0, 0, 0, 2, 10, 25, 60)))
        length = draw(st.integers(1, int(longest_s * 10)))
        position = draw(st.sampled_from(positions or list(Position)))
        upper = draw(st.sampled_from(Athlete)) if position.has_upper else None
        sure = draw(st.sampled_from((1.0, 0.8, 0.5)))
        end = time + length
        found.append(Hold(time / 10, end / 10, position, upper, sure, draw(checks())))
        time = end
    return found


@st.composite
def events(draw: st.DrawFn, *, end_s: float = 60.0, max_size: int = 6) -> list[MatchEvent]:
    found: list[MatchEvent] = []
    for _ in range(draw(st.integers(0, max_size))):
        name = draw(st.sampled_from(EventName))
        who = st.sampled_from(Athlete)
        athlete = draw(who if name in NEEDS_ATHLETE else st.none() | who)
        time_s = draw(st.integers(0, int(end_s * 10))) / 10
        found.append(MatchEvent(time_s, name, athlete, draw(st.sampled_from((1.0, 0.7)))))
    return sorted(found, key=lambda event: event.time_s)
