"""The story of the sample match: what happens when, and what the published rules make of it.

Clauses are those of the international federation's rule book, version 6.1 (2024).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from posescore.terms import Athlete, Position

FRAMES_PER_S: Final = 30
DURATION_S: Final = 69.6
N_FRAMES: Final = round(DURATION_S * FRAMES_PER_S)
PICTURE_SIZE_PX: Final = (1280, 720)

_A, _B = Athlete.A, Athlete.B


@dataclass(frozen=True, slots=True)
class Stretch:
    """One true state of the footage, half-open, seconds."""

    start_s: float
    end_s: float
    position: Position
    upper: Athlete | None = None


@dataclass(frozen=True, slots=True)
class TrueHold:
    """One stable position with the criteria as they truly are."""

    start_s: float
    end_s: float
    position: Position
    upper: Athlete | None = None
    checks: Mapping[str, bool | int | str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Award:
    """Points that the rules give, at the end of the three seconds."""

    time_s: float
    athlete: Athlete
    kind: str
    points: int
    clause: str
    why: str


@dataclass(frozen=True, slots=True)
class Nothing:
    """What looks like points and is none, with the criterion that fails."""

    start_s: float
    end_s: float
    athlete: Athlete
    would_be: str
    failed_criterion: str
    clause: str
    why: str


STATES: Final = (
    Stretch(0.0, 6.0, Position.STANDING),
    Stretch(6.0, 8.4, Position.SCRAMBLE),
    Stretch(8.4, 13.0, Position.CLOSED_GUARD, _A),
    Stretch(13.0, 14.0, Position.SCRAMBLE),
    Stretch(14.0, 18.0, Position.OPEN_GUARD, _A),
    Stretch(18.0, 20.6, Position.SCRAMBLE),
    Stretch(20.6, 25.2, Position.SIDE_CONTROL, _A),
    Stretch(25.2, 26.4, Position.SCRAMBLE),
    Stretch(26.4, 35.4, Position.KNEE_ON_BELLY, _A),
    Stretch(35.4, 36.6, Position.SCRAMBLE),
    Stretch(36.6, 40.6, Position.HALF_GUARD, _A),
    Stretch(40.6, 41.8, Position.SCRAMBLE),
    Stretch(41.8, 46.4, Position.MOUNT, _A),
    Stretch(46.4, 49.0, Position.SCRAMBLE),
    Stretch(49.0, 58.2, Position.BACK_CONTROL, _A),
    Stretch(58.2, 60.8, Position.SCRAMBLE),
    Stretch(60.8, 64.6, Position.OPEN_GUARD, _B),
    Stretch(64.6, 67.2, Position.SCRAMBLE),
    Stretch(67.2, 69.6, Position.SIDE_CONTROL, _B),
)
"""What is true in every instant; the stretches tile the footage."""

HOLDS: Final = (
    TrueHold(0.0, 6.0, Position.STANDING),
    TrueHold(8.4, 13.0, Position.CLOSED_GUARD, _A),
    TrueHold(14.0, 18.0, Position.OPEN_GUARD, _A),
    TrueHold(20.6, 25.2, Position.SIDE_CONTROL, _A),
    TrueHold(26.4, 30.4, Position.KNEE_ON_BELLY, _A, {"other_knee_down": True, "shin": "hip_side"}),
    TrueHold(
        30.4, 35.4, Position.KNEE_ON_BELLY, _A, {"other_knee_down": False, "shin": "hip_side"}
    ),
    TrueHold(36.6, 40.6, Position.HALF_GUARD, _A),
    TrueHold(
        41.8, 46.4, Position.MOUNT, _A, {"arms_trapped": 0, "facing": "head", "knees_down": 2}
    ),
    TrueHold(
        49.0, 53.2, Position.BACK_CONTROL, _A,
        {"hooks": 1, "feet_crossed": False, "arms_trapped": 0},
    ),
    TrueHold(
        53.2, 58.2, Position.BACK_CONTROL, _A,
        {"hooks": 2, "feet_crossed": False, "arms_trapped": 0},
    ),
    TrueHold(60.8, 64.6, Position.OPEN_GUARD, _B),
    TrueHold(67.2, 69.6, Position.SIDE_CONTROL, _B),
)  # fmt: skip
"""The stable positions, as a person would mark them."""

EVENTS: Final[tuple[tuple[float, str, Athlete | None], ...]] = (
    (0.0, "start", None),
    (6.2, "takedown_attempt", _A),
    (69.6, "end", None),
)

AWARDS: Final = (
    Award(
        11.4, _A, "takedown", 2, "4.1",
        "A starts with both feet on the ground, B lands on the back, A stays on top 3 s.",
    ),
    Award(
        23.6, _A, "guard_pass", 3, "4.2",
        "From B's open guard A gets past the legs and holds side control 3 s.",
    ),
    Award(
        33.4, _A, "knee_on_belly", 2, "4.3",
        "The shin nearest the hip across the belly, the other knee off the mat, 3 s.",
    ),
    Award(
        44.8, _A, "guard_pass", 3, "4.2, 3.4",
        "From B's half-guard A frees the leg straight into mount: pass and mount in one chain, "
        "one count (common practice; the clause itself names side control and north-south).",
    ),
    Award(
        44.8, _A, "mount", 4, "4.4.1",
        "Free of half-guard, astride and facing the head, both knees down, 3 s.",
    ),
    Award(
        56.2, _A, "back_control", 4, "4.5",
        "Behind B with both heels inside the thighs, feet not crossed, 3 s.",
    ),
)  # fmt: skip
"""The six true awards."""

NOTHINGS: Final = (
    Nothing(
        26.4, 30.4, _A, "knee_on_belly", "other_knee_down", "4.3",
        "The other knee is on the mat.",
    ),
    Nothing(
        36.6, 40.6, _A, "mount", "leg_trapped", "4.4.1",
        "One of A's legs is trapped between B's: half-guard, not mount.",
    ),
    Nothing(
        49.0, 53.2, _A, "back_control", "hooks", "4.5",
        "Only one heel is inside B's thighs.",
    ),
    Nothing(
        67.2, 69.6, _B, "guard_pass", "held for 3 seconds", "3.1",
        "B is past A's legs, but time runs out before the three seconds: an advantage.",
    ),
)  # fmt: skip

ATHLETES: Final = {
    _A: {"name": "Ilmar Oksanen", "gi": "white", "belt": "purple"},
    _B: {"name": "Tadeu Varela", "gi": "blue", "belt": "purple"},
}
EVENT_NAME: Final = "Harbour Hall Open"
DIVISION: Final = {"age": "adult", "belt": "purple"}

NOTES: Final = (
    "Opening the guard scores nothing; side control reached from it is the pass (4.2).",
    "Half-guard after side control takes nothing back: the pass was released at 23.6 s (3.2).",
    "B regains half-guard, so getting free of it into mount is a pass again (3.2, 3.4).",
    "B escapes from back control, not from a guard, so coming out on top is no sweep (4.6).",
    "B gets past A's open guard at the very end, too late for the three seconds (3.1, 4.2).",
)


Event = tuple[float, str, Athlete | None]
"""Seconds, name and athlete of something that happens at an instant."""


@dataclass(frozen=True, slots=True)
class Story:
    """Everything that is true of a rendered match. Frames run from 0 to ``duration_s``."""

    states: tuple[Stretch, ...]
    holds: tuple[TrueHold, ...]
    events: tuple[Event, ...]
    awards: tuple[Award, ...]
    nothings: tuple[Nothing, ...]
    athletes: Mapping[Athlete, Mapping[str, str]]
    event_name: str
    division: Mapping[str, str]
    duration_s: float
    frames_per_s: int
    notes: tuple[str, ...] = ()

    @property
    def n_frames(self) -> int:
        """Number of frames."""
        return round(self.duration_s * self.frames_per_s)

    def truth(self) -> dict[str, object]:
        """The same as plain data, in the form of ``sample_video/truth.json``."""
        return {
            "version": 1,
            "about": "Rendered and invented: no real person, event or match.",
            "event_name": self.event_name,
            "rules": "sport-jiu-jitsu",
            "division": self.division,
            "duration_s": self.duration_s,
            "frames_per_s": self.frames_per_s,
            "n_frames": self.n_frames,
            "athletes": {str(athlete): about for athlete, about in self.athletes.items()},
            "states": [_plain(state.start_s, state.end_s, state) for state in self.states],
            "holds": [
                _plain(hold.start_s, hold.end_s, hold)
                | ({"checks": dict(hold.checks)} if hold.checks else {})
                for hold in self.holds
            ],
            "events": [
                {"time_s": time_s, "event": name} | ({} if who is None else {"athlete": str(who)})
                for time_s, name, who in self.events
            ],
            "awards": [_fields(award) for award in self.awards],
            "nothings": [_fields(nothing) for nothing in self.nothings],
            "notes": list(self.notes),
        }


def truth() -> dict[str, object]:
    """Everything that is true of the sample match, as plain data."""
    return Story(
        STATES, HOLDS, EVENTS, AWARDS, NOTHINGS, ATHLETES, EVENT_NAME, DIVISION,
        DURATION_S, FRAMES_PER_S, NOTES,
    ).truth()  # fmt: skip


def _plain(start_s: float, end_s: float, state: Stretch | TrueHold) -> dict[str, object]:
    upper = {} if state.upper is None else {"upper": str(state.upper)}
    return {"start_s": start_s, "end_s": end_s, "position": str(state.position)} | upper


def _fields(item: Award | Nothing) -> dict[str, object]:
    return {
        name: str(value) if isinstance(value, Athlete) else value
        for name in item.__dataclass_fields__
        for value in (getattr(item, name),)
    }
