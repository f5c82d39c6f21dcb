"""Matches walked through the graph: a start on the feet, a route, holds and near misses, an end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.events import EventName, MatchEvent
from posescore.holds.hold import Hold
from posescore.lab.walks import openings
from posescore.lab.walks.checks import checked_holds, is_settled
from posescore.lab.walks.graph import Graph, Keys
from posescore.lab.walks.motion import (
    FPS,
    Build,
    Frames,
    Rng,
    bridge,
    fits,
    onto,
    smoothed,
    through,
    unrest,
    with_builds,
)
from posescore.lab.walks.truth import ASKED, criteria_of, criteria_of_match
from posescore.lab.walks.way import (
    LANDINGS,
    PULLS,
    Step,
    Walked,
    Wish,
    drawn,
    grants,
    next_step,
    some_athlete,
    ways,
    wish_for,
)
from posescore.simulation.pose_set import mirrored
from posescore.terms import STATES, Athlete, Position, State

UNCLEAR: Final = -1
SCRAMBLE: Final = STATES.index(State(Position.SCRAMBLE))
STANDING: Final = State(Position.STANDING)
BAND_S: Final = 0.25
"""On either side of a hold, nobody can say to the frame when it begins and ends."""
SHORT_SHARE: Final = 0.16
SHORT_S, LONG_S = (1.4, 2.4), (3.4, 8.0)
NEAR_M: Final = 0.12
"""How much farther than the nearest key pose another one may lie and still be taken."""
MOST_DRAWS: Final = 40
_NO_NODE: Final = (-1, (False, False))


@dataclass(frozen=True, slots=True)
class Move:
    """One move of a match: what it is called, whose it is, when."""

    start_s: float
    end_s: float
    kind: str
    athlete: Athlete | None


@dataclass(frozen=True, slots=True, eq=False)
class WalkedMatch:
    """A whole match in 3D with its truth.

    Parameters
    ----------
    joints_m
        ``(n, 2, 23, 3)`` float32, metres, z up, :data:`FPS` frames a second; slot 0 is A.
    state
        ``(n,)`` int64: index into :data:`posescore.terms.STATES`, -1 where it is unclear.
    criteria
        By question, int8 ``(n,)`` or ``(n, 2)`` of a sided one: 1 yes, 0 no, -1 unclear or not
        asked. Seen from the upper athlete.
    events, holds
        What the engine is given; checks are read off the geometry, unclear ones left out.
    moves
        What happened between holds.
    entries
        Entries of the open set that were used, negative ones authored.
    """

    joints_m: NDArray[np.float32]
    state: NDArray[np.int64]
    criteria: Mapping[str, NDArray[np.int8]]
    events: tuple[MatchEvent, ...]
    holds: tuple[Hold, ...]
    moves: tuple[Move, ...]
    entries: frozenset[int]

    @property
    def time_s(self) -> NDArray[np.float64]:
        """``(n,)`` seconds of every frame."""
        return np.arange(len(self.state)) / FPS


@dataclass(slots=True, eq=False)
class _Way:
    """A match in the making."""

    graph: Graph
    rng: Rng
    pose: Frames
    state: State
    node: int = -1
    turned: tuple[bool, bool] = (False, False)
    frames: list[Frames] = field(default_factory=list)
    states: list[NDArray[np.int64]] = field(default_factory=list)
    held: list[tuple[int, int, State]] = field(default_factory=list)
    moves: list[Move] = field(default_factory=list)
    events: list[MatchEvent] = field(default_factory=list)
    entries: set[int] = field(default_factory=set)

    @property
    def n(self) -> int:
        return sum(len(part) for part in self.states)

    @property
    def now_s(self) -> float:
        return self.n / FPS

    def add(self, frames: Frames, state: int) -> None:
        """Append frames that are in one state."""
        self.frames.append(frames)
        self.states.append(np.full(len(frames), state, np.int64))
        self.pose = frames[-1]

    def mark(self, event: EventName, athlete: Athlete | None = None) -> None:
        """An event now."""
        self.events.append(MatchEvent(round(self.now_s, 3), event, athlete))

    # Poses -------------------------------------------------------------------------------

    def choose(self, goal: State, wish: Wish) -> tuple[Frames, int, tuple[bool, bool], int]:
        """A key pose of a state near the pose now: frame, node, how it lies to it, entry."""
        keys = self.graph.keys[goal.position]
        rows = _granted(keys, wish)
        joints = keys.joints_m[rows]
        swap = goal.upper is Athlete.B
        if goal.upper is None:
            swap = bool(self.rng.random() < 0.5)
        distance, laid = fits(joints[:, ::-1] if swap else joints, self.pose)
        cost = distance + NEAR_M * self.rng.exponential(1.0, len(distance))
        best = int(np.argmin(cost))
        mirror, row = best >= len(rows), rows[best % len(rows)]
        lies = (bool(keys.turned[row, 0]) ^ mirror, bool(keys.turned[row, 1]) ^ swap)
        return laid[best], int(keys.place[row]), lies, int(keys.entry[row])

    def blend(self, pose: Frames, state: int, quick: float = 1.0) -> None:
        """Move to a pose, as long as the way there is far."""
        far = float(np.linalg.norm(pose - self.pose, axis=-1).mean())
        seconds = np.clip((0.45 + 2.0 * far) * self.rng.uniform(0.75, 1.35) * quick, 0.4, 3.0)
        self.add(bridge(self.pose, pose, max(6, int(seconds * FPS))), state)

    def follow(self, way: Walked, state: int) -> None:
        """Walk along moves of the set."""
        for leg, mirror, swap in way.legs:
            frames = mirrored(leg.frames_m) if mirror else leg.frames_m
            frames = onto(frames[:, ::-1] if swap else frames, self.pose)
            far = np.linalg.norm(np.diff(frames, axis=0), axis=-1).mean((1, 2)).sum()
            seconds = max(0.35, float(far) / self.rng.uniform(0.45, 1.0))
            self.add(through(frames, max(6, int(seconds * FPS))), state)
            self.entries.add(leg.entry)
        self.node, self.turned = way.node, way.turned

    # What happens ------------------------------------------------------------------------

    def reach(self, goal: State, wish: Wish, passing: int = SCRAMBLE) -> None:
        """Get to a state: along the set's moves where a way is known, else by a blend."""
        if self.node >= 0 and self.rng.random() < 0.8:
            for way in ways(self.graph, self.node, self.turned, goal, self.rng):
                if self._ends_as_wished(way, goal, wish):
                    self.follow(way, passing)
                    self.state = goal
                    return
        pose, self.node, self.turned, entry = self.choose(goal, wish)
        self.entries.add(entry)
        self.blend(pose, passing)
        self.state = goal

    def _ends_as_wished(self, way: Walked, goal: State, wish: Wish) -> bool:
        if goal.upper is None or not any(goal.position in p for p in ASKED.values()):
            return True
        leg, mirror, swap = way.legs[-1]
        pose = mirrored(leg.frames_m[-1:]) if mirror else leg.frames_m[-1:]
        if swap ^ (goal.upper is Athlete.B):
            pose = pose[:, ::-1]
        return bool(grants(criteria_of(pose, goal.position), wish)[0])

    def hold(self, seconds: float) -> None:
        """Stay in the state for a while; in a long hold the pose shifts once or more."""
        begun, index = self.n, STATES.index(self.state)
        until = begun + int(seconds * FPS)
        wish = self._as_now()
        while self.n < until:
            still = min(until - self.n, int(self.rng.uniform(1.6, 4.5) * FPS))
            if until - self.n - still < 1.2 * FPS:
                still = until - self.n
            self.add(np.repeat(self.pose[None], still, 0), index)
            if self.n < until and wish is not None:
                self._shift(wish, index)
        self.held.append((begun, self.n, self.state))

    def _as_now(self) -> Wish | None:
        """The answers of the pose now as a wish, so that a shift keeps them; None if unclear."""
        if self.state.upper is None:
            return {}
        pair = self.pose[None] if self.state.upper is Athlete.A else self.pose[None, ::-1]
        answers = criteria_of(pair, self.state.position)
        now = {name: tuple(int(v) for v in np.ravel(a[0])) for name, a in answers.items()}
        now.pop("knee_down", None)
        return None if any(v < 0 for a in now.values() for v in a) else now

    def grants_now(self, wish: Wish) -> bool:
        """Whether the pose now is as wished."""
        pair = self.pose[None] if self.state.upper is Athlete.A else self.pose[None, ::-1]
        return bool(grants(criteria_of(pair, self.state.position), wish)[0])

    def _shift(self, wish: Wish, index: int) -> None:
        pose, node, turned, entry = self.choose(self.state, wish)
        if np.linalg.norm(pose - self.pose, axis=-1).mean() > 0.22:
            return
        self.node, self.turned = node, turned
        self.entries.add(entry)
        self.blend(pose, index, 1.3)

    def moved(self, kind: str, athlete: Athlete | None, begun: int) -> None:
        """Note a move that began at a frame and ends now."""
        self.moves.append(Move(begun / FPS, self.now_s, kind, athlete))


def _granted(keys: Keys, wish: Wish) -> NDArray[np.int64]:
    """Rows that grant a wish; any with clear answers, or any at all, where none does."""
    if not keys.criteria:
        return np.arange(len(keys))
    for wanted in (wish, {}):
        rows = np.flatnonzero(grants(keys.criteria, wanted))
        if len(rows):
            return rows
    return np.arange(len(keys))


def _seconds(rng: Rng) -> float:
    return float(rng.uniform(*(SHORT_S if rng.random() < SHORT_SHARE else LONG_S)))


def _land(way: _Way) -> None:
    """From the feet to the ground: a takedown, a pull, or a fall of both."""
    begun, actor = way.n, some_athlete(way.rng)
    what = way.rng.choice(["takedown", "pull", "fall"], p=[0.6, 0.32, 0.08])
    way.add(np.repeat(way.pose[None], 4, 0), UNCLEAR)
    if what == "takedown":
        name = str(way.rng.choice(list(openings.TAKEDOWNS)))
        way.mark(EventName.TAKEDOWN_ATTEMPT, actor)
        chain, goal = openings.TAKEDOWNS[name](way.rng), State(drawn(LANDINGS, way.rng), actor)
        if name == "sacrifice" and goal.position in PULLS:
            goal = State(Position.SIDE_CONTROL, actor)
    elif what == "pull":
        name = str(way.rng.choice(list(openings.GUARD_PULLS)))
        way.mark(EventName.GUARD_PULL, actor)
        chain, goal = openings.GUARD_PULLS[name](way.rng), State(drawn(PULLS, way.rng), actor.other)
    else:
        name, chain = "fall", openings.side_by_side(way.rng)
        goal = State(drawn(PULLS, way.rng), actor)
    dominated = goal.position not in (Position.OPEN_GUARD, Position.HALF_GUARD, Position.CLOSED_GUARD, Position.TURTLE)  # fmt: skip
    if what == "takedown" and way.node >= 0 and dominated and way.rng.random() < 0.4:
        way.reach(goal, wish_for(goal.position, way.rng))
    else:
        _along(way, chain, actor)
        way.node, way.turned = _NO_NODE
        way.reach(goal, wish_for(goal.position, way.rng))
    way.moved(f"{what}:{name}" if what != "fall" else "fall", actor, begun)


def _along(way: _Way, chain: Frames, actor: Athlete) -> None:
    if way.rng.random() < 0.5:
        chain = mirrored(chain)
    for pose in onto(chain[:, ::-1] if actor is Athlete.B else chain, way.pose):
        way.blend(pose, SCRAMBLE, 0.75)


def _next(way: _Way) -> None:
    """What follows a position on the ground."""
    begun, upper = way.n, way.state.upper
    step: Step = next_step(way.state.position, way.rng)
    if step.by_choice:
        way.mark(EventName.POSITION_GIVEN_UP, upper)
    same = upper is not None and step.same
    who = None
    if step.to.has_upper and upper is not None:
        who = upper if same else upper.other
    way.reach(State(step.to, who), wish_for(step.to, way.rng))
    way.moved(step.kind, who or upper, begun)


def _mend(way: _Way) -> None:
    """Within one position a criterion that failed is met, or one that was met is lost."""
    begun = way.n
    wish = wish_for(way.state.position, way.rng)
    if not wish or way.grants_now(wish):
        return
    pose, way.node, way.turned, entry = way.choose(way.state, wish)
    way.entries.add(entry)
    way.blend(pose, STATES.index(way.state))
    way.held[-1] = (way.held[-1][0], (begun + way.n) // 2, way.state)
    way.moved("adjust", way.state.upper, begun)
    middle = way.held[-1][1]
    way.hold(_seconds(way.rng))
    way.held[-1] = (middle, way.n, way.state)


def _walked(graph: Graph, rng: Rng, length_s: tuple[float, float]) -> _Way:
    keys = graph.keys[Position.STANDING]
    row = int(rng.integers(len(keys)))
    pose = keys.joints_m[row]
    way = _Way(graph, rng, pose, STANDING, int(keys.place[row]), tuple(keys.turned[row]))
    way.entries.add(int(keys.entry[row]))
    way.mark(EventName.START)
    way.hold(float(rng.uniform(2.0, 7.0)))
    until_s = float(rng.uniform(*length_s))
    while way.now_s < until_s:
        if way.state == STANDING:
            _land(way)
        else:
            _next(way)
        stands = way.state == STANDING
        way.hold(float(rng.uniform(3.6, 7.0)) if stands else _seconds(rng))
        if not stands and rng.random() < 0.3:
            _mend(way)
    if rng.random() < 0.25 and way.state.upper is not None:
        way.mark(EventName.TAP, way.state.upper.other if rng.random() < 0.8 else way.state.upper)
    way.mark(EventName.END)
    return way


def _banded(way: _Way) -> NDArray[np.int64]:
    """States with a band of -1 on the scramble's side of every hold."""
    state = np.concatenate(way.states)
    band = int(BAND_S * FPS)
    for begun, ended, _ in way.held:
        before, after = slice(max(0, begun - band), begun), slice(ended, ended + band)
        for part in (before, after):
            state[part] = np.where(state[part] == SCRAMBLE, UNCLEAR, state[part])
    return state


def walk(
    graph: Graph, rng: Rng, length_s: tuple[float, float] = (60.0, 180.0)
) -> WalkedMatch:
    """One match; drawn again, after a calmer try, where an award hangs on what is unclear."""
    for _ in range(MOST_DRAWS):
        way = _walked(graph, rng, length_s)
        still = smoothed(np.concatenate(way.frames), 2.5)
        builds = (Build.drawn(rng), Build.drawn(rng))
        state, calm = _banded(way), np.ones(len(still), np.float32)
        for _ in range(2):
            joints = with_builds(unrest(rng, still, calm), builds)
            criteria = criteria_of_match(joints, state)
            holds, doubts = checked_holds(way.held, criteria)
            if is_settled(holds, doubts, way.events):
                return WalkedMatch(
                    joints, state, criteria, tuple(way.events), holds, tuple(way.moves),
                    frozenset(way.entries),
                )  # fmt: skip
            for index, _, _ in doubts:
                calm[way.held[index][0] : way.held[index][1]] = 0.35
    raise RuntimeError("no match with a settled truth in so many draws")
