"""What happens at one instant of a match, seen by a person or inferred from the keypoints."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from posescore.terms import Athlete


class EventName(StrEnum):
    """Events of a match, as the score log names them."""

    START = "start"
    STOP = "stop"
    END = "end"
    TAKEDOWN_ATTEMPT = "takedown_attempt"
    GUARD_PULL = "guard_pull"
    TROUSERS_GRIP = "trousers_grip"
    POSITION_GIVEN_UP = "position_given_up"
    SUBMISSION_LOCKED = "submission_locked"
    SUBMISSION_RELEASED = "submission_released"
    TAP = "tap"
    OUT_OF_AREA = "out_of_area"
    FLED = "fled"
    PENALTY = "penalty"
    ADVANTAGE = "advantage"


@dataclass(frozen=True, slots=True)
class MatchEvent:
    """One event. ``athlete`` is the one who does it (who taps, who flees, who is penalised).

    ``confidence`` is 1 for what a person marked; inferred events carry the probability that the
    event took place and was this athlete's.
    """

    time_s: float
    event: EventName
    athlete: Athlete | None = None
    confidence: float = 1.0
