"""What the engine proposes, and what the match would stand at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from posescore.terms import Athlete, Interval, State


class ProposalKind(StrEnum):
    """What a proposal is about, as the score log names it."""

    TAKEDOWN = "takedown"
    SWEEP = "sweep"
    GUARD_PASS = "guard_pass"
    KNEE_ON_BELLY = "knee_on_belly"
    MOUNT = "mount"
    BACK_MOUNT = "back_mount"
    BACK_CONTROL = "back_control"
    PENALTY = "penalty"
    OUT_OF_AREA = "out_of_area"
    FLED = "fled"
    NEAR = "near"
    """An advantage only: it nearly scored."""
    NONE = "none"
    """It looked like points and is none; ``why`` says which criterion failed."""


@dataclass(frozen=True, slots=True)
class Criterion:
    """One published criterion of a proposal: what the rule asks and what was seen.

    ``met`` is None where the footage cannot show it. ``probability`` is how sure ``met`` is.
    ``seen`` is a sentence with fields for names (see :mod:`posescore.words`). ``check`` is the
    log's name of the check it rests on, empty where it rests on none; ``fraction`` and ``visible``
    say how well that was seen (see :class:`posescore.holds.hold.Check`).
    """

    name: str
    met: bool | None
    seen: str
    clause: str
    probability: float = 1.0
    check: str = ""
    fraction: float | None = None
    visible: float | None = None


@dataclass(frozen=True, slots=True)
class Proposal:
    """Points, an advantage, or "no points, because", for a person to confirm.

    ``time_s`` is the instant at which the rule is fulfilled (the end of the three seconds);
    ``evidence`` is the stretch of footage that shows it. ``would_be`` names what a proposal of
    kind near or none would have been. ``why`` is a sentence with fields for names (see
    :mod:`posescore.words`), ``path`` the positions that led there. ``confidence`` is the
    probability that holds, checks and events it rests on are right.
    """

    time_s: float
    athlete: Athlete | None
    kind: ProposalKind
    points: int
    advantage: int
    clause: str
    why: str
    confidence: float
    evidence: Interval
    would_be: ProposalKind | None = None
    path: tuple[State, ...] = ()
    criteria: tuple[Criterion, ...] = ()


@dataclass(frozen=True, slots=True)
class Tally:
    """Points, advantages and penalties of one athlete."""

    points: int = 0
    advantages: int = 0
    penalties: int = 0


@dataclass(frozen=True, slots=True)
class Result:
    """How the match ends. ``winner`` is None while open or left to the referee."""

    winner: Athlete | None
    by: str
    """One of submission, disqualification, points, advantages, penalties, referee."""
    why: str
    """A sentence with fields for names."""


@dataclass(frozen=True, slots=True)
class Ruling:
    """Everything the engine says of one match."""

    proposals: tuple[Proposal, ...]
    score: Mapping[Athlete, Tally] = field(default_factory=dict)
    """What stands if every proposal is confirmed."""
    result: Result | None = None
