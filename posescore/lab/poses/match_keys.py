"""More key poses, and ways to make other ones of what there is: mirrored, bent a little.

:mod:`posescore.lab.bodies.key_pose` says how to read them. The sample match uses none of these.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from posescore.lab.bodies.key_pose import BodyKey, Pair, PairKey, Vector
from posescore.lab.poses import ground_poses as ground
from posescore.lab.poses import opening_poses as opening

_FREE: Final = ("free", "free")
_INSTEP: Final = ("instep", "instep")

SIT_DOWN: Final = PairKey(
    # The lower one sits down to pull guard, a foot on the other's hip.
    BodyKey(
        (-0.12, 0.0, 0.82), (0.45, 0, 0.9), (0.9, 0, -0.45),
        ((0.06, 0.18, 0.47), (-0.06, -0.18, 0.46)), ((-0.06, 0.24, 0.08), (-0.3, -0.24, 0.08)),
        ((0.3, 0.3, 1.0), (0.3, -0.3, 1.0)), ((0.46, 0.2, 0.86), (0.46, -0.22, 0.84)),
        look=(0.9, 0.0, -0.4),
    ),
    BodyKey(
        (0.6, 0.0, 0.34), (0.35, 0, 0.94), (-0.94, 0, 0.35),
        ((0.28, -0.22, 0.52), (0.3, 0.2, 0.62)), ((0.2, -0.26, 0.12), (0.0, 0.12, 0.62)),
        ((0.5, -0.36, 0.66), (0.5, 0.36, 0.66)), ((0.28, -0.22, 0.8), (0.28, 0.22, 0.8)),
        look=(-0.9, 0.0, 0.2), feet=_FREE,
    ),
)  # fmt: skip

SEATED_GUARD: Final = PairKey(
    BodyKey(
        (0.0, 0.05, 0.5), (0.5, 0, 0.86), (0.86, 0, -0.5),
        ((0.26, 0.3, 0.4), (0.16, -0.24, 0.06)), ((0.12, 0.34, 0.08), (-0.26, -0.24, 0.08)),
        ((0.32, 0.34, 0.62), (0.34, -0.34, 0.6)), ((0.46, 0.32, 0.44), (0.5, -0.32, 0.4)),
        look=(0.9, 0.0, -0.3), feet=("flat", "free"),
    ),
    BodyKey(
        (0.74, 0.0, 0.13), (0.62, 0, 0.78), (-0.78, 0, 0.62),
        ((0.4, -0.26, 0.42), (0.42, 0.2, 0.44)), ((0.16, -0.1, 0.3), (0.14, 0.1, 0.34)),
        ((0.74, -0.36, 0.34), (0.74, 0.36, 0.36)), ((0.44, -0.32, 0.48), (0.46, 0.3, 0.52)),
        look=(-0.9, 0, 0.3), feet=_FREE,
    ),
    upper_knees_down=(False, True),
    rests=("no", "seated"),
)  # fmt: skip

SIDE_SPRAWL: Final = replace(
    opening.SIDE_CONTROL,
    upper=BodyKey(
        (1.1, 0.64, 0.27), (0.05, -0.99, 0.06), (0, -0.06, -0.99),
        ((1.3, 0.98, 0.12), (0.88, 0.98, 0.12)), ((1.38, 1.4, 0.09), (0.84, 1.38, 0.09)),
        ((1.36, 0.0, 0.36), (0.84, -0.04, 0.36)), ((1.38, -0.28, 0.12), (0.72, -0.2, 0.16)),
        look=(0.6, -0.6, -0.4), feet=("free", "free"),
    ),
    upper_knees_down=(False, False),
)  # fmt: skip

NORTH_SOUTH: Final = PairKey(
    BodyKey(
        (1.8, 0.0, 0.4), (-0.96, 0, -0.06), (-0.06, 0, -0.96),
        ((1.88, -0.3, 0.06), (1.88, 0.3, 0.06)), ((2.28, -0.3, 0.07), (2.28, 0.3, 0.07)),
        ((1.24, -0.42, 0.24), (1.24, 0.42, 0.24)), ((0.98, -0.32, 0.2), (0.98, 0.32, 0.2)),
        look=(-0.8, 0.3, -0.5), feet=_INSTEP,
    ),
    BodyKey(
        (0.76, 0.0, 0.12), (1, 0, 0), (0, 0, 1),
        ((0.44, -0.16, 0.4), (0.44, 0.16, 0.4)), ((0.2, -0.18, 0.08), (0.2, 0.18, 0.08)),
        ((1.14, -0.32, 0.26), (1.14, 0.32, 0.26)), ((1.28, -0.2, 0.5), (1.28, 0.2, 0.5)),
        look=(-0.2, 0.1, 0.9),
    ),
    upper_knees_down=(True, True),
    rests=("no", "lying"),
)  # fmt: skip

AROUND_HEAD: Final = replace(
    NORTH_SOUTH,
    upper=BodyKey(
        (1.6, 0.42, 0.4), (-0.62, -0.72, 0.1), (-0.1, -0.1, -0.98),
        ((1.82, 0.22, 0.12), (1.52, 0.66, 0.12)), ((2.14, 0.48, 0.09), (1.78, 0.94, 0.09)),
        ((1.22, -0.2, 0.34), (0.98, 0.3, 0.3)), ((1.02, -0.3, 0.24), (0.78, 0.2, 0.26)),
        look=(-0.7, -0.4, -0.5), feet=_FREE,
    ),
    upper_knees_down=(False, False),
)  # fmt: skip

LOW_MOUNT: Final = replace(
    ground.MOUNT,
    upper=BodyKey(
        (0.9, 0.0, 0.36), (0.78, 0, 0.6), (0.6, 0, -0.78),
        ((1.04, 0.36, 0.06), (1.04, -0.36, 0.06)), ((0.64, 0.38, 0.07), (0.64, -0.38, 0.07)),
        ((1.34, 0.36, 0.24), (1.3, -0.38, 0.26)), ((1.5, 0.2, 0.08), (1.46, -0.26, 0.08)),
        look=(0.8, 0.2, -0.4), feet=_INSTEP,
    ),
    lower=replace(
        ground.MOUNT.lower,
        elbows=((1.12, -0.4, 0.2), (1.12, 0.4, 0.2)),
        wrists=((0.94, -0.26, 0.46), (0.94, 0.26, 0.46)),
    ),
)  # fmt: skip

TURTLE: Final = PairKey(
    BodyKey(
        (0.24, 0.02, 0.46), (0.72, 0, 0.68), (0.68, 0, -0.72),
        ((0.4, 0.32, 0.06), (0.36, -0.32, 0.06)), ((-0.02, 0.3, 0.07), (-0.06, -0.3, 0.07)),
        ((0.74, 0.32, 0.44), (0.74, -0.32, 0.44)), ((0.9, 0.18, 0.26), (0.88, -0.18, 0.26)),
        look=(0.9, 0.1, -0.2), feet=_INSTEP,
    ),
    BodyKey(
        (0.76, 0.0, 0.36), (0.96, 0, -0.12), (-0.12, 0, -0.96),
        ((0.86, 0.17, 0.06), (0.86, -0.17, 0.06)), ((0.46, 0.13, 0.07), (0.46, -0.13, 0.07)),
        ((1.16, 0.2, 0.1), (1.16, -0.2, 0.1)), ((1.34, 0.16, 0.05), (1.34, -0.16, 0.05)),
        look=(0.6, 0.2, -0.7), feet=_INSTEP,
    ),
    upper_knees_down=(True, True),
)  # fmt: skip

TURN_AWAY: Final = PairKey(
    # From under side control or mount onto the knees, the upper one staying behind.
    BodyKey(
        (0.6, 0.44, 0.5), (0.6, -0.45, 0.66), (0.6, -0.35, -0.7),
        ((0.84, 0.5, 0.14), (0.5, 0.2, 0.14)), ((0.5, 0.72, 0.09), (0.14, 0.4, 0.09)),
        ((1.1, 0.16, 0.5), (0.8, -0.1, 0.5)), ((1.16, -0.12, 0.36), (0.86, -0.22, 0.34)),
        look=(0.8, -0.4, -0.3), feet=_FREE,
    ),
    BodyKey(
        (0.78, 0.0, 0.24), (0.97, 0, 0.0), (0.0, -0.9, -0.3),
        ((0.66, -0.3, 0.12), (0.74, -0.22, 0.3)), ((0.34, -0.18, 0.09), (0.36, -0.06, 0.2)),
        ((1.22, -0.24, 0.1), (1.14, -0.3, 0.24)), ((1.32, -0.44, 0.06), (1.3, -0.42, 0.14)),
        look=(0.3, -0.8, -0.4), feet=_FREE,
    ),
)  # fmt: skip

HIP_BUMP: Final = PairKey(
    # The lower one of a closed guard sits up and turns the upper one over onto his back.
    BodyKey(
        (0.28, 0.22, 0.28), (-0.2, 0.7, 0.6), (0.8, 0.3, -0.2),
        ((0.58, 0.42, 0.1), (0.58, 0.0, 0.3)), ((0.24, 0.34, 0.07), (0.22, -0.08, 0.12)),
        ((0.3, 0.84, 0.3), (0.56, 0.62, 0.6)), ((0.42, 1.0, 0.12), (0.76, 0.5, 0.6)),
        look=(0.7, 0.5, -0.2), feet=_FREE,
    ),
    BodyKey(
        (0.68, 0.02, 0.3), (-0.2, 0.35, 0.9), (-0.95, 0.1, 0.2),
        ((0.36, -0.36, 0.12), (0.42, 0.38, 0.34)), ((0.66, -0.5, 0.1), (0.12, 0.34, 0.42)),
        ((0.62, -0.2, 0.76), (0.5, 0.46, 0.7)), ((0.4, -0.16, 0.8), (0.3, 0.6, 0.66)),
        look=(-0.8, 0.4, 0.0), feet=_FREE,
    ),
)  # fmt: skip

ROLL_OVER: Final = PairKey(
    # The same sweep a moment later, seen with the new upper athlete as "upper".
    BodyKey(
        (0.66, 0.06, 0.44), (0.5, -0.1, 0.85), (0.85, 0.1, -0.5),
        ((0.84, 0.4, 0.1), (0.86, -0.36, 0.2)), ((0.46, 0.44, 0.09), (0.5, -0.4, 0.12)),
        ((1.1, 0.36, 0.5), (1.06, -0.36, 0.56)), ((1.24, 0.2, 0.3), (1.2, -0.2, 0.36)),
        look=(0.8, 0.0, -0.5), feet=_FREE,
    ),
    BodyKey(
        (0.74, -0.1, 0.16), (0.95, -0.2, 0.1), (0.1, 0.4, 0.9),
        ((0.4, -0.24, 0.36), (0.42, 0.12, 0.46)), ((0.16, -0.26, 0.1), (0.16, 0.06, 0.14)),
        ((1.16, -0.46, 0.2), (1.18, 0.26, 0.26)), ((1.1, -0.36, 0.44), (1.02, 0.24, 0.48)),
        look=(-0.3, 0.2, 0.9), feet=_FREE,
    ),
)  # fmt: skip

FALL_ASIDE: Final = replace(
    opening.FALL,
    # A takedown that lands past the legs.
    upper=BodyKey(
        (0.5, 0.44, 0.5), (0.75, -0.3, 0.6), (0.6, -0.25, -0.75),
        ((0.8, 0.5, 0.2), (0.5, 0.2, 0.14)), ((0.44, 0.66, 0.1), (0.14, 0.34, 0.1)),
        ((1.06, 0.28, 0.5), (0.78, -0.1, 0.5)), ((1.16, 0.0, 0.36), (0.8, -0.28, 0.34)),
        look=(0.8, -0.3, -0.4), feet=("flat", "free"),
    ),
    lower=replace(
        opening.FALL.lower,
        knees=((0.42, -0.36, 0.44), (0.44, 0.02, 0.5)),
        ankles=((0.06, -0.34, 0.36), (0.06, -0.06, 0.4)),
    ),
)  # fmt: skip

BACK_CROSSED: Final = replace(
    ground.BACK_BOTH_HOOKS,
    upper=replace(
        ground.BACK_BOTH_HOOKS.upper,
        knees=(ground.seated(0.34, 0.06, 0.44), ground.seated(-0.34, 0.06, 0.44)),
        ankles=(ground.seated(-0.15, 0.36, 0.28), ground.seated(0.14, 0.46, 0.37)),
    ),
)  # fmt: skip


def mirrored(key: PairKey) -> PairKey:
    """The mirror image across the plane y = 0: left and right change places."""
    return PairKey(
        _mirrored(key.upper),
        _mirrored(key.lower),
        (key.upper_knees_down[1], key.upper_knees_down[0]),
        key.rests,
    )


def _mirrored(key: BodyKey) -> BodyKey:
    def way(v: Vector) -> Vector:
        return (v[0], -v[1], v[2])

    def both(pair: Pair) -> Pair:
        return (way(pair[1]), way(pair[0]))

    return BodyKey(
        way(key.root), way(key.up), way(key.front),
        both(key.knees), both(key.ankles), both(key.elbows), both(key.wrists),
        None if key.chest_up is None else way(key.chest_up),
        None if key.chest_front is None else way(key.chest_front),
        None if key.look is None else way(key.look),
        (key.feet[1], key.feet[0]),
    )  # fmt: skip


def varied(key: PairKey, random: np.random.Generator, size_m: float = 0.03) -> PairKey:
    """The same position held a little differently: arms most, hips least.

    ``size_m`` is the standard deviation of knees, ankles and directions; arms vary twice as much.
    """
    return replace(
        key,
        upper=_varied(key.upper, random, size_m),
        lower=_varied(key.lower, random, size_m),
    )


def _varied(key: BodyKey, random: np.random.Generator, size_m: float) -> BodyKey:
    def near(v: Vector, size: float) -> Vector:
        x, y, z = np.asarray(v) + size * random.standard_normal(3)
        return (float(x), float(y), max(float(z), 0.04))

    def way(v: Vector, size: float) -> Vector:
        x, y, z = np.asarray(v) + size * random.standard_normal(3)
        return (float(x), float(y), float(z))

    def both(pair: Pair, size: float) -> Pair:
        return (near(pair[0], size), near(pair[1], size))

    return replace(
        key,
        root=near(key.root, 0.6 * size_m),
        up=way(key.up, size_m),
        front=way(key.front, size_m),
        knees=both(key.knees, 0.8 * size_m),
        ankles=both(key.ankles, 0.8 * size_m),
        elbows=both(key.elbows, 2 * size_m),
        wrists=both(key.wrists, 2 * size_m),
        look=None if key.look is None else way(key.look, 5 * size_m),
    )
