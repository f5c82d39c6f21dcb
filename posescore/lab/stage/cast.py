"""Who is in the sample match: builds, clothes and colours."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from posescore.lab.bodies.body import Build, Skeleton, make_skeleton
from posescore.lab.bodies.flesh import Flesh, make_flesh
from posescore.lab.stage.renderer import Colour, Person
from posescore.lab.stage.wardrobe import dress

BUILDS: Final = (
    Build(height=0.44, muscle=0.60, weight=0.50),
    Build(height=0.43, muscle=0.55, weight=0.58),
    Build(height=0.42, muscle=0.50, weight=0.52, age=0.75),
)
"""Athletes A and B and the referee: about 1.77 m each, A leaner, B heavier."""

_WHITE: Final = (0.80, 0.79, 0.75)
_BLUE: Final = (0.035, 0.085, 0.30)
_CHARCOAL: Final = (0.045, 0.047, 0.052)

COLOURS: Final[tuple[dict[str, Colour], ...]] = (
    {
        "skin": (0.50, 0.30, 0.21), "hair": (0.060, 0.036, 0.020), "belt": (0.14, 0.04, 0.22),
        "jacket": _WHITE, "skirt": _WHITE, "trousers": _WHITE,
    },
    {
        "skin": (0.34, 0.18, 0.115), "hair": (0.012, 0.010, 0.010), "belt": (0.14, 0.04, 0.22),
        "jacket": _BLUE, "skirt": _BLUE, "trousers": _BLUE,
    },
    {
        "skin": (0.44, 0.26, 0.18), "hair": (0.12, 0.11, 0.10),
        "jacket": (0.24, 0.25, 0.26), "trousers": _CHARCOAL,
    },
)  # fmt: skip
"""Linear colours by part: A in white and B in blue, both with purple belts."""


@dataclass(frozen=True, slots=True, eq=False)
class Player:
    """One person, ready to be posed and drawn."""

    skeleton: Skeleton
    flesh: Flesh
    person: Person


def make_player(slot: int) -> Player:
    """Athlete A (0), athlete B (1) or the referee (2) of the sample match."""
    return dressed_player(BUILDS[slot], COLOURS[slot], jacket=slot < 2, seed=10 * slot + 1)


def dressed_player(build: Build, colours: dict[str, Colour], *, jacket: bool, seed: int) -> Player:
    """Somebody of a build in clothes of given linear colours; the seed creases the cloth."""
    flesh, skeleton = make_flesh(build), make_skeleton(build)
    heads = flesh.rig.heads
    person = Person(
        dress(flesh, jacket, seed=seed),
        colours,
        heads[flesh.rig.index("eye.L")],
        skeleton.keypoints[0].numpy(),
        float(heads[flesh.rig.index("neck01")][2]),
        wears_gi=jacket,
    )
    return Player(skeleton, flesh, person)
