"""The match clock: when it runs and when the match ends, for the engine and the pages alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Hold
from posescore.scoring.rules import RuleSet
from posescore.scoring.score import step_of
from posescore.scoring.timeline import TOLERANCE_S
from posescore.terms import Athlete, Interval


@dataclass(frozen=True, slots=True)
class MatchClock:
    """When the match is live.

    Parameters
    ----------
    running
        Stretches of footage, in order, in which the clock runs.
    end_s
        When the match ends, seconds of footage.
    decided
        True when a tap or a disqualification ended it.
    """

    running: tuple[Interval, ...]
    end_s: float
    decided: bool

    @classmethod
    def of(
        cls,
        holds: Sequence[Hold],
        events: Sequence[MatchEvent],
        rules: RuleSet,
        footage_end_s: float | None = None,
    ) -> MatchClock:
        """Read the clock off a match's events, in any order.

        Without a start, or with a stop before the first one, the clock runs from the first second
        of footage; without an end it runs to ``footage_end_s``, by default the last hold or event.
        """
        events = sorted(events, key=lambda event: event.time_s)
        last_s = max([0.0, *(h.end_s for h in holds), *(e.time_s for e in events)])
        regular = [e.time_s for e in events if e.event is EventName.END]
        regular_s = min([last_s if footage_end_s is None else footage_end_s, *regular])
        early_s = min(_decisive(events, rules), default=float("inf"))
        end_s = min(early_s, regular_s)
        return cls(tuple(_running(events, end_s)), end_s, early_s <= regular_s)


def _decisive(events: Sequence[MatchEvent], rules: RuleSet) -> list[float]:
    """Instants that end a match whatever the points: taps and disqualifications."""
    instants_s = [e.time_s for e in events if e.event is EventName.TAP and e.athlete is not None]
    counts = dict.fromkeys(Athlete, 0)
    for event, athlete in penalised(events, rules):
        counts[athlete] += 1
        if step_of(counts[athlete], rules).disqualified:
            instants_s.append(event.time_s)
    return instants_s


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
