"""Where to look to judge a line of the score log: the frames that matter, and how it came about.

Pure functions of a review; nothing here opens footage.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from posescore.export.rows import ROUNDING_S, frame_at
from posescore.holds.check import CHECKS, CheckKind
from posescore.holds.event import EventName
from posescore.holds.hold import CheckName, Hold
from posescore.library.review.entries import ReviewHold
from posescore.library.review.review import Review, ReviewEvent, ReviewItem
from posescore.scoring.proposal import Criterion, Proposal, ProposalKind
from posescore.scoring.score import is_penalty_mark
from posescore.terms import Position, State
from posescore.words import WORDS, seconds_words

BEFORE_S: Final = 1.0
"""An attack begins a little before its standing ends."""
APART_S: Final = 0.25
"""Two frames nearer than this show the same; the later one is left out."""

POSITIONS_OF: Final[Mapping[ProposalKind, frozenset[Position]]] = {
    ProposalKind.GUARD_PASS: frozenset({Position.SIDE_CONTROL, Position.NORTH_SOUTH}),
    ProposalKind.KNEE_ON_BELLY: frozenset({Position.KNEE_ON_BELLY}),
    ProposalKind.MOUNT: frozenset({Position.MOUNT}),
    ProposalKind.BACK_MOUNT: frozenset({Position.BACK_MOUNT}),
    ProposalKind.BACK_CONTROL: frozenset({Position.BACK_CONTROL}),
}
"""Kinds that are awarded for a position; a takedown or sweep may end in any."""


@dataclass(frozen=True, slots=True)
class Still:
    """One frame to look at, and what it shows."""

    label: str
    time_s: float
    frame_index: int


@dataclass(frozen=True, slots=True)
class PathStep:
    """One position on the way to a score; the hold of it is None where there is none any more."""

    state: State
    hold: Hold | None = None


def stills_of(item: ReviewItem, review: Review) -> tuple[Still, ...]:
    """The frames at which the position begins, the seconds that count are over, and it ends.

    Where it was not held so long, the middle stands in for the second of these.
    """
    shown, hold_s, labels = item.shown, review.rule_set.seconds.hold, WORDS["stills"]
    start_s, end_s = shown.evidence.start_s, shown.evidence.end_s
    held = hold_shown(shown, review.holds)
    over_s = shown.time_s
    if held is not None and shown.points:
        start_s, end_s = max(start_s, held.hold.start_s), max(end_s, held.hold.end_s)
    elif held is not None:
        start_s, end_s = max(start_s, held.hold.start_s), held.hold.end_s
        over_s = start_s + hold_s
    middle = (labels["over"].format(held=seconds_words(hold_s)), over_s)
    if not start_s + hold_s - ROUNDING_S <= over_s <= end_s:
        middle = (labels["between"], (start_s + end_s) / 2)
    wanted = [(labels["begins"], start_s), middle, (labels["ends"], end_s - 2 * ROUNDING_S)]
    stills: list[Still] = []
    for label, time_s in wanted:
        frame_index = frame_at(review.clock, min(max(0.0, time_s), review.clock.end_s))
        at_s = review.clock.time_s(frame_index)
        if not stills or at_s - stills[-1].time_s >= APART_S:
            stills.append(Still(label, at_s, frame_index))
    return tuple(stills)


def look_at(item: ReviewItem, review: Review) -> Still:
    """The frame to look at for a line: that of its instant.

    What was no points is said once its chance is gone, often seconds after the position: then it
    is the last frame of the position.
    """
    shown, clock = item.shown, review.clock
    frame_index = frame_at(clock, min(max(0.0, shown.time_s), clock.end_s))
    if not shown.points and not is_penalty_mark(shown):
        frame_index = min(frame_index, stills_of(item, review)[-1].frame_index)
    return Still(WORDS["stills"]["moment"], clock.time_s(frame_index), frame_index)


def hold_shown(shown: Proposal, holds: Sequence[ReviewHold]) -> ReviewHold | None:
    """The hold that a line is about: of its kind where the kind is a position, else the last.

    Holds that do not reach into the line's evidence are not asked.
    """
    evidence = shown.evidence
    last_s = max(evidence.start_s, min(evidence.end_s, shown.time_s) - ROUNDING_S)
    wanted = POSITIONS_OF.get(shown.would_be or shown.kind, frozenset())
    newest: ReviewHold | None = None
    for held in _backwards(holds, last_s):
        if held.hold.end_s <= evidence.start_s:
            break
        if held.hold.position in wanted:
            return held
        if newest is None and held.hold.position is not Position.SCRAMBLE:
            newest = held
    return newest


def _backwards(holds: Sequence[ReviewHold], last_s: float) -> Iterator[ReviewHold]:
    """Holds that begin at an instant or before it, the newest first; they never overlap."""
    for index in range(bisect_right(holds, last_s, key=_start_s) - 1, -1, -1):
        yield holds[index]


def _start_s(held: ReviewHold) -> float:
    return held.hold.start_s


def path_of(shown: Proposal, holds: Sequence[ReviewHold]) -> tuple[PathStep, ...]:
    """The positions that led to a line, each with the newest hold of it that fits in order."""
    before_s, steps = shown.time_s, list[PathStep]()
    for state in reversed(shown.path):
        fitting = (
            held.hold
            for held in _backwards(holds, before_s - 2 * ROUNDING_S)
            if held.hold.state == state
        )
        hold = next(fitting, None)
        steps.append(PathStep(state, hold))
        before_s = hold.start_s if hold else before_s
    return tuple(reversed(steps))


def events_on_the_way(
    shown: Proposal, path: Sequence[PathStep], events: Sequence[ReviewEvent]
) -> tuple[ReviewEvent, ...]:
    """What was marked, or inferred, between the position before and the line itself."""
    known = next((step.hold for step in path if step.hold is not None), None)
    from_s = shown.evidence.start_s if known is None else known.end_s
    from_s = min(from_s - BEFORE_S, shown.evidence.start_s)
    return tuple(
        each
        for each in events
        if from_s <= each.event.time_s <= shown.time_s and _led_to(each.event.event, shown)
    )


_OF_THE_CLOCK: Final = (EventName.START, EventName.STOP, EventName.END)


def _led_to(event: EventName, shown: Proposal) -> bool:
    """Whether an event can be part of how a line came about: what the referee gave is not."""
    if event is EventName.PENALTY:
        return shown.kind is ProposalKind.PENALTY
    if event is EventName.ADVANTAGE:
        return shown.kind is ProposalKind.NEAR
    return event not in _OF_THE_CLOCK


def deciding(shown: Proposal) -> Criterion | None:
    """The one criterion that kept a line from being points: the surest check that was not met.

    None for points, and where the reason is none of the criteria.
    """
    if shown.kind not in (ProposalKind.NONE, ProposalKind.NEAR):
        return None
    unmet = [criterion for criterion in shown.criteria if criterion.met is False]
    return max(unmet, key=lambda each: (bool(each.check), each.probability), default=None)


def not_looked_at(shown: Proposal) -> int:
    """How many criteria nobody looked at: they are taken as met, and the line hangs on that."""
    return sum(criterion.met is None for criterion in shown.criteria)


def confidence_of(criterion: Criterion, shown: Proposal, held: ReviewHold | None) -> float:
    """How sure a criterion is, to show a person.

    The engine gives 1 to what follows from the position alone (on top, held long enough): that is
    as sure as the position's name; where it decides, as sure as the whole line.
    """
    if answer_of(criterion) or criterion.probability < 1.0:
        return criterion.probability
    if criterion.met is False:
        return shown.confidence
    return 1.0 if held is None else held.hold.confidence


def answer_of(criterion: Criterion) -> CheckKind | None:
    """The check that a person can set for a criterion; None where it rests on none."""
    return CHECKS.get(CheckName(criterion.check)) if criterion.check in list(CheckName) else None
