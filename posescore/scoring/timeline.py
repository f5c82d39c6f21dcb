"""Holds as the engine walks them: joined into visits, cut to the time the match is live."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum, auto

from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Hold
from posescore.scoring.rules import Seconds
from posescore.terms import GUARDS, Athlete, Interval, Position, State

TOLERANCE_S = 1e-6
"""Times of a log are decimal fractions; differences below this are rounding."""


class Group(Enum):
    """Positions that are one and the same to the three-second count."""

    STANDING = auto()
    GUARD = auto()
    """Closed, open and half-guard: the lower athlete's legs are in the way."""
    TURTLE = auto()
    PIN = auto()
    """Side control and north-south: one position to the pass, worth nothing as such."""
    KNEE_ON_BELLY = auto()
    MOUNT = auto()
    BACK_MOUNT = auto()
    BACK_CONTROL = auto()

    @classmethod
    def of(cls, position: Position) -> Group:
        """Group of a position; scramble has none."""
        if position in GUARDS:
            return cls.GUARD
        if position in (Position.SIDE_CONTROL, Position.NORTH_SOUTH):
            return cls.PIN
        return cls[position.name]


def overlaps(first: Interval, second: Interval) -> bool:
    """True when two stretches share more than rounding."""
    return first.overlap_s(second) > TOLERANCE_S


@dataclass(frozen=True, slots=True)
class Visit:
    """One stay in one group of positions by one upper athlete, made of adjacent holds."""

    group: Group
    upper: Athlete | None
    holds: tuple[Hold, ...]

    @property
    def holder(self) -> Athlete:
        """The upper athlete, of a visit that has one."""
        assert self.upper is not None, f"{self.group} has no upper athlete"
        return self.upper

    @property
    def start_s(self) -> float:
        """When it begins, seconds."""
        return self.holds[0].start_s

    @property
    def end_s(self) -> float:
        """When it ends, seconds."""
        return self.holds[-1].end_s

    @property
    def duration_s(self) -> float:
        """Length, seconds."""
        return self.end_s - self.start_s

    @property
    def entered(self) -> State:
        """Its first position, and who is on top or behind."""
        return State(self.holds[0].position, self.upper)

    @property
    def left(self) -> State:
        """Its last position, and who is on top or behind."""
        return State(self.holds[-1].position, self.upper)

    def confidence(self, start_s: float, end_s: float) -> float:
        """Lowest confidence of the holds that this stretch rests on.

        The lowest, not the product: a hold cut in two is no less sure than it was whole.
        """
        stretch = Interval(start_s, max(start_s, end_s))
        touched = [h.confidence for h in self.holds if overlaps(h.interval, stretch)]
        return min(touched or [hold.confidence for hold in self.holds])


@dataclass(frozen=True, slots=True)
class Lock:
    """A submission, from locked to released; ``open`` when nothing ended it."""

    attacker: Athlete
    interval: Interval
    confidence: float
    open: bool = False


def joined(first: Visit, second: Visit) -> Visit:
    """Two visits to the same position as one."""
    return Visit(first.group, first.upper, first.holds + second.holds)


def visits_of(holds: Iterable[Hold], seconds: Seconds, live: Sequence[Interval]) -> list[Visit]:
    """Holds, in time order, joined into visits; scramble and what was passed through left out."""
    named = [hold for hold in holds if hold.position is not Position.SCRAMBLE]
    clipped = [part for hold in named for part in _clip(hold, live)]
    stays = _join((Visit(Group.of(h.position), h.upper, (h,)) for h in clipped), seconds)
    reached = [v for v in stays if v.duration_s >= seconds.reached - TOLERANCE_S]
    return _join(_without_flicker(_join(reached, seconds), seconds), seconds)


_ESCAPES = frozenset({Group.STANDING, Group.GUARD, Group.TURTLE})


def _without_flicker(visits: list[Visit], seconds: Seconds) -> list[Visit]:
    """Leave out moments of guard, turtle or standing inside one pin: nobody escaped."""
    kept: list[Visit] = []
    for i, visit in enumerate(visits):
        around = visits[i - 1 : i] + visits[i + 1 : i + 2]
        inside = (
            len(around) == 2
            and (around[0].group, around[0].upper) == (around[1].group, around[1].upper)
            and around[0].group not in _ESCAPES
        )
        if not (
            inside
            and visit.group in _ESCAPES
            and visit.duration_s < seconds.established - TOLERANCE_S
        ):
            kept.append(visit)
    return kept


def _clip(hold: Hold, live: Sequence[Interval]) -> list[Hold]:
    return [
        Hold(start_s, end_s, hold.position, hold.upper, hold.confidence, hold.checks)
        for stretch in live
        if (start_s := max(hold.start_s, stretch.start_s))
        < (end_s := min(hold.end_s, stretch.end_s))
    ]


def _join(visits: Iterable[Visit], seconds: Seconds) -> list[Visit]:
    found: list[Visit] = []
    for visit in visits:
        last = found[-1] if found else None
        if (
            last is not None
            and (last.group, last.upper) == (visit.group, visit.upper)
            and visit.start_s - last.end_s <= seconds.joined_gap + TOLERANCE_S
        ):
            found[-1] = joined(last, visit)
        else:
            found.append(visit)
    return found


def stretches_of(
    holds: Sequence[Hold],
    seconds: Seconds,
    caught: Sequence[Interval],
    cuts: Sequence[float],
) -> list[Interval]:
    """Unbroken stretches in which the count runs: not while caught in a submission."""
    whole: list[Interval] = []
    for hold in holds:
        if whole and hold.start_s - whole[-1].end_s <= seconds.joined_gap + TOLERANCE_S:
            whole[-1] = Interval(whole[-1].start_s, hold.end_s)
        else:
            whole.append(hold.interval)
    for cut_s in cuts:
        whole = [part for stretch in whole for part in _without(stretch, Interval(cut_s, cut_s))]
    for lock in caught:
        whole = [part for stretch in whole for part in _without(stretch, lock)]
    return whole


def _without(stretch: Interval, hole: Interval) -> list[Interval]:
    if hole.end_s <= stretch.start_s or hole.start_s >= stretch.end_s:
        return [stretch]
    before = Interval(stretch.start_s, max(stretch.start_s, hole.start_s))
    after = Interval(min(stretch.end_s, hole.end_s), stretch.end_s)
    return [part for part in (before, after) if part.duration_s > 0]


def held_at(stretches: Sequence[Interval], hold_s: float) -> float | None:
    """The first instant at which a stretch has lasted ``hold_s``, or None."""
    for stretch in stretches:
        if stretch.duration_s >= hold_s - TOLERANCE_S:
            return stretch.start_s + hold_s
    return None


_FREES = (EventName.TAP, EventName.OUT_OF_AREA, EventName.STOP, EventName.START)


def locks_of(events: Sequence[MatchEvent], end_s: float) -> list[Lock]:
    """Submissions, from locked to released (or tapped, out of the area, stopped).

    A release names the attacker, the one who got free, or nobody; it ends the lock it fits.
    """
    open_locks: dict[Athlete, MatchEvent] = {}
    locks: list[Lock] = []

    def close(attacker: Athlete, time_s: float) -> None:
        event = open_locks.pop(attacker)
        locks.append(Lock(attacker, Interval(event.time_s, time_s), event.confidence))

    for event in events:
        if event.time_s > end_s:
            break
        if event.event is EventName.SUBMISSION_LOCKED and event.athlete is not None:
            open_locks.setdefault(event.athlete, event)
        elif event.event is EventName.SUBMISSION_RELEASED and event.athlete in open_locks:
            close(event.athlete, event.time_s)
        elif event.event is EventName.SUBMISSION_RELEASED or event.event in _FREES:
            for attacker in list(open_locks):
                close(attacker, event.time_s)
    for attacker, event in open_locks.items():
        stretch = Interval(event.time_s, max(event.time_s, end_s))
        locks.append(Lock(attacker, stretch, event.confidence, open=True))
    return sorted(locks, key=lambda lock: lock.interval)


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
