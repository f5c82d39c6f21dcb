"""Looking up what was marked."""

from __future__ import annotations

from collections.abc import Iterable

from posescore.holds.event import EventName, MatchEvent
from posescore.scoring.timeline import TOLERANCE_S
from posescore.terms import Athlete


def between(
    events: Iterable[MatchEvent],
    name: EventName,
    athlete: Athlete,
    from_s: float,
    until_s: float,
) -> list[MatchEvent]:
    """Events of one name and athlete between two instants, both included."""
    return [
        e
        for e in events
        if e.event is name
        and e.athlete is athlete
        and from_s - TOLERANCE_S <= e.time_s <= until_s + TOLERANCE_S
    ]


def latest(
    events: Iterable[MatchEvent],
    name: EventName,
    athlete: Athlete,
    from_s: float,
    until_s: float,
) -> MatchEvent | None:
    """The last of them, or None."""
    found = between(events, name, athlete, from_s, until_s)
    return found[-1] if found else None
