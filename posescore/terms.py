"""The words every room shares: athletes, positions, keypoints, intervals, provenance.

This module depends on the standard library and numpy alone. Names are the trade's
(the published rule books of sport jiu-jitsu) or an open standard's (COCO keypoints).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
"""Any array of float64."""


class Progress(Protocol):
    """Told how far something slow is: what is being done, how many of how many."""

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Report; raising stops the work and leaves nothing half-made."""
        ...


def silent(stage: str, done: int, total: int) -> None:
    """Report to nobody."""


class Athlete(StrEnum):
    """One of the two athletes of a match. Names and gi colours belong to the match."""

    A = "A"
    B = "B"

    @property
    def slot(self) -> int:
        """Index of the athlete on every axis of length two (A is 0, B is 1)."""
        return 0 if self is Athlete.A else 1

    @property
    def other(self) -> Athlete:
        """The opponent."""
        return Athlete.B if self is Athlete.A else Athlete.A

    @classmethod
    def of_slot(cls, slot: int) -> Athlete:
        """Athlete of an axis index, 0 or 1."""
        return (cls.A, cls.B)[slot]


class Position(StrEnum):
    """The named positions of the sport."""

    STANDING = "standing"
    CLOSED_GUARD = "closed_guard"
    OPEN_GUARD = "open_guard"
    HALF_GUARD = "half_guard"
    SIDE_CONTROL = "side_control"
    NORTH_SOUTH = "north_south"
    KNEE_ON_BELLY = "knee_on_belly"
    MOUNT = "mount"
    BACK_MOUNT = "back_mount"
    BACK_CONTROL = "back_control"
    TURTLE = "turtle"
    SCRAMBLE = "scramble"

    @property
    def has_upper(self) -> bool:
        """True when one athlete is on top or behind in this position."""
        return self not in (Position.STANDING, Position.SCRAMBLE)


GUARDS: Final = frozenset({Position.CLOSED_GUARD, Position.OPEN_GUARD, Position.HALF_GUARD})
"""Positions in which the lower athlete uses one or both legs to keep the other out."""


@dataclass(frozen=True, slots=True, order=True)
class State:
    """A position together with the athlete on top or behind.

    ``upper`` is None exactly when the position has no upper athlete (standing, scramble).
    In guard the upper athlete is the one facing the legs.
    """

    position: Position
    upper: Athlete | None = None

    def __post_init__(self) -> None:
        if self.position.has_upper != (self.upper is not None):
            raise ValueError(f"{self.position} with upper={self.upper} is no state")

    def __str__(self) -> str:
        return self.position if self.upper is None else f"{self.position}:{self.upper}"

    @property
    def swapped(self) -> State:
        """The same position with A and B exchanged."""
        return State(self.position, None if self.upper is None else self.upper.other)


STATES: Final[tuple[State, ...]] = tuple(
    State(position, upper)
    for position in Position
    for upper in ((Athlete.A, Athlete.B) if position.has_upper else (None,))
)
"""All states, in the order of every ``n_states`` axis."""

KEYPOINTS: Final[tuple[str, ...]] = (
    "nose", "left_eye", "right_eye", "left_ear", "right_ear",
    "left_shoulder", "right_shoulder", "left_elbow", "right_elbow", "left_wrist", "right_wrist",
    "left_hip", "right_hip", "left_knee", "right_knee", "left_ankle", "right_ankle",
    "left_heel", "right_heel", "left_toe", "right_toe",
)  # fmt: skip
"""21 keypoints: COCO's 17 in COCO's order, then heels and toes."""

N_KEYPOINTS: Final = len(KEYPOINTS)
N_COCO: Final = 17
KEYPOINT_INDEX: Final[Mapping[str, int]] = {name: i for i, name in enumerate(KEYPOINTS)}


def _other_side(name: str) -> str:
    if name.startswith("left_"):
        return "right_" + name[5:]
    return "left_" + name[6:] if name.startswith("right_") else name


MIRRORED_KEYPOINTS: Final[tuple[int, ...]] = tuple(
    KEYPOINT_INDEX[_other_side(name)] for name in KEYPOINTS
)
"""Index of the keypoint that each keypoint becomes when left and right are exchanged."""

BONES: Final[tuple[tuple[int, int], ...]] = tuple(
    (KEYPOINT_INDEX[a], KEYPOINT_INDEX[b])
    for a, b in (
        ("nose", "left_eye"), ("nose", "right_eye"),
        ("left_eye", "left_ear"), ("right_eye", "right_ear"),
        ("left_shoulder", "right_shoulder"),
        ("left_shoulder", "left_elbow"), ("left_elbow", "left_wrist"),
        ("right_shoulder", "right_elbow"), ("right_elbow", "right_wrist"),
        ("left_shoulder", "left_hip"), ("right_shoulder", "right_hip"), ("left_hip", "right_hip"),
        ("left_hip", "left_knee"), ("left_knee", "left_ankle"),
        ("right_hip", "right_knee"), ("right_knee", "right_ankle"),
        ("left_ankle", "left_heel"), ("left_heel", "left_toe"),
        ("right_ankle", "right_heel"), ("right_heel", "right_toe"),
    )
)  # fmt: skip
"""Pairs of keypoints that are drawn as a line."""


@dataclass(frozen=True, slots=True, order=True)
class Interval:
    """A half-open stretch of match time, ``[start_s, end_s)`` in seconds of footage."""

    start_s: float
    end_s: float

    def __post_init__(self) -> None:
        if not self.start_s <= self.end_s:
            raise ValueError(f"an interval cannot end ({self.end_s}) before {self.start_s}")

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s

    def contains(self, time_s: float) -> bool:
        """True when the instant lies inside; the end itself does not."""
        return self.start_s <= time_s < self.end_s

    def overlap_s(self, other: Interval) -> float:
        """Seconds that both intervals share."""
        return max(0.0, min(self.end_s, other.end_s) - max(self.start_s, other.start_s))


@dataclass(frozen=True, slots=True)
class Step:
    """One step that made an artefact: its name, its settings, the hashes of its models."""

    name: str
    settings: Mapping[str, object] = field(default_factory=dict)
    model_sha256: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Provenance:
    """How an artefact was made: the program's version and every step, in order."""

    program_version: str
    steps: tuple[Step, ...] = ()

    def then(self, step: Step) -> Provenance:
        """The provenance of what ``step`` makes out of this artefact."""
        return Provenance(self.program_version, (*self.steps, step))

    def to_json(self) -> dict[str, object]:
        """Plain data for metadata and databases."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> Provenance:
        """Inverse of :meth:`to_json`."""
        steps = data.get("steps") or []
        if not isinstance(steps, list):
            raise ValueError("provenance: 'steps' must be a list")
        return cls(
            str(data.get("program_version", "")),
            tuple(Step(s["name"], s.get("settings", {}), s.get("model_sha256", {})) for s in steps),
        )
