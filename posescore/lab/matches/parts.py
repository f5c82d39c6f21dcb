"""What the invented matches share: awards, checks, colours, and moves that lead into positions."""

from __future__ import annotations

from typing import Final

from posescore.lab.bodies.body import Build
from posescore.lab.matches.script import Clothes, Earned, Plan, Script, Shot
from posescore.lab.matches.story import Story, Stretch, TrueHold
from posescore.lab.poses import ground_poses as ground
from posescore.lab.poses import opening_poses as opening
from posescore.lab.stage.hall import Look
from posescore.lab.stage.referee import Route
from posescore.terms import Athlete, Position

Checks = dict[str, bool | int | str]

TAKEDOWN: Final = Earned("takedown", 2, "4.1")
PASS: Final = Earned("guard_pass", 3, "4.2")
KNEE: Final = Earned("knee_on_belly", 2, "4.3")
MOUNT: Final = Earned("mount", 4, "4.4.1")
BACK: Final = Earned("back_control", 4, "4.5")
SWEEP: Final = Earned("sweep", 2, "4.6")
KNEE_UP: Final[Checks] = {"other_knee_down": False, "shin": "hip_side"}
KNEE_DOWN: Final[Checks] = {"other_knee_down": True, "shin": "hip_side"}
ASTRIDE: Final[Checks] = {"arms_trapped": 0, "facing": "head", "knees_down": 2}
HOOKS: Final[Checks] = {"hooks": 2, "feet_crossed": False, "arms_trapped": 0}
ONE_HOOK: Final[Checks] = {"hooks": 1, "feet_crossed": False, "arms_trapped": 0}

PALE: Final = (0.56, 0.36, 0.28)
TAN: Final = (0.40, 0.23, 0.15)
DARK: Final = (0.17, 0.085, 0.055)
BLACK_HAIR: Final = (0.012, 0.010, 0.010)
FAIR_HAIR: Final = (0.24, 0.16, 0.07)
BROWN_HAIR: Final = (0.07, 0.04, 0.02)
BELT: Final = (0.03, 0.06, 0.26)
WHITE: Final = (0.78, 0.78, 0.76)
ROYAL: Final = (0.03, 0.10, 0.42)
NAVY: Final = (0.02, 0.035, 0.10)
BLACK: Final = (0.022, 0.022, 0.024)
GREEN: Final = (0.04, 0.12, 0.06)
GREY: Final = (0.25, 0.25, 0.26)
SHIRT: Final = (0.50, 0.48, 0.44)
CHARCOAL: Final = (0.045, 0.047, 0.052)

REFEREE: Final = Clothes(
    Build(height=0.48, muscle=0.5, weight=0.5, age=0.7), TAN, BLACK_HAIR, SHIRT, BELT, CHARCOAL
)


def begin_standing(script: Script, apart_s: float = 0.5, held_s: float = 2.2) -> None:
    """Both walk up to each other and take grips."""
    script.hold(Position.STANDING, opening.APART, apart_s)
    script.hold(Position.STANDING, opening.GRIPS, held_s, after_s=1.1)
    # Walking up to each other is standing too.
    script.states[:] = [Stretch(0.0, script.now_s, Position.STANDING)]
    script.holds[:] = [TrueHold(0.0, script.now_s, Position.STANDING)]


def shoot(script: Script, who: Athlete) -> None:
    """A takedown's attempt, up to the drive."""
    script.event("takedown_attempt", who)
    script.way(who, (0.5, opening.REACH), (0.4, opening.LEVEL), (0.6, opening.DRIVE))


def pass_guard(script: Script, who: Athlete) -> None:
    """Around the legs, from open guard to the side."""
    script.way(who, (0.9, opening.PASS_STEP), (0.7, opening.PASS_DROP), (0.5, opening.PASS_ARM))


def take_back(script: Script, who: Athlete) -> None:
    """From mount behind the opponent, who turns away."""
    script.way(who, (0.55, ground.POST), (0.55, ground.TURN), (0.75, ground.TAKE_BACK))


def planned(
    name: str,
    script: Script,
    story: Story,
    people: tuple[Clothes, Clothes, Clothes],
    shots: tuple[Shot, ...],
    route: Route,
    look: Look,
) -> Plan:
    """A plan of a finished script."""
    return Plan(name, script.seed, story, tuple(script.cues), people, shots, route, look)
