"""Stable positions, and what was seen of the published criteria while they were held."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from posescore.terms import Athlete, Interval, Position, State


class CheckName(StrEnum):
    """The criteria that a hold can be checked for, as the score log names them."""

    OTHER_KNEE_DOWN = "other_knee_down"
    """Knee-on-belly: the knee that is not on the opponent touches the ground (bool)."""
    SHIN = "shin"
    """Knee-on-belly: which knee is on the torso, ``"hip_side"`` or ``"head_side"`` (str)."""
    HOOKS = "hooks"
    """Back control: how many heels are inside the opponent's thighs, 0 to 2 (int)."""
    FEET_CROSSED = "feet_crossed"
    """Back control: the upper athlete's feet are crossed, or a body triangle (bool)."""
    ARMS_TRAPPED = "arms_trapped"
    """Mounts and back control: arms of the opponent under the upper athlete's legs (int)."""
    ARM_ABOVE_SHOULDER_LINE = "arm_above_shoulder_line"
    """Mounts: the trapped arm lies above the shoulder line (bool)."""
    FACING = "facing"
    """Mounts: the upper athlete faces ``"head"`` or ``"feet"`` (str)."""
    KNEES_DOWN = "knees_down"
    """Mounts: how many of the upper athlete's knees are on the ground, 0 to 2 (int)."""
    KNEE_OF_OPPONENT_DOWN = "knee_of_opponent_down"
    """Turtle after a takedown or sweep: a knee of the lower athlete is on the ground (bool)."""
    BEHIND_SHOULDER_LINE = "behind_shoulder_line"
    """Turtle: the upper athlete controls from behind the opponent's shoulder line (bool)."""


@dataclass(frozen=True, slots=True)
class Check:
    """One published criterion on one hold.

    Parameters
    ----------
    name, value
        What was looked for, and what was seen (see :mod:`posescore.holds.check`).
    probability
        How likely that value is right, 0 to 1.
    seen
        What was seen, in somebody's own words: a person's, a log's, or those of a library of an
        older version. Else "": the words follow from the value.
    fraction
        Of the seen instants, those that show the value: 0 to 1; None where nobody counted.
    visible
        Of all instants, those in which both athletes were seen: 0 to 1; None likewise.
    """

    name: CheckName
    value: bool | int | str
    probability: float = 1.0
    seen: str = ""
    fraction: float | None = None
    visible: float | None = None


@dataclass(frozen=True, slots=True)
class Hold:
    """One stable position over a half-open stretch of footage.

    ``confidence`` is the calibrated probability that this state is right throughout, 0 to 1.
    Holds of one match never overlap; time between them is scramble.
    """

    start_s: float
    end_s: float
    position: Position
    upper: Athlete | None = None
    confidence: float = 1.0
    checks: tuple[Check, ...] = ()

    def __post_init__(self) -> None:
        State(self.position, self.upper)
        Interval(self.start_s, self.end_s)

    @property
    def interval(self) -> Interval:
        """The stretch of footage."""
        return Interval(self.start_s, self.end_s)

    @property
    def state(self) -> State:
        """Position and upper athlete."""
        return State(self.position, self.upper)

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s

    def check(self, name: CheckName) -> Check | None:
        """The check of that name, or None where it was not made."""
        return next((check for check in self.checks if check.name is name), None)
