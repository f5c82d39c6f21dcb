"""What follows what in the sport, how holds are wished for, and ways through the graph."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.lab.walks.graph import Graph, Leg, state_in
from posescore.terms import STATES, Athlete, Position, State

P = Position
Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that may follow: how it is called, where it leads, whose it is, how often."""

    kind: str
    to: Position
    same: bool
    weight: float
    by_choice: bool = False
    """The upper athlete gives a position up that stands higher."""


def _guard(*more: Step) -> tuple[Step, ...]:
    return (
        Step("pass", P.SIDE_CONTROL, True, 4.0),
        Step("pass", P.NORTH_SOUTH, True, 0.7),
        Step("pass", P.KNEE_ON_BELLY, True, 0.9),
        Step("sweep", P.MOUNT, False, 1.0),
        Step("sweep", P.SIDE_CONTROL, False, 0.9),
        Step("sweep", P.OPEN_GUARD, False, 0.9),
        Step("sweep", P.HALF_GUARD, False, 0.7),
        Step("sweep", P.CLOSED_GUARD, False, 0.5),
        Step("back_take", P.BACK_CONTROL, False, 0.6),
        Step("stand_up", P.STANDING, True, 0.5),
        *more,
    )


FOLLOWS: Final[Mapping[Position, tuple[Step, ...]]] = {
    P.CLOSED_GUARD: _guard(
        Step("guard_change", P.OPEN_GUARD, True, 3.0), Step("guard_change", P.HALF_GUARD, True, 1.0)
    ),
    P.OPEN_GUARD: _guard(
        Step("guard_change", P.HALF_GUARD, True, 2.0),
        Step("guard_change", P.CLOSED_GUARD, True, 1.0),
        Step("turn_away", P.TURTLE, True, 0.4),
    ),
    P.HALF_GUARD: _guard(
        Step("pass", P.MOUNT, True, 2.0),
        Step("guard_change", P.OPEN_GUARD, True, 1.0),
        Step("guard_change", P.CLOSED_GUARD, True, 0.8),
    ),
    P.SIDE_CONTROL: (
        Step("step_over", P.KNEE_ON_BELLY, True, 2.8),
        Step("step_over", P.MOUNT, True, 2.2),
        Step("go_round", P.NORTH_SOUTH, True, 1.2),
        Step("change_side", P.SIDE_CONTROL, True, 0.4),
        Step("re_guard", P.HALF_GUARD, True, 1.0),
        Step("re_guard", P.OPEN_GUARD, True, 1.0),
        Step("re_guard", P.CLOSED_GUARD, True, 0.4),
        Step("turn_away", P.TURTLE, True, 1.0),
        Step("back_take", P.BACK_CONTROL, True, 0.7),
        Step("reversal", P.SIDE_CONTROL, False, 0.3),
        Step("reversal", P.OPEN_GUARD, False, 0.4),
        Step("stand_up", P.STANDING, True, 0.3),
    ),
    P.NORTH_SOUTH: (
        Step("go_round", P.SIDE_CONTROL, True, 3.0),
        Step("step_over", P.KNEE_ON_BELLY, True, 0.6),
        Step("step_over", P.MOUNT, True, 0.5),
        Step("turn_away", P.TURTLE, True, 0.5),
        Step("re_guard", P.OPEN_GUARD, True, 0.6),
    ),
    P.KNEE_ON_BELLY: (
        Step("step_over", P.MOUNT, True, 2.2),
        Step("step_down", P.SIDE_CONTROL, True, 1.6, by_choice=True),
        Step("re_guard", P.HALF_GUARD, True, 0.8),
        Step("re_guard", P.OPEN_GUARD, True, 0.8),
        Step("go_round", P.NORTH_SOUTH, True, 0.4),
        Step("turn_away", P.TURTLE, True, 0.4),
        Step("stand_up", P.STANDING, True, 0.2),
    ),
    P.MOUNT: (
        Step("turn_away", P.BACK_MOUNT, True, 1.0),
        Step("back_take", P.BACK_CONTROL, True, 1.2),
        Step("re_guard", P.HALF_GUARD, True, 1.5),
        Step("step_down", P.SIDE_CONTROL, True, 0.6, by_choice=True),
        Step("reversal", P.CLOSED_GUARD, False, 1.0),
        Step("reversal", P.OPEN_GUARD, False, 0.4),
        Step("reversal", P.HALF_GUARD, False, 0.3),
    ),
    P.BACK_MOUNT: (
        Step("roll_over", P.BACK_CONTROL, True, 1.6),
        Step("turn_back", P.MOUNT, True, 1.2),
        Step("escape", P.TURTLE, True, 0.6),
        Step("re_guard", P.HALF_GUARD, True, 0.3),
    ),
    P.BACK_CONTROL: (
        Step("roll_over", P.BACK_MOUNT, True, 0.9),
        Step("turn_back", P.MOUNT, True, 1.0),
        Step("escape", P.TURTLE, True, 0.5),
        Step("re_guard", P.HALF_GUARD, True, 0.4),
        Step("escape", P.CLOSED_GUARD, False, 0.9),
        Step("escape", P.HALF_GUARD, False, 0.4),
        Step("escape", P.SIDE_CONTROL, False, 0.5),
        Step("escape", P.OPEN_GUARD, False, 0.4),
    ),
    P.TURTLE: (
        Step("back_take", P.BACK_CONTROL, True, 1.6),
        Step("turn_over", P.SIDE_CONTROL, True, 1.2),
        Step("flatten", P.BACK_MOUNT, True, 0.8),
        Step("re_guard", P.OPEN_GUARD, True, 0.9),
        Step("re_guard", P.HALF_GUARD, True, 0.5),
        Step("reversal", P.OPEN_GUARD, False, 0.3),
        Step("stand_up", P.STANDING, True, 0.7),
    ),
}
"""What follows with the same athlete on top or behind, or the other one (common practice)."""

LANDINGS: Final[Mapping[Position, float]] = {
    P.SIDE_CONTROL: 3.0, P.HALF_GUARD: 2.0, P.OPEN_GUARD: 2.5, P.CLOSED_GUARD: 1.2,
    P.TURTLE: 1.2, P.MOUNT: 0.6, P.KNEE_ON_BELLY: 0.5, P.NORTH_SOUTH: 0.2,
}  # fmt: skip
PULLS: Final[Mapping[Position, float]] = {P.OPEN_GUARD: 3.0, P.CLOSED_GUARD: 2.0, P.HALF_GUARD: 1.0}

Wish = Mapping[str, tuple[int, ...]]
WISHES: Final[Mapping[Position, tuple[tuple[float, Wish], ...]]] = {
    P.KNEE_ON_BELLY: (
        (0.57, {"other_knee_down": (0,), "hip_side": (1,)}),
        (0.25, {"other_knee_down": (1,), "hip_side": (1,)}),
        (0.18, {"hip_side": (0,)}),
    ),
    P.MOUNT: (
        (0.64, {"facing_head": (1,), "arm_trapped": (0, 0)}),
        (0.08, {"facing_head": (1,), "arm_trapped": (-1, 0)}),
        (0.08, {"facing_head": (1,), "arm_trapped": (0, 1)}),
        (0.14, {"facing_head": (1,), "arm_trapped": (1, 1)}),
        (0.05, {"facing_head": (0,)}),
        (0.03, {"facing_head": (1,), "arm_trapped": (0, 0), "knee_down": (0, 0)}),
    ),
    P.BACK_MOUNT: (
        (0.80, {"facing_head": (1,), "arm_trapped": (0, 0)}),
        (0.08, {"facing_head": (1,), "arm_trapped": (-1, 0)}),
        (0.12, {"facing_head": (1,), "arm_trapped": (1, 1)}),
    ),
    P.BACK_CONTROL: (
        (0.54, {"hook": (1, 1), "feet_crossed": (0,)}),
        (0.26, {"hook": (1, 0), "feet_crossed": (0,)}),
        (0.20, {"hook": (1, 1), "feet_crossed": (1,)}),
    ),
    P.TURTLE: (
        (0.60, {"knee_of_opponent_down": (1,), "behind_shoulder_line": (1,)}),
        (0.20, {"knee_of_opponent_down": (1,), "behind_shoulder_line": (0,)}),
        (0.20, {"knee_of_opponent_down": (0,), "behind_shoulder_line": (1,)}),
    ),
}
"""How often holds are drawn that fulfil the criteria, and that miss one on purpose."""


def wish_for(position: Position, rng: Rng) -> Wish:
    """What is wished of the next hold of a position."""
    choices = WISHES.get(position)
    if choices is None:
        return {}
    weight = np.array([w for w, _ in choices])
    return choices[int(rng.choice(len(choices), p=weight / weight.sum()))][1]


def grants(criteria: Mapping[str, NDArray[np.int8]], wish: Wish) -> NDArray[np.bool_]:
    """Which poses have every answer clear and as wished (of two sides in any order).

    Of a mount one knee on the mat and one free arm are enough to be clear (4.4.1).
    """
    if not criteria:
        return np.ones(0, np.bool_)
    answers = {k: v if v.ndim == 2 else v[:, None] for k, v in criteria.items()}
    clear = [
        (v == 1).any(1) if name == "knee_down" and name not in wish else (v >= 0).all(1)
        for name, v in answers.items()
        if name != "arm_trapped" or -1 not in wish.get(name, (-1,))
    ]
    good = np.all(clear, axis=0)
    for name, wanted in wish.items():
        if name in answers:
            good &= (np.sort(answers[name], 1) == np.sort(wanted)).all(1)
    return np.asarray(good)


@dataclass(frozen=True, slots=True, eq=False)
class Walked:
    """A way along moves: legs, how each is turned (mirrored, exchanged), and where it ends."""

    legs: tuple[tuple[Leg, bool, bool], ...]
    node: int
    turned: tuple[bool, bool]


def ways(
    graph: Graph, node: int, turned: tuple[bool, bool], goal: State, rng: Rng,
    longest: int = 3, tries: int = 250,
) -> list[Walked]:  # fmt: skip
    """Up to four ways from a node to a state, past no other named position."""
    wanted = STATES.index(goal)
    here = state_in(int(graph.named[node]), turned[1])
    open_ways = [Walked((), node, turned)]
    found: list[Walked] = []
    while open_ways and tries > 0 and len(found) < 4:
        way = open_ways.pop(int(rng.integers(len(open_ways))))
        for leg in graph.legs.get(way.node, ()):
            tries -= 1
            mirror = way.turned[0] ^ leg.first_turned[0]
            swap = way.turned[1] ^ leg.first_turned[1]
            if state_in(leg.state, swap) not in (-1, here, wanted):
                continue
            ends = (leg.last_turned[0] ^ mirror, leg.last_turned[1] ^ swap)
            longer = Walked((*way.legs, (leg, mirror, swap)), leg.last, ends)
            reached = state_in(int(graph.named[leg.last]), ends[1])
            if reached == wanted:
                found.append(longer)
            elif reached in (-1, here) and len(longer.legs) < longest:
                open_ways.append(longer)
    return found


def drawn(choices: Mapping[Position, float], rng: Rng) -> Position:
    """A position drawn by weight."""
    weight = np.array(list(choices.values()))
    return list(choices)[int(rng.choice(len(weight), p=weight / weight.sum()))]


def next_step(position: Position, rng: Rng) -> Step:
    """What follows a position."""
    steps = FOLLOWS[position]
    weight = np.array([step.weight for step in steps])
    return steps[int(rng.choice(len(steps), p=weight / weight.sum()))]


def some_athlete(rng: Rng) -> Athlete:
    """Either athlete."""
    return Athlete.A if rng.random() < 0.5 else Athlete.B
