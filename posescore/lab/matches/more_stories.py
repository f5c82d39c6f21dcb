"""Four more matches: half guards and mounts, knees and hooks, in other orders."""

from __future__ import annotations

from typing import Final

from posescore.lab.bodies.body import Build
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
    Checks,
    begin_standing,
    pass_guard,
    planned,
    shoot,
    take_back,
)
from posescore.lab.matches.script import Clothes, Failed, Plan, Script, Shot, walk
from posescore.lab.poses import ground_poses as ground
from posescore.lab.poses import match_keys as more
from posescore.lab.poses import opening_poses as opening
from posescore.lab.stage.hall import Look
from posescore.terms import Athlete, Position

_A, _B = Athlete.A, Athlete.B
_ALL_FOURS: Final[Checks] = {"knee_of_opponent_down": True, "behind_shoulder_line": True}
_CROSSED: Final[Checks] = {"hooks": 2, "feet_crossed": True, "arms_trapped": 0}
_LEG: Final = Failed("mount", "leg_trapped", "4.4.1")
_OTHER_KNEE: Final = Failed("knee_on_belly", "other_knee_down", "4.3")


def _knee_comes_up(script: Script, who: Athlete, down_s: float, up_s: float) -> None:
    """Knee-on-belly with the other knee on the mat, which then comes off it."""
    script.hold(
        Position.KNEE_ON_BELLY, ground.KNEE_ON_BELLY_LOW, down_s, who, checks=KNEE_DOWN,
        fails=_OTHER_KNEE,
    )  # fmt: skip
    script.hold(
        Position.KNEE_ON_BELLY, ground.KNEE_ON_BELLY, up_s, who, earns=(KNEE,), checks=KNEE_UP
    )
    script.join()


def _fifth(script: Script) -> None:
    begin_standing(script, held_s=1.4)
    shoot(script, _A)
    script.way(_A, (0.6, opening.FALL))
    script.hold(Position.HALF_GUARD, ground.HALF_GUARD, 3.6, _A, earns=(TAKEDOWN,))
    script.way(_A, (0.5, ground.SLIDE), (0.6, opening.PASS_DROP), (0.5, opening.PASS_ARM))
    script.hold(Position.SIDE_CONTROL, opening.SIDE_CONTROL, 3.6, _A, earns=(PASS,))
    script.way(_A, (0.6, ground.RISE))
    _knee_comes_up(script, _A, 3.4, 3.8)
    script.way(_A, (0.4, ground.STEP_OVER))
    script.hold(Position.MOUNT, more.LOW_MOUNT, 3.6, _A, earns=(MOUNT,), checks=ASTRIDE)
    take_back(script, _A)
    script.hold(
        Position.BACK_CONTROL, ground.BACK_ONE_HOOK, 3.4, _A, after_s=0.75, checks=ONE_HOOK,
        fails=Failed("back_control", "hooks", "4.5"),
    )  # fmt: skip
    script.way(_A, (0.4, ground.HOOK_IN))
    script.hold(
        Position.BACK_CONTROL, ground.BACK_BOTH_HOOKS, 3.8, _A, after_s=0.4, earns=(BACK,),
        checks=HOOKS,
    )  # fmt: skip
    script.join()


def fifth() -> Plan:
    """A takedown into half guard; pass, a knee that comes up, mount, one hook and then two."""
    script = Script(seed=65)
    _fifth(script)
    shots = (Shot(0.0, 25, 2.9, 2.0, ((8.0, -9),)), Shot(22.0, -40, 3.0, 1.6, ((31.0, 9),)))
    route = walk(
        (0.0, 170, 2.6), (12.0, 170, 2.6), (15.0, 100, 2.6), (24.0, 100, 2.6), (28.0, 150, 2.6),
        (60.0, 150, 2.6),
    )  # fmt: skip
    people = (
        Clothes(Build(gender=0.9, height=0.5, muscle=0.55, weight=0.5), DARK, BLACK_HAIR, WHITE,
                BELT),
        Clothes(Build(gender=0.9, height=0.44, muscle=0.5, weight=0.55), TAN, BROWN_HAIR, ROYAL,
                BELT),
        REFEREE,
    )  # fmt: skip
    look = Look((0.20, 0.28, 0.22), (0.40, 0.22, 0.10), (1.0, 1.0, 0.95), (0.4, 0.3, 1.0), True)
    athletes = {
        _A: {"name": "Ilse Varga", "gi": "white", "belt": "blue"},
        _B: {"name": "Noor Castell", "gi": "blue", "belt": "blue"},
    }
    story = script.story(athletes, "Harbour Wall Cup")
    return planned("fifth", script, story, people, shots, route, look)


def _sixth(script: Script) -> None:
    begin_standing(script, held_s=1.4)
    script.event("guard_pull", _B)
    script.way(_A, (0.8, more.SIT_DOWN))
    script.hold(Position.CLOSED_GUARD, opening.CLOSED_GUARD, 3.2, _A, after_s=0.8)
    script.way(_A, (0.8, more.HIP_BUMP))
    script.place(180.0, (1.05, 0.1))
    script.way(_B, (0.7, more.ROLL_OVER))
    script.hold(Position.MOUNT, ground.MOUNT, 3.8, _B, earns=(SWEEP, MOUNT), checks=ASTRIDE)
    script.way(_B, (0.6, ground.FREE_LEG))
    script.hold(Position.HALF_GUARD, ground.HALF_GUARD, 3.6, _B, fails=_LEG)
    script.way(_B, (0.5, ground.SLIDE), (0.6, opening.PASS_DROP))
    script.hold(Position.SIDE_CONTROL, more.SIDE_SPRAWL, 3.4, _B, earns=(PASS,))
    script.way(_B, (0.9, more.AROUND_HEAD))
    script.hold(Position.NORTH_SOUTH, more.NORTH_SOUTH, 3.2, _B, after_s=0.8)
    script.way(_B, (0.8, more.AROUND_HEAD), (0.8, ground.RISE))
    script.hold(
        Position.KNEE_ON_BELLY, ground.KNEE_ON_BELLY, 3.8, _B, earns=(KNEE,), checks=KNEE_UP
    )
    script.way(_B, (0.9, more.TURN_AWAY))
    script.hold(Position.TURTLE, more.TURTLE, 3.2, _B, after_s=0.8, checks=_ALL_FOURS)


def sixth() -> Plan:
    """B pulls guard and sweeps into mount; half guard, pass, north-south, knee-on-belly, turtle."""
    script = Script(seed=66, mirror=True)
    _sixth(script)
    shots = (Shot(0.0, -30, 2.9, 1.4, ((7.0, 9),)), Shot(19.0, 20, 2.8, 2.1, ((33.0, -9),)))
    route = walk(
        (0.0, -160, 2.6), (9.0, -160, 2.6), (12.0, -100, 2.6), (16.0, -100, 2.6),
        (21.0, -150, 2.6), (60.0, -150, 2.6),
    )  # fmt: skip
    people = (
        Clothes(Build(height=0.38, muscle=0.5, weight=0.45), TAN, FAIR_HAIR, GREY, BELT),
        Clothes(Build(height=0.52, muscle=0.6, weight=0.6), PALE, BROWN_HAIR, BLACK, BELT),
        REFEREE,
    )
    look = Look((0.14, 0.20, 0.34), (0.30, 0.30, 0.33), (0.95, 1.0, 1.0), (-0.4, -0.5, 1.0), True)
    athletes = {
        _A: {"name": "Oskar Lind", "gi": "grey", "belt": "blue"},
        _B: {"name": "Teun Adeyemi", "gi": "black", "belt": "blue"},
    }
    story = script.story(athletes, "Orchard Street Open")
    return planned("sixth", script, story, people, shots, route, look)


def _seventh(script: Script) -> None:
    begin_standing(script, held_s=1.4)
    shoot(script, _A)
    script.way(_A, (0.6, more.FALL_ASIDE), (0.5, opening.PASS_ARM))
    script.hold(Position.SIDE_CONTROL, more.SIDE_SPRAWL, 3.6, _A, earns=(TAKEDOWN,))
    script.way(_A, (0.6, ground.RISE))
    script.hold(
        Position.KNEE_ON_BELLY, ground.KNEE_ON_BELLY, 3.6, _A, earns=(KNEE,), checks=KNEE_UP
    )
    script.way(_A, (0.4, ground.STEP_OVER), (0.4, ground.SLIDE))
    script.hold(Position.HALF_GUARD, ground.HALF_GUARD, 3.6, _A, after_s=0.5, fails=_LEG)
    script.way(_A, (0.6, ground.FREE_LEG))
    # Too short for points: the leg is caught again before three seconds are over.
    script.hold(Position.MOUNT, ground.MOUNT, 2.0, _A, checks=ASTRIDE)
    script.way(_A, (0.6, ground.FREE_LEG))
    script.hold(Position.HALF_GUARD, ground.HALF_GUARD, 3.4, _A, fails=_LEG)
    script.way(_A, (0.6, ground.FREE_LEG))
    script.hold(Position.MOUNT, more.LOW_MOUNT, 3.8, _A, earns=(PASS, MOUNT), checks=ASTRIDE)
    script.way(_A, (0.9, more.TURN_AWAY))
    script.hold(Position.TURTLE, more.TURTLE, 3.0, _A, after_s=0.8, checks=_ALL_FOURS)
    script.way(_A, (0.9, ground.TAKE_BACK))
    script.hold(
        Position.BACK_CONTROL, more.BACK_CROSSED, 3.6, _A, after_s=0.8, checks=_CROSSED,
        fails=Failed("back_control", "feet_crossed", "4.5"),
    )  # fmt: skip


def seventh() -> Plan:
    """Past the legs at once, knee-on-belly; half guard and mount twice, turtle, crossed feet."""
    script = Script(seed=67)
    _seventh(script)
    shots = (Shot(0.0, 10, 2.8, 1.5, ((6.5, 10),)), Shot(17.0, 65, 3.0, 2.0, ((30.0, -9),)))
    route = walk(
        (0.0, -170, 2.6), (8.0, -170, 2.6), (11.0, -95, 2.6), (15.0, -95, 2.6), (20.0, -40, 2.6),
        (60.0, -40, 2.6),
    )  # fmt: skip
    people = (
        Clothes(Build(height=0.46, muscle=0.65, weight=0.6), PALE, FAIR_HAIR, GREEN, BELT),
        Clothes(Build(height=0.44, muscle=0.55, weight=0.5), DARK, BLACK_HAIR, WHITE, BELT),
        REFEREE,
    )
    look = Look((0.40, 0.34, 0.26), (0.12, 0.16, 0.36), (1.0, 0.95, 0.85), (0.1, 0.7, 1.0), True)
    athletes = {
        _A: {"name": "Bram Okafor", "gi": "green", "belt": "blue"},
        _B: {"name": "Lucio Herne", "gi": "white", "belt": "blue"},
    }
    story = script.story(athletes, "Copper Hall Meeting")
    return planned("seventh", script, story, people, shots, route, look)


def _eighth(script: Script) -> None:
    begin_standing(script, held_s=1.4)
    shoot(script, _B)
    script.way(_B, (0.6, opening.FALL))
    script.hold(Position.OPEN_GUARD, opening.OPEN_GUARD, 3.6, _B, earns=(TAKEDOWN,))
    pass_guard(script, _B)
    script.hold(Position.SIDE_CONTROL, opening.SIDE_CONTROL, 3.4, _B, earns=(PASS,))
    script.way(_B, (0.6, ground.RISE))
    _knee_comes_up(script, _B, 3.4, 3.6)
    script.way(_B, (0.4, ground.STEP_OVER))
    script.hold(Position.MOUNT, ground.MOUNT, 3.6, _B, earns=(MOUNT,), checks=ASTRIDE)
    script.way(_B, (0.6, ground.FREE_LEG))
    script.hold(Position.HALF_GUARD, ground.HALF_GUARD, 3.6, _B, fails=_LEG)
    script.way(_B, (0.8, more.TURN_AWAY))
    script.hold(Position.TURTLE, more.TURTLE, 2.6, _B, checks=_ALL_FOURS)
    script.way(_B, (0.9, ground.TAKE_BACK))
    script.hold(
        Position.BACK_CONTROL, ground.BACK_BOTH_HOOKS, 3.8, _B, after_s=0.8, earns=(BACK,),
        checks=HOOKS,
    )  # fmt: skip


def eighth() -> Plan:
    """B takes A down, passes, a knee comes up, mount, half guard, turtle and the back."""
    script = Script(seed=68, mirror=True)
    _eighth(script)
    shots = (Shot(0.0, 50, 2.8, 1.8, ((9.0, -9),)), Shot(20.5, -15, 2.9, 1.3, ((34.0, 9),)))
    route = walk(
        (0.0, -120, 2.6), (11.0, -120, 2.6), (14.0, -60, 2.6), (17.0, -60, 2.6),
        (24.0, -110, 2.6), (60.0, -110, 2.6),
    )  # fmt: skip
    people = (
        Clothes(Build(gender=0.2, height=0.48, muscle=0.5, weight=0.5), TAN, BLACK_HAIR, NAVY,
                BELT),
        Clothes(Build(height=0.42, muscle=0.5, weight=0.45), PALE, BROWN_HAIR, GREY, BELT),
        REFEREE,
    )  # fmt: skip
    look = Look((0.26, 0.14, 0.12), (0.16, 0.30, 0.26), (1.0, 1.0, 1.0), (-0.3, 0.6, 1.0), True)
    athletes = {
        _A: {"name": "Selma Roth", "gi": "blue", "belt": "blue"},
        _B: {"name": "Yannick Sole", "gi": "grey", "belt": "blue"},
    }
    story = script.story(athletes, "Windmill Trophy")
    return planned("eighth", script, story, people, shots, route, look)
