"""How a key pose is written down.

Every pose says roughly where the joints of both athletes are; :mod:`posescore.lab.bodies.fitting`
turns that into bodies whose bones keep their lengths and that touch without sinking in.
Metres. The lower athlete of a ground position lies along x with the head at +x and faces up, so
that his left is at -y; the camera looks along +y.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

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
    """One key pose of both athletes.

    ``upper_knees_down`` says which of the upper athlete's knees rest on the mat, ``rests`` how
    each athlete's trunk does: not at all, seated, or lying on the back.
    """

    upper: BodyKey
    lower: BodyKey
    upper_knees_down: tuple[bool, bool] = (False, False)
    rests: tuple[str, str] = ("no", "no")

    def turned(self, yaw_deg: float, shift: tuple[float, float]) -> PairKey:
        """The same pose, turned about the vertical and moved over the mat."""
        return PairKey(
            _turned(self.upper, yaw_deg, shift),
            _turned(self.lower, yaw_deg, shift),
            self.upper_knees_down,
            self.rests,
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
