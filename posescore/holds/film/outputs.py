"""The columns of what the model in time answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from posescore.holds.criteria.questions import QUESTIONS, SIDES
from posescore.holds.event import EventName, MatchEvent
from posescore.terms import KEYPOINT_INDEX, Athlete

CRITERIA: Final[tuple[tuple[str, int], ...]] = tuple(
    (question.name, side)
    for question in QUESTIONS
    for side in (range(len(SIDES)) if question.sided else (0,))
)
"""Questions with their side: 0 left or none, 1 right."""
MIRRORED_CRITERIA: Final[tuple[int, ...]] = tuple(
    CRITERIA.index((name, 1 - side)) if (name, 1 - side) in CRITERIA else column
    for column, (name, side) in enumerate(CRITERIA)
)
"""Column that each column becomes in the mirror image."""

DECISIVE: Final[tuple[tuple[tuple[bool, int], ...], ...]] = tuple(
    tuple(
        (who == "upper", KEYPOINT_INDEX[name.format(side=SIDES[side])])
        for who, name in next(q for q in QUESTIONS if q.name == question).decisive
    )
    for question, side in CRITERIA
)
"""Of every criterion: whether it is the upper athlete's, and which keypoint, that it hangs on."""

WAYS: Final[tuple[tuple[EventName, Athlete] | None, ...]] = (
    None,
    (EventName.TAKEDOWN_ATTEMPT, Athlete.A),
    (EventName.TAKEDOWN_ATTEMPT, Athlete.B),
    (EventName.GUARD_PULL, Athlete.A),
    (EventName.GUARD_PULL, Athlete.B),
)
"""How a match comes from the feet to the mat; None: neither brought it about."""
N_WAYS: Final = len(WAYS)


def way_down(events: Sequence[MatchEvent]) -> int:
    """Index into :data:`WAYS` of what events say of one passage."""
    said = ((event.event, event.athlete) for event in events)
    return next((WAYS.index(one) for one in said if one in WAYS), 0)
