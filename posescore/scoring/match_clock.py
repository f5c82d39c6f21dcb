"""The match clock: when it runs and when the match ends, for the engine and the pages alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Hold
from posescore.scoring.rules import RuleSet
from posescore.scoring.score import step_of
from posescore.scoring.timeline import TOLERANCE_S
from posescore.terms import Athlete, Interval

HAND_S: Final = 2.0
"""A clock that a hand starts and stops is no more exact than this."""


class EndedBy(StrEnum):
    """What ended a match."""

    TAP = "tap"
    DISQUALIFICATION = "disqualification"
    TIME = "time"
    MARKED = "end"
    FOOTAGE = "footage"


@dataclass(frozen=True, slots=True)
class MatchClock:
    """When the match is live.

    Parameters
    ----------
    running
        Stretches of footage, in order, in which the clock runs.
    end_s
        When the match ends, seconds of footage.
    by
        What ended it; with the footage nobody knows whether it ended.
    """

    running: tuple[Interval, ...]
    end_s: float
    by: EndedBy

    @property
    def decided(self) -> bool:
        """True when a tap or a disqualification ended it."""
        return self.by in (EndedBy.TAP, EndedBy.DISQUALIFICATION)

    @classmethod
    def of(
        cls,
        holds: Sequence[Hold],
        events: Sequence[MatchEvent],
        rules: RuleSet,
        footage_end_s: float | None = None,
        match_s: float | None = None,
    ) -> MatchClock:
        """Read the clock off a match's events, in any order.

        Without a start, or with a stop before the first one, the clock runs from the first second
        of footage; without an end it runs to ``footage_end_s``, by default the last hold or event.
        The published match time ``match_s`` ends the match only where its start was marked, and
        :data:`HAND_S` late.
        """
        events = sorted(events, key=lambda event: event.time_s)
        last_s = max([0.0, *(h.end_s for h in holds), *(e.time_s for e in events)])
        last_s = last_s if footage_end_s is None else footage_end_s
        ends = _decisive(events, rules)
        ends += [(e.time_s, EndedBy.MARKED) for e in events if e.event is EventName.END]
        ends += [(last_s, EndedBy.FOOTAGE)]
        end_s, by = min(ends, key=lambda end: end[0])  # of two at one instant what decides
        running = _running(events, end_s)
        over_s = None if match_s is None else _time_up(events, running, match_s + HAND_S)
        if over_s is not None and over_s < end_s:
            end_s, by = over_s, EndedBy.TIME
            running = _running(events, end_s)
        return cls(tuple(running), end_s, by)


def _time_up(
    events: Sequence[MatchEvent], running: Sequence[Interval], lasts_s: float
) -> float | None:
    """When the clock has run for so long; None where it has not, or nobody marked the start."""
    if not any(event.event is EventName.START for event in events):
        return None
    left_s = lasts_s
    for stretch in running:
        if stretch.duration_s >= left_s:
            return stretch.start_s + left_s
        left_s -= stretch.duration_s
    return None


def _decisive(events: Sequence[MatchEvent], rules: RuleSet) -> list[tuple[float, EndedBy]]:
    """Instants that end a match whatever the points: taps and disqualifications."""
    taps = [e for e in events if e.event is EventName.TAP and e.athlete is not None]
    ends = [(e.time_s, EndedBy.TAP) for e in taps]
    counts = dict.fromkeys(Athlete, 0)
    for event, athlete in penalised(events, rules):
        counts[athlete] += 1
        if step_of(counts[athlete], rules).disqualified:
            ends.append((event.time_s, EndedBy.DISQUALIFICATION))
    return ends


def _running(events: Sequence[MatchEvent], end_s: float) -> list[Interval]:
    events = [e for e in events if e.time_s <= end_s]
    starts_s = [e.time_s for e in events if e.event is EventName.START]
    stops_s = [e.time_s for e in events if e.event is EventName.STOP]
    since_s: float | None = -float("inf")
    if starts_s and not any(stop_s < starts_s[0] for stop_s in stops_s):
        since_s = starts_s[0]
    stretches: list[Interval] = []
    for event in events:
        if event.event is EventName.STOP and since_s is not None and event.time_s > since_s:
            stretches.append(Interval(max(0.0, since_s), max(0.0, event.time_s)))
            since_s = None
        elif event.event is EventName.START and since_s is None:
            since_s = event.time_s
    if since_s is not None and since_s < end_s:
        stretches.append(Interval(max(0.0, since_s), max(0.0, end_s)))
    return [stretch for stretch in stretches if stretch.duration_s > 0]


def penalised(events: Sequence[MatchEvent], rules: RuleSet) -> list[tuple[MatchEvent, Athlete]]:
    """Events that bring a penalty; one marked beside a flight is the flight's own."""
    fled = [e for e in events if e.event is EventName.FLED]
    near_s = 2 * rules.seconds.event_slack + TOLERANCE_S
    return [
        (e, e.athlete)
        for e in events
        if e.athlete is not None
        and (
            e.event is EventName.FLED
            or (
                e.event is EventName.PENALTY
                and not any(
                    f.athlete is e.athlete and abs(f.time_s - e.time_s) <= near_s for f in fled
                )
            )
        )
    ]
