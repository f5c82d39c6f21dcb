"""Rendered matches written by hand, to test with; none of them is the sample match.

Nothing is fitted on them any more; positions and criteria were, once, on all but ``held_back``.
Names of people and events are invented.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from posescore.lab.bodies.body import Build
from posescore.lab.matches.more_stories import eighth, fifth, seventh, sixth
from posescore.lab.matches.parts import (
    ASTRIDE,
    BACK,
    BELT,
    BLACK,
    BLACK_HAIR,
    BROWN_HAIR,
    DARK,
    FAIR_HAIR,
    GREEN,
    GREY,
    HOOKS,
    KNEE,
    KNEE_DOWN,
    KNEE_UP,
    MOUNT,
    NAVY,
    ONE_HOOK,
    PALE,
    PASS,
    REFEREE,
    ROYAL,
    SWEEP,
    TAKEDOWN,
    TAN,
    WHITE,
    begin_standing,
    pass_guard,
    planned,
    shoot,
    take_back,
)
from posescore.lab.matches.script import (
    FRAMES_PER_S,
    Clothes,
    Failed,
    Plan,
    Script,
    Shot,
    walk,
)
from posescore.lab.poses import ground_poses as ground
from posescore.lab.poses import match_keys as more
from posescore.lab.poses import opening_poses as opening
from posescore.lab.stage.hall import Look
from posescore.terms import Athlete, Position

_A, _B = Athlete.A, Athlete.B


def _held_back(script: Script) -> None:
    begin_standing(script)
    script.event("guard_pull", _B)
    script.way(_A, (0.8, more.SIT_DOWN))
    script.hold(Position.OPEN_GUARD, more.SEATED_GUARD, 3.8, _A, after_s=0.7)
    pass_guard(script, _A)
    script.hold(Position.SIDE_CONTROL, more.SIDE_SPRAWL, 4.4, _A, earns=(PASS,))
    script.way(_A, (0.6, ground.RISE))
    script.hold(
        Position.KNEE_ON_BELLY, ground.KNEE_ON_BELLY, 4.4, _A, earns=(KNEE,), checks=KNEE_UP
    )
    script.way(_A, (0.4, ground.STEP_OVER))
    script.hold(
        Position.MOUNT, more.LOW_MOUNT, 4.4, _A, after_s=0.7, earns=(MOUNT,), checks=ASTRIDE
    )
    script.way(_A, (0.6, ground.FREE_LEG))
    script.hold(
        Position.HALF_GUARD, ground.HALF_GUARD, 3.4, _A,
        fails=Failed("mount", "leg_trapped", "4.4.1"),
    )  # fmt: skip
    script.way(_A, (0.8, more.TURN_AWAY))
    script.hold(
        Position.TURTLE, more.TURTLE, 2.6, _A,
        checks={"knee_of_opponent_down": True, "behind_shoulder_line": True},
    )  # fmt: skip
    script.way(_A, (0.9, ground.TAKE_BACK))
    script.hold(
        Position.BACK_CONTROL, ground.BACK_BOTH_HOOKS, 4.4, _A, after_s=0.8,
        earns=(BACK,), checks=HOOKS,
    )  # fmt: skip


def held_back() -> Plan:
    """B pulls guard; A passes, puts the knee on the belly, mounts, and takes the back."""
    script = Script(seed=50, mirror=True, frames_per_s=FRAMES_PER_S)
    _held_back(script)
    shots = (
        Shot(0.0, 6, 2.7, 1.6, ((7.4, 10), (13.8, -11))),
        Shot(21.5, -58, 2.9, 2.1, ((28.0, 10),)),
    )
    route = walk(
        (0.0, 150, 2.6), (5.4, 150, 2.6), (7.0, 75, 2.5), (8.6, 75, 2.5), (12.2, -65, 2.5),
        (15.0, -65, 2.5), (17.5, -120, 2.5), (24.5, -120, 2.5), (25.6, -120, 2.6),
        (29.4, 10, 2.6), (31.5, 10, 2.6), (34.0, 75, 2.5), (60.0, 75, 2.5),
    )  # fmt: skip
    people = (
        Clothes(Build(height=0.50, muscle=0.52, weight=0.42), DARK, BLACK_HAIR, BLACK, BELT),
        Clothes(
            Build(gender=0.1, height=0.46, muscle=0.5, weight=0.46),
            PALE,
            FAIR_HAIR,
            WHITE,
            BELT,
        ),
        REFEREE,
    )
    look = Look(
        (0.34, 0.35, 0.38), (0.10, 0.16, 0.30), (0.85, 0.95, 1.1), (0.5, -0.3, 1.0), all_walls=True
    )
    athletes = {
        _A: {"name": "Wendel Aranha", "gi": "black", "belt": "blue"},
        _B: {"name": "Signe Holt", "gi": "white", "belt": "blue"},
    }
    story = script.story(athletes, "Lantern Cup")
    return planned("held_back", script, story, people, shots, route, look)


def _first(script: Script) -> None:
    begin_standing(script, held_s=1.6)
    shoot(script, _A)
    script.way(_A, (0.6, more.FALL_ASIDE), (0.5, opening.PASS_ARM))
    script.hold(Position.SIDE_CONTROL, opening.SIDE_CONTROL, 4.2, _A, earns=(TAKEDOWN,))
    script.way(_A, (0.9, more.AROUND_HEAD))
    script.hold(Position.NORTH_SOUTH, more.NORTH_SOUTH, 3.4, _A, after_s=0.8)
    script.way(_A, (0.8, more.AROUND_HEAD), (0.8, ground.RISE))
    script.hold(
        Position.KNEE_ON_BELLY, ground.KNEE_ON_BELLY_LOW, 4.0, _A, checks=KNEE_DOWN,
        fails=Failed("knee_on_belly", "other_knee_down", "4.3"),
    )  # fmt: skip
    script.way(_A, (0.4, ground.STEP_OVER))
    script.hold(Position.MOUNT, ground.MOUNT, 4.2, _A, after_s=0.7, earns=(MOUNT,), checks=ASTRIDE)
    take_back(script, _A)
    script.hold(
        Position.BACK_CONTROL, ground.BACK_ONE_HOOK, 3.6, _A, after_s=0.75,
        fails=Failed("back_control", "hooks", "4.5"), checks=ONE_HOOK,
    )  # fmt: skip
    script.way(_A, (0.4, ground.HOOK_IN))
    script.hold(
        Position.BACK_CONTROL, ground.BACK_BOTH_HOOKS, 4.2, _A, after_s=0.4,
        earns=(BACK,), checks=HOOKS,
    )  # fmt: skip
    script.join()


def first() -> Plan:
    """A takedown past the legs, north-south, knee-on-belly with a knee down, mount, back."""
    script = Script(seed=61)
    _first(script)
    shots = (Shot(0.0, -25, 2.8, 1.7, ((9.0, 9),)), Shot(24.0, 35, 2.6, 1.4, ((33.0, -9),)))
    route = walk(
        (0.0, -150, 2.6), (10.0, -150, 2.6), (13.0, -95, 2.5), (16.0, -95, 2.5), (19.6, 45, 2.5),
        (30.0, 45, 2.5), (32.0, 105, 2.5), (60.0, 105, 2.5),
    )  # fmt: skip
    people = (
        Clothes(Build(height=0.42, muscle=0.62, weight=0.6), TAN, BROWN_HAIR, ROYAL, BELT),
        Clothes(Build(height=0.46, muscle=0.5, weight=0.46), PALE, BLACK_HAIR, WHITE, BELT),
        REFEREE,
    )
    look = Look((0.12, 0.22, 0.42), (0.55, 0.50, 0.16), (1.0, 0.95, 0.9), (-0.2, 0.4, 1.0), True)
    athletes = {
        _A: {"name": "Caio Brandt", "gi": "blue", "belt": "blue"},
        _B: {"name": "Joren Pike", "gi": "white", "belt": "blue"},
    }
    story = script.story(athletes, "Quarry Open")
    return planned("first", script, story, people, shots, route, look)


def _second(script: Script) -> None:
    begin_standing(script, held_s=1.8)
    shoot(script, _B)
    script.way(_B, (0.6, opening.FALL))
    script.hold(Position.CLOSED_GUARD, opening.CLOSED_GUARD, 4.0, _B, earns=(TAKEDOWN,))
    script.way(_B, (0.8, more.HIP_BUMP))
    script.place(180.0, (1.05, 0.1))
    script.way(_A, (0.7, more.ROLL_OVER))
    script.hold(Position.MOUNT, ground.MOUNT, 4.4, _A, earns=(SWEEP, MOUNT), checks=ASTRIDE)
    script.way(_A, (0.6, ground.FREE_LEG))
    script.hold(Position.HALF_GUARD, ground.HALF_GUARD, 3.8, _A)
    script.way(_A, (0.5, ground.SLIDE), (0.6, opening.PASS_DROP), (0.5, opening.PASS_ARM))
    script.hold(Position.SIDE_CONTROL, opening.SIDE_CONTROL, 4.2, _A, earns=(PASS,))
    script.way(_A, (0.9, more.TURN_AWAY))
    script.hold(
        Position.TURTLE, more.TURTLE, 3.4, _A, after_s=0.8,
        checks={"knee_of_opponent_down": True, "behind_shoulder_line": True},
    )  # fmt: skip
    script.way(_A, (0.9, ground.TAKE_BACK))
    script.hold(
        Position.BACK_CONTROL, more.BACK_CROSSED, 3.8, _A, after_s=0.8,
        fails=Failed("back_control", "feet_crossed", "4.5"),
        checks={"hooks": 2, "feet_crossed": True, "arms_trapped": 0},
    )  # fmt: skip


def second() -> Plan:
    """B takes A down into closed guard; A sweeps into mount, loses it to half-guard, passes."""
    script = Script(seed=62, mirror=True)
    _second(script)
    shots = (Shot(0.0, 15, 2.9, 1.5, ((12.0, 9),)), Shot(18.5, -75, 3.0, 1.9, ((26.0, -10),)))
    route = walk(
        (0.0, 140, 2.6), (12.0, 140, 2.6), (14.5, 85, 2.5), (22.0, 85, 2.5), (23.0, 60, 2.6),
        (25.0, -10, 2.6), (27.0, -10, 2.6), (31.0, -145, 2.6), (60.0, -145, 2.6),
    )  # fmt: skip
    people = (
        Clothes(Build(height=0.47, muscle=0.5, weight=0.5), PALE, FAIR_HAIR, NAVY, BELT),
        Clothes(Build(height=0.45, muscle=0.65, weight=0.6), DARK, BLACK_HAIR, GREY, BELT),
        REFEREE,
    )
    look = Look((0.42, 0.10, 0.08), (0.20, 0.20, 0.22), (1.0, 1.0, 1.0), (0.3, -0.6, 1.0), True)
    athletes = {
        _A: {"name": "Tomas Ekberg", "gi": "blue", "belt": "blue"},
        _B: {"name": "Davi Moura", "gi": "grey", "belt": "blue"},
    }
    story = script.story(athletes, "Mill Street Trophy")
    return planned("second", script, story, people, shots, route, look)


def _third(script: Script) -> None:
    begin_standing(script, held_s=1.6)
    script.event("guard_pull", _B)
    script.way(_A, (0.8, more.SIT_DOWN))
    script.hold(Position.CLOSED_GUARD, opening.CLOSED_GUARD, 3.4, _A, after_s=0.8)
    script.way(_A, (0.5, opening.OPENING))
    script.hold(Position.OPEN_GUARD, opening.OPEN_GUARD, 3.0, _A, after_s=0.5)
    script.way(_A, (0.7, opening.PASS_STEP), (0.6, ground.SLIDE))
    script.hold(
        Position.HALF_GUARD, ground.HALF_GUARD, 3.4, _A, after_s=0.5,
    )  # fmt: skip
    script.way(_A, (0.6, ground.FREE_LEG), (0.6, opening.PASS_DROP))
    script.hold(Position.SIDE_CONTROL, more.SIDE_SPRAWL, 4.0, _A, earns=(PASS,))
    script.way(_A, (0.6, ground.RISE))
    script.hold(
        Position.KNEE_ON_BELLY, ground.KNEE_ON_BELLY, 4.4, _A, earns=(KNEE,), checks=KNEE_UP
    )
    script.way(_A, (0.4, ground.STEP_OVER))
    script.hold(
        Position.MOUNT, more.LOW_MOUNT, 4.2, _A, after_s=0.7, earns=(MOUNT,), checks=ASTRIDE
    )
    script.way(_A, (0.6, ground.FREE_LEG))
    script.hold(
        Position.HALF_GUARD, ground.HALF_GUARD, 3.6, _A,
        fails=Failed("mount", "leg_trapped", "4.4.1"),
    )  # fmt: skip


def third() -> Plan:
    """B pulls closed guard; half-guard, pass, knee-on-belly, mount and half-guard again."""
    script = Script(seed=63)
    _third(script)
    shots = (Shot(0.0, 40, 2.8, 1.6, ((10.0, -9),)), Shot(20.0, -20, 2.8, 1.2, ((30.0, 9),)))
    route = walk(
        (0.0, -140, 2.6), (14.0, -140, 2.6), (17.0, -80, 2.5), (24.0, -80, 2.5), (27.6, 55, 2.5),
        (60.0, 55, 2.5),
    )  # fmt: skip
    people = (
        Clothes(Build(gender=0.0, height=0.5, muscle=0.5, weight=0.5), TAN, BROWN_HAIR, WHITE,
                BELT),
        Clothes(Build(gender=0.0, height=0.48, muscle=0.45, weight=0.55), PALE, BLACK_HAIR,
                BLACK, BELT),
        REFEREE,
    )  # fmt: skip
    look = Look((0.15, 0.15, 0.16), (0.50, 0.12, 0.10), (1.0, 0.9, 0.8), (-0.5, -0.2, 1.0), True)
    athletes = {
        _A: {"name": "Mirela Costin", "gi": "white", "belt": "blue"},
        _B: {"name": "Ada Nkemelu", "gi": "black", "belt": "blue"},
    }
    story = script.story(athletes, "Ferry Lane Meeting")
    return planned("third", script, story, people, shots, route, look)


def _fourth(script: Script) -> None:
    begin_standing(script, held_s=1.6)
    shoot(script, _A)
    script.way(_A, (0.6, opening.FALL))
    script.hold(
        Position.HALF_GUARD, ground.HALF_GUARD, 4.2, _A, earns=(TAKEDOWN,),
    )  # fmt: skip
    script.way(_A, (0.6, ground.FREE_LEG))
    script.hold(Position.MOUNT, ground.MOUNT, 4.2, _A, earns=(PASS, MOUNT), checks=ASTRIDE)
    take_back(script, _A)
    script.hold(
        Position.BACK_CONTROL, ground.BACK_BOTH_HOOKS, 4.4, _A, after_s=0.75,
        earns=(BACK,), checks=HOOKS,
    )  # fmt: skip
    script.way(_B, (0.4, ground.UNHOOK), (0.5, ground.PEEL), (0.8, ground.SLIP))
    script.place(20.0, (0.35, -0.1))
    script.hold(Position.OPEN_GUARD, opening.OPEN_GUARD, 3.4, _B, after_s=1.0)
    pass_guard(script, _B)
    script.hold(Position.SIDE_CONTROL, opening.SIDE_CONTROL, 4.2, _B, earns=(PASS,))
    script.way(_B, (0.6, ground.RISE))
    script.hold(
        Position.KNEE_ON_BELLY, ground.KNEE_ON_BELLY_LOW, 3.8, _B, checks=KNEE_DOWN,
        fails=Failed("knee_on_belly", "other_knee_down", "4.3"),
    )  # fmt: skip


def fourth() -> Plan:
    """A takedown into half-guard, mount, back control; the escape, and B passes."""
    script = Script(seed=64, mirror=True)
    _fourth(script)
    shots = (Shot(0.0, -10, 2.7, 1.9, ((11.0, 10),)), Shot(16.5, 60, 2.9, 1.5, ((28.0, -9),)))
    route = walk(
        (0.0, 160, 2.6), (9.0, 160, 2.6), (11.0, 75, 2.5), (12.0, 75, 2.5), (15.6, -65, 2.5),
        (20.0, -65, 2.5), (23.0, -130, 2.5), (60.0, -130, 2.5),
    )  # fmt: skip
    people = (
        Clothes(Build(height=0.40, muscle=0.55, weight=0.5), PALE, BROWN_HAIR, GREEN, BELT),
        Clothes(Build(height=0.5, muscle=0.6, weight=0.55), TAN, BLACK_HAIR, WHITE, BELT),
        REFEREE,
    )
    look = Look((0.36, 0.30, 0.20), (0.10, 0.24, 0.20), (0.9, 1.0, 0.95), (0.2, -0.8, 1.0), True)
    athletes = {
        _A: {"name": "Piet Lanza", "gi": "green", "belt": "blue"},
        _B: {"name": "Rurik Sand", "gi": "white", "belt": "blue"},
    }
    story = script.story(athletes, "Saddle Hill Games")
    return planned("fourth", script, story, people, shots, route, look)


HELD_BACK: Final = "held_back"
MATCHES: Final[dict[str, Callable[[], Plan]]] = {
    HELD_BACK: held_back, "first": first, "second": second, "third": third, "fourth": fourth,
    "fifth": fifth, "sixth": sixth, "seventh": seventh, "eighth": eighth,
}  # fmt: skip
"""Every match by its name; all but the held-back one are for fitting."""
