"""Matches walked through the graph: a start on the feet, a route, holds and near misses, an end."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.pose_set import JOINT, mirrored
from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Hold
from posescore.lab.walks import openings
from posescore.lab.walks.checks import checked_holds, is_settled
from posescore.lab.walks.graph import Graph
from posescore.lab.walks.making import SCRAMBLE, Move, Way
from posescore.lab.walks.motion import FPS, Build, Frames, Rng, onto, smoothed, unrest, with_builds
from posescore.lab.walks.truth import criteria_of_match
from posescore.lab.walks.way import (
    LANDINGS,
    PULLS,
    Step,
    Walked,
    Wish,
    drawn,
    next_step,
    some_athlete,
    ways,
    wish_for,
)
from posescore.terms import STATES, Athlete, Position, State

UNCLEAR: Final = -1
STANDING: Final = State(Position.STANDING)
BAND_S: Final = 0.25
"""On either side of a hold, nobody can say to the frame when it begins and ends."""
SHORT_SHARE: Final = 0.16
SHORT_S, LONG_S = (1.4, 2.4), (3.4, 8.0)
MOST_DRAWS: Final = 40
SEAT_DOWN_M, STILL_UP_M, CAME_ALONG_M = 0.35, 0.60, 0.48
"""Heights of hips: a seat on the mat, one who stays up, one who has come down too."""
STOPS: Final = 0.03
"""How often a hold on the ground ends by leaving the mat."""
_NO_NODE: Final = (-1, (False, False))


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


def _seconds(rng: Rng) -> float:
    return float(rng.uniform(*(SHORT_S if rng.random() < SHORT_SHARE else LONG_S)))


def _land(way: Way) -> None:
    """From the feet to the ground: a takedown, a pull, or a fall of both."""
    begun, actor = way.n, some_athlete(way.rng)
    what = str(way.rng.choice(["takedown", "pull", "fall"], p=[0.6, 0.32, 0.08]))
    way.add(np.repeat(way.pose[None], 4, 0), UNCLEAR)
    if what == "takedown":
        way.mark(EventName.TAKEDOWN_ATTEMPT, actor)
    elif what == "pull":
        way.mark(EventName.GUARD_PULL, actor)
    upper = actor.other if what == "pull" else actor
    choices = LANDINGS if what == "takedown" else PULLS
    known = _any_known_way(way, what, upper) if way.rng.random() < 0.5 else None
    if known is not None:
        name = "set"
        way.follow(known[0], SCRAMBLE)
        way.state = known[1]
    else:
        name = _authored(way, actor, what)
        goal = State(drawn(choices, way.rng), upper)
        if name == "sacrifice" and goal.position in PULLS:
            goal = State(Position.SIDE_CONTROL, actor)
        way.reach(goal, wish_for(goal.position, way.rng))
    way.moved(f"{what}:{name}", actor, begun)


def _any_known_way(way: Way, what: str, upper: Athlete) -> tuple[Walked, State] | None:
    """A way of the set from the feet to where a takedown or a pull may end, in random order."""
    order = list(LANDINGS if what == "takedown" else PULLS)
    for k in way.rng.permutation(len(order)):
        goal = State(order[k], upper)
        known = _known_way(way, goal, what, wish_for(goal.position, way.rng))
        if known is not None:
            return known, goal
    return None


def _known_way(way: Way, goal: State, what: str, wish: Wish) -> Walked | None:
    """A way along the set's moves in which it can be seen who acted.

    Into a guard the set does not say whether it was pulled: it was where the upper athlete's hips
    are still high as the other's seat comes down, and a takedown where they are low by then.
    """
    if way.node < 0 or what == "fall":
        return None
    for known in ways(way.graph, way.node, way.turned, goal, way.rng):
        pulled = _pulled(known, goal.upper or Athlete.A) if goal.position in PULLS else False
        if pulled is (what == "pull") and way.ends_as_wished(known, goal, wish):
            return known
    return None


def _pulled(way: Walked, upper: Athlete) -> bool | None:
    hips = [JOINT["left_hip"], JOINT["right_hip"]]
    for leg, _, swap in way.legs:
        frames = leg.frames_m[:, ::-1] if swap else leg.frames_m
        height = frames[:, :, hips, 2].mean(2)
        down = np.flatnonzero(height[:, upper.other.slot] < SEAT_DOWN_M)
        if len(down):
            above = float(height[down[0], upper.slot])
            return True if above > STILL_UP_M else False if above < CAME_ALONG_M else None
    return None


def _authored(way: Way, actor: Athlete, what: str) -> str:
    """An authored chain of coming down; its name."""
    chains = {
        "takedown": openings.TAKEDOWNS, "pull": openings.GUARD_PULLS,
        "fall": {"side_by_side": openings.side_by_side},
    }[what]  # fmt: skip
    name = str(way.rng.choice(list(chains)))
    _along(way, chains[name](way.rng), actor)
    way.node, way.turned = _NO_NODE
    return name


def _along(way: Way, chain: Frames, actor: Athlete) -> None:
    if way.rng.random() < 0.5:
        chain = mirrored(chain)
    for pose in onto(chain[:, ::-1] if actor is Athlete.B else chain, way.pose):
        way.blend(pose, SCRAMBLE, 0.75)


def _next(way: Way) -> None:
    """What follows a position on the ground."""
    begun, upper = way.n, way.state.upper
    step: Step = next_step(way.state.position, way.rng)
    if step.by_choice:
        way.mark(EventName.POSITION_GIVEN_UP, upper)
    same = upper is not None and step.same
    who = None
    if step.to.has_upper and upper is not None:
        who = upper if same else upper.other
    goal = State(step.to, who)
    stays = goal == way.state
    way.reach(goal, wish_for(step.to, way.rng), STATES.index(goal) if stays else SCRAMBLE)
    if stays:  # the other side of the same position, control kept: one hold
        way.again = way.held.pop()[0]
    way.moved(step.kind, who or upper, begun)


def _leave_mat(way: Way) -> None:
    """The match is stopped, both get up, and start again."""
    begun = way.n
    way.mark(EventName.OUT_OF_AREA)
    way.mark(EventName.STOP)
    way.reach(STANDING, {})
    way.moved("leave_mat", None, begun)
    way.mark(EventName.START)


def _mend(way: Way) -> None:
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


def _walked(graph: Graph, rng: Rng, length_s: tuple[float, float]) -> Way:
    keys = graph.keys[Position.STANDING]
    row = int(rng.integers(len(keys)))
    pose = keys.joints_m[row]
    way = Way(graph, rng, pose, STANDING, int(keys.place[row]), tuple(keys.turned[row]))
    way.entries.add(int(keys.entry[row]))
    way.mark(EventName.START)
    way.hold(float(rng.uniform(2.0, 7.0)))
    until_s = float(rng.uniform(*length_s))
    while way.now_s < until_s:
        if way.state == STANDING:
            _land(way)
        elif rng.random() < STOPS:
            _leave_mat(way)
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


def _banded(way: Way) -> NDArray[np.int64]:
    """States with a band of -1 on the scramble's side of every hold."""
    state = np.concatenate(way.states)
    band = int(BAND_S * FPS)
    for begun, ended, _ in way.held:
        before, after = slice(max(0, begun - band), begun), slice(ended, ended + band)
        for part in (before, after):
            state[part] = np.where(state[part] == SCRAMBLE, UNCLEAR, state[part])
    return state


def walk(graph: Graph, rng: Rng, length_s: tuple[float, float] = (60.0, 180.0)) -> WalkedMatch:
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
