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
from posescore.library.entries import ReviewHold
from posescore.library.review import Review, ReviewItem
from posescore.scoring.proposal import Criterion, Proposal, ProposalKind
from posescore.terms import Athlete, Position

HELD_S: Final = 3.0
"""A score counts once its position is held so long (rule book, 3.1)."""
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
    """One position on the way to a score; the instants are None where no hold of it is there."""

    words: str
    position: Position | None
    start_s: float | None
    end_s: float | None


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
    wanted = [("It begins", start_s), middle, ("It ends", end_s - ROUNDING_S)]
    stills: list[Still] = []
    for label, time_s in wanted:
        frame_index = frame_at(review.clock, min(max(0.0, time_s), review.clock.end_s))
        at_s = review.clock.time_s(frame_index)
        if not stills or at_s - stills[-1].time_s >= APART_S:
            stills.append(Still(label, at_s, frame_index))
    return tuple(stills)


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
            steps.append(PathStep(words, position, None, None))
            continue
        before_s = hold.start_s
        steps.append(PathStep(words, hold.position, hold.start_s, hold.end_s))
    return tuple(reversed(steps))


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


def answer_of(criterion: Criterion) -> tuple[bool | int | str, bool | int | str] | None:
    """What a person sets a criterion's check to for "it was so" and "it was not"."""
    return _ANSWERS.get(criterion.check)


_ANSWERS: Final = {str(name): values for name, values in PERSONS_ANSWER.items()}
