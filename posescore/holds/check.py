"""The registry of checks: what each may say, in which positions it is made, and what meets it.

Everything that knows checks reads it here: what looks them up in keypoints, the score log, rule
sets, edits of a person, and the words (:mod:`posescore.words`). Which values leave an advantage is
for the rule set to say.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from posescore.holds.hold import CheckName
from posescore.terms import KEYPOINTS, Position

Value = bool | int | str

_MOUNTS: Final = frozenset({Position.MOUNT, Position.BACK_MOUNT})
_BACK: Final = frozenset({Position.BACK_CONTROL})
_KNEE: Final = frozenset({Position.KNEE_ON_BELLY})
_TURTLE: Final = frozenset({Position.TURTLE})


class BodyPart(StrEnum):
    """What a criterion is about: where a person who judges it looks."""

    KNEES = "knees"
    FEET = "feet"
    ARMS = "arms"
    SHOULDERS = "shoulders"
    HEAD = "head"

    @property
    def keypoints(self) -> tuple[int, ...]:
        """Indices of its keypoints."""
        names = _KEYPOINTS_OF[self]
        return tuple(i for i, name in enumerate(KEYPOINTS) if name.partition("_")[2] in names)


_KEYPOINTS_OF: Final[Mapping[BodyPart, tuple[str, ...]]] = {
    BodyPart.KNEES: ("knee", "ankle"),
    BodyPart.FEET: ("ankle", "heel", "toe"),
    BodyPart.ARMS: ("elbow", "wrist"),
    BodyPart.SHOULDERS: ("shoulder", "elbow"),
    BodyPart.HEAD: ("eye", "ear", "shoulder"),
}


@dataclass(frozen=True, slots=True)
class CheckKind:
    """One check.

    Parameters
    ----------
    positions
        Where the published rules ask for it.
    values
        All that it may say, what is less or none of it first.
    met, unmet
        What a person's "it was so" and "it was not" stand for.
    part
        The part of the body to look at, in the words file's names.
    of_lower
        Whether that is the lower athlete's; else the upper one's.
    """

    positions: frozenset[Position]
    values: tuple[Value, ...]
    met: Value
    unmet: Value
    part: BodyPart
    of_lower: bool = False

    def allows(self, value: object) -> bool:
        """True for one of the values; 1 is not True here."""
        return any(value == each and type(value) is type(each) for each in self.values)


CHECKS: Final[Mapping[CheckName, CheckKind]] = {
    CheckName.OTHER_KNEE_DOWN: CheckKind(_KNEE, (False, True), False, True, BodyPart.KNEES),
    CheckName.SHIN: CheckKind(
        _KNEE, ("head_side", "hip_side"), "hip_side", "head_side", BodyPart.KNEES
    ),
    CheckName.HOOKS: CheckKind(_BACK, (0, 1, 2), 2, 1, BodyPart.FEET),
    CheckName.FEET_CROSSED: CheckKind(_BACK, (False, True), False, True, BodyPart.FEET),
    CheckName.ARMS_TRAPPED: CheckKind(
        _MOUNTS | _BACK, (0, 1, 2), 0, 2, BodyPart.ARMS, of_lower=True
    ),
    CheckName.ARM_ABOVE_SHOULDER_LINE: CheckKind(
        _MOUNTS, (False, True), False, True, BodyPart.SHOULDERS, of_lower=True
    ),
    CheckName.FACING: CheckKind(_MOUNTS, ("feet", "head"), "head", "feet", BodyPart.HEAD),
    CheckName.KNEES_DOWN: CheckKind(_MOUNTS, (0, 1, 2), 2, 0, BodyPart.KNEES),
    CheckName.KNEE_OF_OPPONENT_DOWN: CheckKind(
        _TURTLE, (False, True), True, False, BodyPart.KNEES, of_lower=True
    ),
    CheckName.BEHIND_SHOULDER_LINE: CheckKind(
        _TURTLE, (False, True), True, False, BodyPart.SHOULDERS
    ),
}
