"""Where to look to judge a line of the score log: the frames that matter, and how it came about.

Pure functions of a review; nothing here opens footage.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from posescore.export.rows import ROUNDING_S, frame_at
from posescore.holds.hold import CheckName
from posescore.library.review.entries import ReviewHold
from posescore.library.review.review import Review, ReviewEvent, ReviewItem
from posescore.scoring.proposal import Criterion, Proposal, ProposalKind
from posescore.scoring.score import is_penalty_mark
from posescore.terms import Athlete, Position

HELD_S: Final = 3.0
"""A score counts once its position is held so long (rule book, 3.1)."""
BEFORE_S: Final = 1.0
"""An attack begins a little before its standing ends."""
APART_S: Final = 0.25
"""Two frames nearer than this show the same; the later one is left out."""

PERSONS_ANSWER: Final[Mapping[CheckName, tuple[bool | int | str, bool | int | str]]] = {
    CheckName.OTHER_KNEE_DOWN: (False, True),
    CheckName.SHIN: ("hip_side", "head_side"),
    CheckName.HOOKS: (2, 1),
    CheckName.FEET_CROSSED: (False, True),
    CheckName.ARMS_TRAPPED: (0, 2),
    CheckName.ARM_ABOVE_SHOULDER_LINE: (False, True),
    CheckName.FACING: ("head", "feet"),
    CheckName.KNEES_DOWN: (2, 0),
    CheckName.KNEE_OF_OPPONENT_DOWN: (True, False),
    CheckName.BEHIND_SHOULDER_LINE: (True, False),
}
"""What a check looks like when a person says that its criterion was met, and that it was not."""


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
    """One position on the way to a score; all but words are None where no hold of it is there.

    ``confidence`` is that of the hold, 1 where a person named it.
    """

    words: str
    position: Position | None
    start_s: float | None = None
    end_s: float | None = None
    confidence: float | None = None


def stills_of(item: ReviewItem, review: Review) -> tuple[Still, ...]:
    """The frames at which the position begins, the three seconds are over, and it ends.

    Where it was not held so long, the middle stands in for the third second.
    """
    shown = item.shown
    start_s, end_s = shown.evidence.start_s, shown.evidence.end_s
    held = hold_shown(shown, review.holds)
    third_s = shown.time_s
    if held is not None and shown.points:
        start_s, end_s = max(start_s, held.hold.start_s), max(end_s, held.hold.end_s)
    elif held is not None:
        start_s, end_s = max(start_s, held.hold.start_s), held.hold.end_s
        third_s = start_s + HELD_S
    middle = ("The three seconds are over", third_s)
    if not start_s + HELD_S - ROUNDING_S <= third_s <= end_s:
        middle = ("In between", (start_s + end_s) / 2)
    wanted = [("It begins", start_s), middle, ("It ends", end_s - 2 * ROUNDING_S)]
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
    return Still("The moment", clock.time_s(frame_index), frame_index)


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
    for words in reversed(shown.path):
        position, upper = position_named(words), _upper_named(words)
        fitting = (
            held.hold
            for held in _backwards(holds, before_s - 2 * ROUNDING_S)
            if held.hold.position is position and (upper is None or held.hold.upper is upper)
        )
        hold = next(fitting, None)
        if hold is None:
            steps.append(PathStep(words, position))
            continue
        before_s = hold.start_s
        step = PathStep(words, hold.position, hold.start_s, hold.end_s, hold.confidence)
        steps.append(step)
    return tuple(reversed(steps))


def events_on_the_way(
    shown: Proposal, path: Sequence[PathStep], events: Sequence[ReviewEvent]
) -> tuple[ReviewEvent, ...]:
    """What was marked, or inferred, between the position before and the line itself."""
    known = next((step for step in path if step.end_s is not None), None)
    from_s = shown.evidence.start_s if known is None or known.end_s is None else known.end_s
    from_s = min(from_s - BEFORE_S, shown.evidence.start_s)
    return tuple(each for each in events if from_s <= each.event.time_s <= shown.time_s)


def position_named(words: str) -> Position | None:
    """The position that an engine's words begin with, say ``closed guard, A on top``."""
    name = words.split(",")[0].strip()
    return next((p for p in Position if p.trade_name == name), None)


def _upper_named(words: str) -> Athlete | None:
    """The athlete on top or behind, in the engine's words."""
    said = re.search(r"\b([AB]) (?:on top|behind)", words)
    return Athlete(said.group(1)) if said else None


def deciding(shown: Proposal) -> Criterion | None:
    """The one criterion that kept a line from being points: the surest of those not met.

    None for points, and where the reason is none of the criteria.
    """
    if shown.kind not in (ProposalKind.NONE, ProposalKind.NEAR):
        return None
    unmet = [criterion for criterion in shown.criteria if criterion.met is False]
    return max(unmet, key=lambda criterion: criterion.probability, default=None)


def sureness_of(criterion: Criterion, shown: Proposal, held: ReviewHold | None) -> float:
    """How sure a criterion is, to show a person.

    The engine gives 1 to what follows from the position alone (on top, held for three seconds):
    that is as sure as the position's name; where it decides, as sure as the whole line.
    """
    if criterion.check or criterion.probability < 1.0:
        return criterion.probability
    if criterion.met is False:
        return shown.confidence
    return 1.0 if held is None else held.hold.confidence


def answer_of(criterion: Criterion) -> tuple[bool | int | str, bool | int | str] | None:
    """What a person sets a criterion's check to for "it was so" and "it was not"."""
    return _ANSWERS.get(criterion.check)


_ANSWERS: Final = {str(name): values for name, values in PERSONS_ANSWER.items()}
