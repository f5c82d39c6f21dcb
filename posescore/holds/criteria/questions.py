"""The yes-or-no questions behind the published criteria, which the model in time answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from posescore.terms import Position

SIDES: Final = ("left", "right")


@dataclass(frozen=True, slots=True)
class Question:
    """One question.

    Parameters
    ----------
    name
        As the model in time and truths call it.
    positions
        The positions it is asked in.
    decisive
        Keypoints that the answer hangs on, of the upper or the lower athlete; ``{side}`` is the
        side. Where none of them is seen the film cannot show the answer.
    sided
        True where it is asked of each limb.
    """

    name: str
    positions: frozenset[Position]
    decisive: tuple[tuple[str, str], ...] = ()
    sided: bool = False


_MOUNTS: Final = frozenset({Position.MOUNT, Position.BACK_MOUNT})
_ASTRIDE: Final = frozenset({Position.MOUNT, Position.HALF_GUARD})
_KNEE: Final = frozenset({Position.KNEE_ON_BELLY})
_BACK: Final = frozenset({Position.BACK_CONTROL})
_TURTLE: Final = frozenset({Position.TURTLE})

_LEGS: Final = (
    ("upper", "left_knee"), ("upper", "right_knee"), ("upper", "left_ankle"),
    ("upper", "right_ankle"),
)  # fmt: skip


def _of(who: str, *joints: str) -> tuple[tuple[str, str], ...]:
    return tuple((who, f"{{side}}_{joint}") for joint in joints)


QUESTIONS: Final[tuple[Question, ...]] = (
    Question("other_knee_down", _KNEE, _LEGS),
    Question("hip_side", _KNEE, _LEGS[:2]),
    Question("facing_head", _MOUNTS),
    Question("knee_down", _MOUNTS, _of("upper", "knee", "ankle"), sided=True),
    Question("arm_trapped", _MOUNTS, _of("lower", "elbow", "wrist"), sided=True),
    Question("leg_trapped", _ASTRIDE, _LEGS),
    Question("hook", _BACK, _of("upper", "ankle", "heel"), sided=True),
    Question("feet_crossed", _BACK, _LEGS[2:]),
    Question("knee_of_opponent_down", _TURTLE, (("lower", "left_knee"), ("lower", "right_knee"))),
    Question("behind_shoulder_line", _TURTLE),
)
"""All questions. ``feet_crossed`` counts a body triangle too: the feet look alike."""
