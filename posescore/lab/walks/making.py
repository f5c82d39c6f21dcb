"""A match in the making: frames, states and events added one after the other."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import mirrored
from posescore.holds.event import EventName, MatchEvent
from posescore.lab.poses.pose_variation import perturb
from posescore.lab.walks.graph import Graph, Keys
from posescore.lab.walks.motion import FPS, Frames, Rng, bridge, fits, onto, through
from posescore.lab.walks.truth import ASKED, criteria_of
from posescore.lab.walks.way import Walked, Wish, grants, ways
from posescore.terms import STATES, Athlete, Position, State

SCRAMBLE: Final = STATES.index(State(Position.SCRAMBLE))
NEAR_M: Final = 0.12
"""How much farther than the nearest key pose another one may lie and still be taken."""
VARIED: Final = 0.6
"""At most how much of the spread of poses a key pose is bent: nobody holds one to the degree."""


@dataclass(frozen=True, slots=True)
class Move:
    """One move of a match: what it is called, whose it is, when."""

    start_s: float
    end_s: float
    kind: str
    athlete: Athlete | None


@dataclass(slots=True, eq=False)
class Way:
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
    again: int | None = None
    """Frame at which a hold began that goes on after a change within its position."""

    @property
    def n(self) -> int:
        """Frames so far."""
        return sum(len(part) for part in self.states)

    @property
    def now_s(self) -> float:
        """Seconds so far."""
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
        pose = self._varied(laid[best], goal, wish)
        return pose, int(keys.place[row]), lies, int(keys.entry[row])

    def _varied(self, pose: Frames, goal: State, wish: Wish) -> Frames:
        """A key pose bent a little, where that leaves the wish and the position's name true."""
        bent = perturb(pose[None], self.rng, VARIED)
        answers = criteria_of(bent[:, ::-1] if goal.upper is Athlete.B else bent, goal.position)
        if wish and not grants(answers, wish)[0]:
            return pose
        leg = answers.get("leg_trapped")
        if leg is not None and leg[0] != (goal.position is Position.HALF_GUARD):
            return pose
        return bent[0]

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
                if self.ends_as_wished(way, goal, wish):
                    self.follow(way, passing)
                    self.state = goal
                    return
        pose, self.node, self.turned, entry = self.choose(goal, wish)
        self.entries.add(entry)
        self.blend(pose, passing)
        self.state = goal

    def ends_as_wished(self, way: Walked, goal: State, wish: Wish) -> bool:
        """Whether the last pose of a way has the answers wished for."""
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
        self.held.append((begun if self.again is None else self.again, self.n, self.state))
        self.again = None

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
