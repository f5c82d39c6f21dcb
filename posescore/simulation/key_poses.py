"""The key poses of the sample match, written down for it by hand.

Every pose says roughly where the joints of both athletes are; :mod:`posescore.simulation.fitting`
turns that into bodies whose bones keep their lengths and that touch without sinking in.
Metres. The lower athlete of a ground position lies along x with the head at +x and faces up, so
that his left is at -y; the camera looks along +y.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

Vector = tuple[float, float, float]
Pair = tuple[Vector, Vector]
"""A left and a right joint."""


@dataclass(frozen=True, slots=True)
class BodyKey:
    """Rough pose of one athlete.

    ``root`` is the middle of the hips' joints, ``up`` points along the trunk, ``front`` out of
    the belly; chest and head take the pelvis's directions where they are not given.
    ``feet`` names how each foot is carried: flat on the mat, instep on the mat, or free.
    """

    root: Vector
    up: Vector
    front: Vector
    knees: Pair
    ankles: Pair
    elbows: Pair
    wrists: Pair
    chest_up: Vector | None = None
    chest_front: Vector | None = None
    look: Vector | None = None
    feet: tuple[str, str] = ("flat", "flat")


@dataclass(frozen=True, slots=True)
class PairKey:
    """One key pose of both athletes; ``ground`` lists the joints that rest on the mat."""

    upper: BodyKey
    lower: BodyKey
    knees_down: Mapping[str, tuple[bool, bool]] = field(default_factory=dict)

    def turned(self, yaw_deg: float, shift: tuple[float, float]) -> PairKey:
        """The same pose, turned about the vertical and moved over the mat."""
        return PairKey(
            _turned(self.upper, yaw_deg, shift),
            _turned(self.lower, yaw_deg, shift),
            self.knees_down,
        )


def _turned(key: BodyKey, yaw_deg: float, shift: tuple[float, float]) -> BodyKey:
    angle = np.deg2rad(yaw_deg)
    sine, cosine = float(np.sin(angle)), float(np.cos(angle))

    def way(v: Vector) -> Vector:
        return (cosine * v[0] - sine * v[1], sine * v[0] + cosine * v[1], v[2])

    def place(v: Vector) -> Vector:
        x, y, z = way(v)
        return (x + shift[0], y + shift[1], z)

    def both(pair: Pair) -> Pair:
        return (place(pair[0]), place(pair[1]))

    return replace(
        key,
        root=place(key.root),
        up=way(key.up),
        front=way(key.front),
        knees=both(key.knees),
        ankles=both(key.ankles),
        elbows=both(key.elbows),
        wrists=both(key.wrists),
        chest_up=None if key.chest_up is None else way(key.chest_up),
        chest_front=None if key.chest_front is None else way(key.chest_front),
        look=None if key.look is None else way(key.look),
    )


_UP: Final = (0.0, 0.0, 1.0)
_FREE: Final = ("free", "free")
_INSTEP: Final = ("instep", "instep")

APART: Final = PairKey(
    BodyKey(
        (-0.75, 0.0, 0.93), _UP, (1, 0, 0),
        ((-0.66, 0.14, 0.5), (-0.72, -0.15, 0.5)), ((-0.66, 0.18, 0.08), (-0.84, -0.2, 0.08)),
        ((-0.72, 0.34, 1.2), (-0.72, -0.34, 1.2)), ((-0.48, 0.27, 1.15), (-0.46, -0.25, 1.2)),
    ),
    BodyKey(
        (0.75, 0.0, 0.93), _UP, (-1, 0, 0),
        ((0.66, -0.14, 0.5), (0.72, 0.15, 0.5)), ((0.66, -0.18, 0.08), (0.84, 0.2, 0.08)),
        ((0.72, -0.34, 1.2), (0.72, 0.34, 1.2)), ((0.48, -0.27, 1.15), (0.46, 0.25, 1.2)),
    ),
)  # fmt: skip

GRIPS: Final = PairKey(
    BodyKey(
        (-0.48, 0.0, 0.88), (0.22, 0, 0.97), (0.97, 0, -0.22),
        ((-0.3, 0.14, 0.5), (-0.46, -0.15, 0.5)), ((-0.34, 0.2, 0.08), (-0.66, -0.22, 0.08)),
        ((-0.15, 0.3, 1.2), (-0.15, -0.32, 1.12)), ((0.14, 0.14, 1.32), (0.1, -0.26, 1.12)),
        look=(0.95, 0.1, -0.3),
    ),
    BodyKey(
        (0.48, 0.0, 0.88), (-0.22, 0, 0.97), (-0.97, 0, -0.22),
        ((0.3, -0.14, 0.5), (0.46, 0.15, 0.5)), ((0.34, -0.2, 0.08), (0.66, 0.22, 0.08)),
        ((0.15, -0.34, 1.15), (0.15, 0.34, 1.15)), ((-0.1, -0.14, 1.3), (-0.08, 0.28, 1.15)),
        look=(-0.95, 0.1, -0.3),
    ),
)  # fmt: skip

LEVEL: Final = PairKey(
    BodyKey(
        (-0.36, 0.06, 0.6), (0.72, 0, 0.68), (0.68, 0, -0.72),
        ((-0.08, 0.28, 0.42), (-0.2, -0.2, 0.32)), ((-0.2, 0.26, 0.08), (-0.62, -0.2, 0.1)),
        ((0.3, 0.4, 0.72), (0.3, -0.3, 0.72)), ((0.52, 0.24, 0.6), (0.52, -0.2, 0.6)),
        look=(0.9, 0.0, -0.1), chest_up=(0.82, 0.1, 0.55), chest_front=(0.55, 0, -0.82),
    ),
    BodyKey(
        (0.45, 0.0, 0.86), (-0.35, 0, 0.93), (-0.93, 0, -0.35),
        ((0.3, -0.16, 0.48), (0.36, 0.17, 0.48)), ((0.36, -0.22, 0.08), (0.55, 0.22, 0.08)),
        ((0.1, -0.32, 1.1), (0.1, 0.36, 1.1)), ((-0.1, -0.16, 0.95), (-0.08, 0.3, 0.98)),
        look=(-0.8, 0.0, -0.5),
    ),
)  # fmt: skip

DRIVE: Final = PairKey(
    BodyKey(
        (0.02, 0.05, 0.62), (0.65, 0, 0.75), (0.75, 0, -0.65),
        ((0.28, 0.24, 0.4), (0.1, -0.2, 0.3)), ((0.1, 0.26, 0.08), (-0.3, -0.2, 0.1)),
        ((0.42, 0.36, 0.66), (0.42, -0.34, 0.66)), ((0.6, 0.28, 0.5), (0.6, -0.26, 0.5)),
        look=(0.9, 0.2, -0.1),
    ),
    BodyKey(
        (0.66, 0.0, 0.68), (0.5, 0, 0.87), (-0.87, 0, 0.5),
        ((0.3, -0.27, 0.62), (0.3, 0.27, 0.64)), ((0.18, -0.26, 0.24), (0.12, 0.26, 0.26)),
        ((0.62, -0.34, 1.0), (0.62, 0.34, 1.0)), ((0.36, -0.24, 1.05), (0.36, 0.24, 1.05)),
        look=(-0.9, 0.0, 0.1),
    ),
)  # fmt: skip

FALL: Final = PairKey(
    BodyKey(
        (0.17, 0.0, 0.5), (0.75, 0, 0.65), (0.65, 0, -0.75),
        ((0.46, 0.3, 0.2), (0.4, -0.26, 0.1)), ((0.08, 0.3, 0.09), (0.0, -0.2, 0.09)),
        ((0.6, 0.36, 0.45), (0.6, -0.36, 0.45)), ((0.82, 0.3, 0.3), (0.82, -0.3, 0.3)),
        look=(0.9, 0.0, -0.3), feet=("flat", "instep"),
    ),
    BodyKey(
        (0.74, 0.0, 0.2), (0.87, 0, 0.5), (-0.5, 0, 0.87),
        ((0.4, -0.32, 0.5), (0.4, 0.32, 0.5)), ((0.04, -0.22, 0.52), (0.02, 0.22, 0.5)),
        ((0.95, -0.42, 0.4), (0.95, 0.42, 0.4)), ((0.72, -0.25, 0.6), (0.72, 0.25, 0.6)),
        look=(-0.8, 0.0, 0.6), feet=_FREE,
    ),
)  # fmt: skip

CLOSED_GUARD: Final = PairKey(
    BodyKey(
        (0.30, 0.0, 0.34), (0.3, 0, 0.95), (0.95, 0, -0.3),
        ((0.62, 0.27, 0.06), (0.62, -0.27, 0.06)), ((0.2, 0.2, 0.07), (0.2, -0.2, 0.07)),
        ((0.72, 0.2, 0.55), (0.72, -0.24, 0.52)), ((0.98, 0.1, 0.36), (0.94, -0.12, 0.34)),
        chest_up=(0.42, 0, 0.9), chest_front=(0.9, 0, -0.42), look=(0.9, 0.0, -0.45),
        feet=_INSTEP,
    ),
    BodyKey(
        (0.74, 0.0, 0.13), (0.99, 0, 0.08), (-0.1, 0, 0.99),
        ((0.38, -0.27, 0.42), (0.38, 0.27, 0.42)), ((0.06, 0.04, 0.5), (0.04, -0.04, 0.44)),
        ((1.02, -0.38, 0.2), (1.02, 0.38, 0.2)), ((0.76, -0.25, 0.45), (0.82, 0.14, 0.46)),
        chest_up=(0.97, 0, 0.22), chest_front=(-0.22, 0, 0.97), look=(-0.7, 0, 0.72), feet=_FREE,
    ),
    {"upper": (True, True)},
)  # fmt: skip

OPENING: Final = PairKey(
    BodyKey(
        (0.18, 0.0, 0.5), (0.35, 0, 0.93), (0.93, 0, -0.35),
        ((0.5, 0.3, 0.35), (0.42, -0.26, 0.12)), ((0.14, 0.3, 0.08), (0.02, -0.22, 0.08)),
        ((0.45, 0.34, 0.6), (0.45, -0.34, 0.6)), ((0.56, 0.32, 0.48), (0.56, -0.32, 0.48)),
        look=(0.9, 0.0, -0.45), feet=("flat", "instep"),
    ),
    BodyKey(
        (0.74, 0.0, 0.13), (0.99, 0, 0.05), (-0.05, 0, 0.99),
        ((0.44, -0.34, 0.45), (0.44, 0.34, 0.45)), ((0.1, -0.24, 0.52), (0.1, 0.24, 0.5)),
        ((1.02, -0.38, 0.2), (1.02, 0.38, 0.2)), ((0.72, -0.3, 0.5), (0.72, 0.3, 0.5)),
        chest_up=(0.96, 0, 0.26), chest_front=(-0.26, 0, 0.96), look=(-0.8, 0, 0.6), feet=_FREE,
    ),
)  # fmt: skip

OPEN_GUARD: Final = PairKey(
    BodyKey(
        (0.02, 0.0, 0.66), (0.62, 0, 0.78), (0.78, 0, -0.62),
        ((0.2, 0.28, 0.4), (0.08, -0.26, 0.38)), ((-0.02, 0.3, 0.08), (-0.24, -0.3, 0.08)),
        ((0.42, 0.4, 0.74), (0.4, -0.4, 0.74)), ((0.56, 0.33, 0.58), (0.55, -0.33, 0.58)),
        look=(0.9, 0.0, -0.45),
    ),
    BodyKey(
        (0.76, 0.0, 0.15), (0.97, 0, 0.1), (-0.1, 0, 0.97),
        ((0.54, -0.3, 0.5), (0.54, 0.3, 0.5)), ((0.2, -0.15, 0.6), (0.2, 0.15, 0.6)),
        ((1.0, -0.36, 0.24), (1.0, 0.36, 0.24)), ((0.62, -0.38, 0.55), (0.64, 0.38, 0.55)),
        chest_up=(0.94, 0, 0.32), chest_front=(-0.32, 0, 0.94), look=(-0.8, 0, 0.6), feet=_FREE,
    ),
)  # fmt: skip

PASS_STEP: Final = PairKey(
    BodyKey(
        (0.26, 0.46, 0.68), (0.55, -0.35, 0.75), (0.6, -0.5, -0.6),
        ((0.5, 0.44, 0.4), (0.14, 0.34, 0.36)), ((0.42, 0.62, 0.08), (0.02, 0.44, 0.08)),
        ((0.65, 0.3, 0.75), (0.4, -0.02, 0.7)), ((0.62, 0.08, 0.52), (0.44, -0.2, 0.5)),
        look=(0.8, -0.4, -0.5),
    ),
    BodyKey(
        (0.78, 0.0, 0.14), (0.97, 0, 0.1), (-0.1, -0.55, 0.83),
        ((0.46, -0.28, 0.38), (0.46, -0.04, 0.46)), ((0.12, -0.38, 0.2), (0.1, -0.14, 0.26)),
        ((1.0, -0.38, 0.22), (1.0, 0.36, 0.26)), ((0.74, -0.2, 0.46), (0.78, 0.28, 0.5)),
        chest_up=(0.96, 0, 0.25), chest_front=(-0.25, -0.1, 0.96), look=(-0.6, 0.4, 0.6),
        feet=_FREE,
    ),
)  # fmt: skip

PASS_DROP: Final = PairKey(
    BodyKey(
        (0.86, 0.66, 0.46), (0.2, -0.8, 0.45), (0.2, -0.4, -0.9),
        ((1.16, 0.52, 0.16), (0.72, 0.42, 0.16)), ((1.2, 0.92, 0.09), (0.6, 0.8, 0.09)),
        ((1.16, 0.16, 0.42), (0.72, 0.14, 0.4)), ((1.2, -0.14, 0.36), (0.66, -0.1, 0.34)),
        look=(0.3, -0.8, -0.4), feet=("free", "free"),
    ),
    BodyKey(
        (0.76, 0.0, 0.13), (0.99, 0, 0.05), (-0.05, -0.35, 0.93),
        ((0.42, -0.28, 0.36), (0.44, -0.05, 0.44)), ((0.12, -0.34, 0.1), (0.12, -0.1, 0.12)),
        ((1.02, -0.34, 0.24), (1.0, 0.3, 0.2)), ((0.94, -0.1, 0.46), (0.86, 0.32, 0.4)),
        look=(-0.3, 0.3, 0.9), feet=_FREE,
    ),
)  # fmt: skip

SIDE_CONTROL: Final = PairKey(
    BodyKey(
        (1.1, 0.56, 0.25), (0.05, -0.99, 0.12), (0, -0.12, -0.99),
        ((1.42, 0.36, 0.06), (0.8, 0.34, 0.06)), ((1.5, 0.78, 0.07), (0.74, 0.78, 0.07)),
        ((1.44, 0.1, 0.16), (0.84, -0.04, 0.36)), ((1.42, -0.18, 0.12), (0.74, -0.22, 0.16)),
        look=(0.6, -0.6, -0.4), feet=_INSTEP,
    ),
    BodyKey(
        (0.76, 0.0, 0.12), (1, 0, 0), (0, 0, 1),
        ((0.42, -0.18, 0.42), (0.44, 0.12, 0.42)), ((0.2, -0.2, 0.08), (0.2, 0.14, 0.08)),
        ((1.1, -0.3, 0.26), (1.02, 0.3, 0.14)), ((1.16, -0.02, 0.5), (0.9, 0.5, 0.34)),
        look=(-0.2, -0.3, 0.9),
    ),
    {"upper": (True, True)},
)  # fmt: skip

KNEE_ON_BELLY_LOW: Final = PairKey(
    BodyKey(
        (1.08, 0.42, 0.48), (0.05, -0.15, 0.98), (0.1, -0.98, -0.15),
        ((1.36, 0.34, 0.06), (0.95, -0.02, 0.32)), ((1.32, 0.78, 0.07), (0.78, 0.34, 0.27)),
        ((1.3, 0.22, 0.66), (0.86, 0.1, 0.66)), ((1.22, -0.02, 0.34), (0.66, -0.1, 0.48)),
        chest_up=(0.0, -0.35, 0.94), chest_front=(0.1, -0.94, -0.35), look=(0.4, -0.8, -0.5),
        feet=("instep", "free"),
    ),
    BodyKey(
        (0.76, 0.0, 0.12), (1, 0, 0), (0, 0, 1),
        ((0.42, -0.18, 0.42), (0.44, 0.12, 0.42)), ((0.2, -0.2, 0.08), (0.2, 0.14, 0.08)),
        ((1.06, -0.34, 0.22), (1.04, 0.32, 0.2)), ((0.98, -0.06, 0.4), (1.0, 0.12, 0.4)),
        look=(0.0, 0.4, 0.9),
    ),
    {"upper": (True, False)},
)  # fmt: skip

KNEE_ON_BELLY: Final = replace(
    KNEE_ON_BELLY_LOW,
    upper=BodyKey(
        (1.04, 0.42, 0.6), (0.05, -0.2, 0.98), (0.15, -0.97, -0.2),
        ((1.44, 0.36, 0.46), (0.95, -0.03, 0.33)), ((1.56, 0.6, 0.08), (0.8, 0.34, 0.27)),
        ((1.28, 0.2, 0.74), (0.82, 0.12, 0.7)), ((1.22, -0.02, 0.36), (0.66, -0.1, 0.48)),
        chest_up=(0.02, -0.45, 0.9), chest_front=(0.12, -0.9, -0.45), look=(0.4, -0.8, -0.5),
        feet=("flat", "free"),
    ),
    knees_down={},
)  # fmt: skip

SLIDE: Final = PairKey(
    BodyKey(
        (0.96, 0.16, 0.48), (0.6, -0.1, 0.8), (0.8, -0.1, -0.6),
        ((1.1, 0.42, 0.2), (1.08, -0.26, 0.16)), ((0.72, 0.34, 0.14), (0.7, -0.2, 0.28)),
        ((1.4, 0.3, 0.4), (1.3, -0.3, 0.42)), ((1.4, 0.22, 0.12), (1.3, -0.34, 0.12)),
        look=(0.9, 0, -0.4), feet=_FREE,
    ),
    BodyKey(
        (0.76, 0.0, 0.12), (1, 0, 0), (0, 0, 1),
        ((0.46, -0.16, 0.42), (0.48, 0.3, 0.4)), ((0.22, -0.1, 0.1), (0.26, 0.2, 0.2)),
        ((1.06, -0.38, 0.18), (1.04, 0.36, 0.18)), ((0.9, -0.3, 0.42), (0.98, 0.26, 0.4)),
        look=(-0.2, 0.0, 0.9), feet=_FREE,
    ),
)  # fmt: skip

HALF_GUARD: Final = PairKey(
    BodyKey(
        (0.86, -0.02, 0.36), (0.86, 0, 0.5), (0.5, 0, -0.86),
        ((0.86, 0.3, 0.07), (1.0, -0.36, 0.06)), ((0.44, 0.14, 0.1), (0.6, -0.4, 0.07)),
        ((1.34, 0.3, 0.2), (1.22, -0.42, 0.3)), ((1.46, 0.16, 0.08), (1.36, -0.38, 0.08)),
        look=(0.9, 0.0, -0.2), feet=("free", "instep"),
    ),
    BodyKey(
        (0.76, 0.0, 0.12), (1, 0, 0), (0, 0, 1),
        ((0.38, -0.14, 0.3), (0.42, 0.36, 0.28)), ((0.14, 0.18, 0.09), (0.24, -0.02, 0.26)),
        ((1.04, -0.42, 0.16), (1.04, 0.42, 0.16)), ((0.84, -0.3, 0.4), (0.84, 0.28, 0.44)),
        look=(-0.3, -0.2, 0.9), feet=_FREE,
    ),
    {"upper": (True, True)},
)  # fmt: skip

MOUNT: Final = PairKey(
    BodyKey(
        (0.98, 0.0, 0.4), (0.35, 0, 0.94), (0.94, 0, -0.35),
        ((1.2, 0.32, 0.06), (1.2, -0.32, 0.06)), ((0.78, 0.28, 0.07), (0.78, -0.28, 0.07)),
        ((1.26, 0.34, 0.62), (1.2, -0.34, 0.6)), ((1.34, 0.1, 0.36), (1.3, -0.12, 0.34)),
        chest_up=(0.5, 0, 0.86), chest_front=(0.86, 0, -0.5), look=(0.8, 0.0, -0.6), feet=_INSTEP,
    ),
    BodyKey(
        (0.76, 0.0, 0.12), (1, 0, 0), (0, 0, 1),
        ((0.4, -0.18, 0.42), (0.4, 0.18, 0.42)), ((0.18, -0.18, 0.08), (0.16, 0.18, 0.08)),
        ((1.02, -0.4, 0.2), (1.02, 0.4, 0.2)), ((1.08, -0.24, 0.44), (1.06, 0.26, 0.42)),
        look=(-0.3, 0.0, 0.9),
    ),
    {"upper": (True, True)},
)  # fmt: skip

TURN: Final = PairKey(
    BodyKey(
        (0.98, 0.12, 0.5), (0.45, -0.2, 0.86), (0.84, -0.3, -0.4),
        ((1.18, 0.36, 0.1), (1.12, -0.36, 0.2)), ((0.8, 0.36, 0.08), (0.72, -0.4, 0.08)),
        ((1.3, 0.3, 0.62), (1.3, -0.32, 0.6)), ((1.42, 0.12, 0.34), (1.24, -0.3, 0.36)),
        look=(0.8, -0.3, -0.5), feet=("instep", "flat"),
    ),
    BodyKey(
        (0.78, 0.0, 0.17), (0.98, 0, 0.1), (0, -0.85, 0.5),
        ((0.56, -0.4, 0.14), (0.5, -0.22, 0.4)), ((0.18, -0.3, 0.08), (0.22, 0.02, 0.12)),
        ((1.22, -0.4, 0.1), (1.1, -0.36, 0.4)), ((1.02, -0.55, 0.08), (0.98, -0.5, 0.26)),
        chest_up=(0.95, 0.0, 0.3), chest_front=(0, -0.9, 0.4), look=(-0.1, -0.9, 0.1), feet=_FREE,
    ),
)  # fmt: skip


def _seated(left: float, front: float, height: float, behind: float = 0.0) -> Vector:
    """A place by the seated pair: leftwards, forwards and up from the front athlete's hips."""
    fore, side = np.array([-0.5, -0.87]), np.array([0.87, -0.5])
    x, y = np.array([0.9, -0.02]) + left * side + (front - behind) * fore
    return (float(x), float(y), height)


_LEAN: Final = (0.24, 0.42, 0.87)
_LEAN_FRONT: Final = (-0.44, -0.76, 0.48)
_SEATED_FRONT: Final = BodyKey(
    _seated(0, 0, 0.14), _LEAN, _LEAN_FRONT,
    (_seated(0.27, 0.3, 0.36), _seated(-0.27, 0.3, 0.36)),
    (_seated(0.2, 0.66, 0.08), _seated(-0.2, 0.66, 0.08)),
    (_seated(0.3, 0.0, 0.44), _seated(-0.3, 0.0, 0.44)),
    (_seated(0.1, 0.06, 0.58), _seated(-0.08, 0.06, 0.5)),
    look=(-0.5, -0.8, 0.1),
)  # fmt: skip
_SEATED_BEHIND: Final = BodyKey(
    _seated(0, -0.28, 0.15), _LEAN, _LEAN_FRONT,
    (_seated(0.34, 0.06, 0.38), _seated(-0.34, 0.06, 0.38)),
    (_seated(0.1, 0.36, 0.24), _seated(-0.1, 0.36, 0.24)),
    (_seated(0.32, -0.12, 0.66), _seated(-0.34, -0.1, 0.4)),
    (_seated(0.02, 0.08, 0.6), _seated(-0.04, 0.1, 0.52)),
    look=(-0.4, -0.8, 0.0), feet=_FREE,
)  # fmt: skip

BACK_BOTH_HOOKS: Final = PairKey(_SEATED_BEHIND, _SEATED_FRONT)

BACK_ONE_HOOK: Final = replace(
    BACK_BOTH_HOOKS,
    upper=replace(
        _SEATED_BEHIND,
        knees=(_seated(0.34, 0.06, 0.38), _seated(-0.46, -0.14, 0.32)),
        ankles=(_seated(0.1, 0.36, 0.24), _seated(-0.5, 0.26, 0.08)),
        feet=("free", "flat"),
    ),
)  # fmt: skip

TAKE_BACK: Final = PairKey(
    BodyKey(
        (1.02, 0.26, 0.36), (0.35, 0.05, 0.93), (-0.1, -0.99, 0.1),
        ((1.22, 0.0, 0.34), (0.7, 0.2, 0.22)), ((1.0, -0.3, 0.22), (0.5, -0.04, 0.1)),
        ((1.3, 0.1, 0.7), (0.9, -0.1, 0.5)), ((1.1, -0.16, 0.62), (0.95, -0.2, 0.52)),
        look=(-0.2, -0.9, -0.1), feet=_FREE,
    ),
    BodyKey(
        (0.86, -0.02, 0.18), (0.6, 0.1, 0.8), (-0.2, -0.95, 0.2),
        ((0.86, -0.42, 0.3), (0.54, -0.26, 0.4)), ((0.74, -0.74, 0.08), (0.34, -0.5, 0.08)),
        ((1.2, -0.3, 0.34), (0.9, -0.28, 0.5)), ((1.12, -0.42, 0.1), (1.04, -0.22, 0.6)),
        look=(-0.3, -0.9, 0.1), feet=_FREE,
    ),
)  # fmt: skip

SLIP: Final = PairKey(
    # The escape: the one in front (here "upper") slides down and turns to face the one behind.
    BodyKey(
        _seated(0.0, 0.42, 0.26), (0.75, 0.45, 0.5), (0.3, -0.75, -0.55),
        (_seated(0.3, 0.36, 0.08), _seated(-0.3, 0.5, 0.22)),
        (_seated(0.2, 0.8, 0.08), _seated(-0.3, 0.86, 0.08)),
        (_seated(0.34, 0.14, 0.3), _seated(-0.28, 0.1, 0.36)),
        (_seated(0.3, -0.06, 0.12), _seated(-0.26, -0.1, 0.3)),
        look=(0.6, 0.4, 0.1), feet=_FREE,
    ),
    BodyKey(
        _seated(0, -0.3, 0.14), (0.34, 0.6, 0.72), (-0.36, -0.62, 0.7),
        (_seated(0.4, 0.02, 0.42), _seated(-0.4, 0.02, 0.42)),
        (_seated(0.36, 0.4, 0.36), _seated(-0.36, 0.4, 0.36)),
        (_seated(0.32, -0.3, 0.5), _seated(-0.34, -0.3, 0.5)),
        (_seated(0.14, -0.02, 0.5), _seated(-0.14, 0.0, 0.5)),
        look=(-0.5, -0.8, -0.1), feet=_FREE,
    ),
)  # fmt: skip
