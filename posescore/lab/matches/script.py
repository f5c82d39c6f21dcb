"""Writing down a match: holds, ways between them, cameras and the referee, one after the other.

Every hold adds a key pose at its start and end, a stretch of truth, and what the published rules
make of it; ways between holds add key poses and are scramble.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from posescore.lab.bodies.body import Build
from posescore.lab.bodies.key_pose import PairKey
from posescore.lab.matches.choreography import Cue
from posescore.lab.matches.story import Award, Event, Nothing, Story, Stretch, TrueHold
from posescore.lab.poses.match_keys import mirrored, varied
from posescore.lab.stage.hall import Look
from posescore.lab.stage.referee import Route
from posescore.lab.stage.renderer import Colour
from posescore.terms import Athlete, Position

FRAMES_PER_S: Final = 15
"""Of the match to test with; those to learn from are filmed at :data:`FEWER_FRAMES_PER_S`."""
FEWER_FRAMES_PER_S: Final = 10
PICTURE_SIZE_PX: Final = (960, 540)
COUNT_S: Final = 3.0
"""How long a position is held before it counts (3.1)."""
CENTRE_M: Final = (0.7, 0.0)
"""About where the pair is on the mat."""


@dataclass(frozen=True, slots=True)
class Earned:
    """What a hold earns once it was held three seconds: kind, points and clause."""

    kind: str
    points: int
    clause: str


@dataclass(frozen=True, slots=True)
class Failed:
    """What a hold looks like and is not, the criterion that fails, and the clause."""

    would_be: str
    criterion: str
    clause: str


@dataclass(frozen=True, slots=True)
class Shot:
    """A camera from an instant on.

    Parameters
    ----------
    start_s
        The footage cuts to it there.
    azimuth_deg
        Where it stands around the pair: 0 looks along +y, 90 along -x.
    away_m, height_m
        Distance on the mat from the pair, and height.
    pans
        Instant and angle in degrees of quick swings to the side and back.
    """

    start_s: float
    azimuth_deg: float
    away_m: float
    height_m: float
    pans: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Clothes:
    """One person's build and linear colours by part."""

    build: Build
    skin: Colour
    hair: Colour
    gi: Colour
    belt: Colour
    trousers: Colour | None = None

    def colours(self) -> dict[str, Colour]:
        """As the renderer wants them."""
        below = self.trousers or self.gi
        return {
            "skin": self.skin, "hair": self.hair, "belt": self.belt,
            "jacket": self.gi, "skirt": self.gi, "trousers": below,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole match, ready to be performed and filmed."""

    name: str
    seed: int
    story: Story
    cues: tuple[Cue, ...]
    people: tuple[Clothes, Clothes, Clothes]
    shots: tuple[Shot, ...]
    route: Route
    look: Look


@dataclass(slots=True)
class Script:
    """Grows a match from its first instant.

    Parameters
    ----------
    seed
        Of the small differences between two performances of one key pose.
    mirror
        Perform everything in its mirror image.
    frames_per_s
        Of the footage.
    """

    seed: int
    mirror: bool = False
    frames_per_s: int = FEWER_FRAMES_PER_S
    now_s: float = 0.0
    cues: list[Cue] = field(default_factory=list)
    states: list[Stretch] = field(default_factory=list)
    holds: list[TrueHold] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    awards: list[Award] = field(default_factory=list)
    nothings: list[Nothing] = field(default_factory=list)
    yaw_deg: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)
    _random: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        self._random = np.random.default_rng(self.seed)
        self.events.append((0.0, "start", None))

    def place(self, yaw_deg: float, shift: tuple[float, float]) -> None:
        """Key poses from here on are turned and moved on the mat."""
        self.yaw_deg, self.shift = yaw_deg, shift

    def way(self, upper: Athlete, *steps: tuple[float, PairKey]) -> None:
        """Bodies on the way: seconds after the step before, and key pose."""
        start_s = self.now_s
        for after_s, key in steps:
            self.now_s = round(self.now_s + after_s, 3)
            self._cue(varied(key, self._random, 0.015), upper)
        self._state(start_s, self.now_s, Position.SCRAMBLE, None)

    def hold(
        self,
        position: Position,
        key: PairKey,
        held_s: float,
        upper: Athlete | None = None,
        *,
        after_s: float = 0.6,
        earns: tuple[Earned, ...] = (),
        fails: Failed | None = None,
        checks: Mapping[str, bool | int | str] | None = None,
    ) -> None:
        """A position reached ``after_s`` after the last key pose and held ``held_s``."""
        if self.cues:
            self._state(self.now_s, round(self.now_s + after_s, 3), Position.SCRAMBLE, None)
            self.now_s = round(self.now_s + after_s, 3)
        start_s, key = self.now_s, varied(key, self._random)
        end_s = round(start_s + held_s, 3)
        for at_s in (start_s, end_s):
            self.now_s = at_s
            self._cue(key, upper or Athlete.A)
        self._state(start_s, end_s, position, upper)
        self.holds.append(TrueHold(start_s, end_s, position, upper, checks or {}))
        if earns or fails:
            assert upper is not None
            self._rule(start_s, end_s, upper, earns, fails)

    def join(self) -> None:
        """The last two holds are one position throughout; the criterion changed in between."""
        first, second = self.holds[-2:]
        self.holds[-2] = replace(first, end_s=second.start_s)
        while self.states[-1].start_s > first.start_s:
            self.states.pop()
        self.states[-1] = replace(self.states[-1], end_s=second.end_s)
        self.nothings = [
            replace(each, end_s=second.start_s) if each.end_s == first.end_s else each
            for each in self.nothings
        ]

    def event(self, name: str, athlete: Athlete, after_s: float = 0.2) -> None:
        """Something that happens soon."""
        self.events.append((round(self.now_s + after_s, 3), name, athlete))

    def story(self, athletes: Mapping[Athlete, Mapping[str, str]], event_name: str) -> Story:
        """All that is true, when the script has ended."""
        end_s = self.now_s
        self.cues.append(replace(self.cues[-1], time_s=end_s + 2.0))
        return Story(
            tuple(self.states), tuple(self.holds), (*self.events, (end_s, "end", None)),
            tuple(self.awards), tuple(self.nothings), athletes, event_name,
            {"age": "adult", "belt": "blue"}, end_s, self.frames_per_s,
        )  # fmt: skip

    def _rule(
        self,
        start_s: float,
        end_s: float,
        upper: Athlete,
        earns: tuple[Earned, ...],
        fails: Failed | None,
    ) -> None:
        for earned in earns:
            why = f"{upper} reached it and held it 3 s."
            at_s = round(start_s + COUNT_S, 3)
            self.awards.append(Award(at_s, upper, earned.kind, earned.points, earned.clause, why))
        if fails is not None:
            why = f"The criterion {fails.criterion} is not met."
            nothing = (fails.would_be, fails.criterion, fails.clause, why)
            self.nothings.append(Nothing(start_s, end_s, upper, *nothing))

    def _cue(self, key: PairKey, upper: Athlete) -> None:
        sign = -1.0 if self.mirror else 1.0
        shown = mirrored(key) if self.mirror else key
        shift = (self.shift[0], sign * self.shift[1])
        self.cues.append(Cue(self.now_s, shown, upper, sign * self.yaw_deg, shift))

    def _state(
        self, start_s: float, end_s: float, position: Position, upper: Athlete | None
    ) -> None:
        last = self.states[-1] if self.states else None
        if last is not None and (last.position, last.upper) == (position, upper):
            self.states[-1] = replace(last, end_s=end_s)
        elif end_s > start_s:
            self.states.append(Stretch(start_s, end_s, position, upper))


def walk(*stops: tuple[float, float, float]) -> Route:
    """The referee's way from stops: seconds, azimuth as a camera's in degrees, metres away.

    The way between two stops is straight, so a wide turn passes near the pair.
    """
    at = [(time_s, np.deg2rad(azimuth_deg), away_m) for time_s, azimuth_deg, away_m in stops]
    x, y = CENTRE_M
    return tuple(
        (time_s, (float(x + away * np.sin(turn)), float(y - away * np.cos(turn))))
        for time_s, turn, away in at
    )
