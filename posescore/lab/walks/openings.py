"""Authored key poses of bringing a match to the ground: shots, trips, throws, pulls, falls.

Each is a chain of pairs ``(k, 2, 23, 3)``, the one who acts in slot 0 at the origin facing +y, the
opponent in front facing back; between them the walk blends. What happens and who does it is
common practice of the sport; heights and lengths are those of the set's adults.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import numpy as np

from posescore.lab.bodies.posed_body import Frames, Rng, Vectors, Wanted, build, turned, unit
from posescore.lab.poses.pose_variation import FLOOR_M, on_floor


def _v(*xyz: float) -> Vectors:
    return np.array([xyz], np.float64)


def _body(
    rng: Rng,
    pelvis: Vectors,
    lean_deg: float,
    feet: tuple[Vectors, Vectors],
    hands: tuple[Vectors, Vectors],
    knees_ahead: float = 1.0,
    roll: float = 0.0,
) -> Frames:
    """One who faces +y and leans forward by ``lean_deg``; left at -x; ``(1, 23, 3)``."""
    lean = np.deg2rad(lean_deg + 5 * rng.standard_normal())
    spine = _v(roll, np.sin(lean), np.cos(lean))
    front = _v(0.0, np.cos(lean), -np.sin(lean))
    hint = pelvis + front * 0.8 * knees_ahead + _v(0, 0, 0.2)
    shake = [0.04 * rng.standard_normal((1, 3)) for _ in range(4)]
    return build(
        Wanted(
            pelvis=pelvis + 0.02 * rng.standard_normal((1, 3)),
            spine=spine,
            chest=front,
            pelvis_front=front,
            feet=(feet[0] + shake[0] * [1, 1, 0.2], feet[1] + shake[1] * [1, 1, 0.2]),
            knees=(hint + _v(-0.3, 0, 0), hint + _v(0.3, 0, 0)),
            hands=(hands[0] + shake[2], hands[1] + shake[3]),
            elbows=(pelvis + _v(-0.6, 0.1, 0.3), pelvis + _v(0.6, 0.1, 0.3)),
            toes=(front + _v(0, 0, -0.1), front + _v(0, 0, -0.1)),
            gaze=unit(front),
        )
    )


def _facing(first: Frames, second: Frames, apart_m: float) -> Frames:
    other = turned(second[:, None], "z", np.array([np.pi]))[:, 0]
    other[..., 1] += apart_m
    pair = np.stack([first, other], 1)
    pair[..., 2] = np.maximum(pair[..., 2], FLOOR_M)
    return on_floor(pair.astype(np.float32))


def _feet(wide: float = 0.2, ahead: float = 0.0) -> tuple[Vectors, Vectors]:
    return _v(-wide, ahead, 0.1), _v(wide, -ahead, 0.1)


def _falling_back(rng: Rng, z: float, lean: float) -> Frames:
    """An opponent toppling backwards, seat low, feet leaving the mat."""
    up = 0.1 + 0.5 * max(0.0, 0.7 - z)
    return _body(
        rng, _v(0, -0.1, z), lean,
        (_v(-0.2, 0.45, up), _v(0.2, 0.4, up + 0.1)),
        (_v(-0.3, 0.25, z + 0.35), _v(0.3, 0.25, z + 0.3)),
    )  # fmt: skip


def shot(rng: Rng) -> Frames:
    """Level change to the legs, then driving through."""
    side = rng.choice([-1.0, 1.0])
    low = _body(
        rng, _v(0.1 * side, -0.1, 0.45), 55,
        (_v(-0.15, 0.3 if side < 0 else -0.5, 0.1), _v(0.15, -0.5 if side < 0 else 0.3, 0.1)),
        (_v(-0.2, 0.75, 0.5), _v(0.2, 0.75, 0.5)),
    )  # fmt: skip
    wary = _body(
        rng, _v(0, -0.15, 0.72), 40, _feet(0.22, 0.1), (_v(-0.2, 0.5, 0.75), _v(0.2, 0.5, 0.75))
    )
    drive = _body(
        rng, _v(0, 0.1, 0.55), 65, (_v(-0.15, -0.3, 0.1), _v(0.15, 0.2, 0.1)),
        (_v(-0.22, 0.8, 0.45), _v(0.22, 0.8, 0.45)),
    )  # fmt: skip
    return np.concatenate(
        [_facing(low, wary, 0.75), _facing(drive, _falling_back(rng, 0.4, -45), 0.95)]
    )


def trip(rng: Rng) -> Frames:
    """Chest to chest, a leg hooked behind the opponent's, both tipping over it."""
    side = rng.choice([-1.0, 1.0])
    hook, post = _v(0.12 * side, 0.55, 0.18), _v(-0.15 * side, -0.1, 0.1)
    feet = (hook, post) if side < 0 else (post, hook)
    hands = (_v(-0.2, 0.5, 1.2), _v(0.2, 0.5, 1.1))
    close = _body(rng, _v(0, 0.05, 0.8), 15, feet, hands)
    stood = _body(rng, _v(0, 0, 0.84), 5, _feet(0.18, 0.1), hands)
    over = _body(rng, _v(0, 0.25, 0.68), 45, feet, (_v(-0.2, 0.8, 0.8), _v(0.2, 0.8, 0.8)))
    return np.concatenate(
        [_facing(close, stood, 0.45), _facing(over, _falling_back(rng, 0.5, -40), 0.75)]
    )


def throw(rng: Rng) -> Frames:
    """Turned in with the hips below the opponent's, who goes over the back."""
    hands = (_v(-0.2, 0.45, 0.9), _v(0.2, 0.4, 0.7))
    turned_in = _body(rng, _v(0, 0, 0.66), 45, _feet(0.2), hands)
    carried = _body(rng, _v(0, 0, 0.9), 50, _feet(0.15), (_v(-0.2, 0.4, 0.9), _v(0.2, 0.4, 0.9)))
    pair = np.stack([turned_in, carried - _v(0, 0.32, 0).astype(np.float32)], 1)
    over = _body(rng, _v(0, 0, 0.95), 110, (_v(-0.2, -0.6, 1.3), _v(0.2, -0.6, 1.2)), hands)
    second = np.stack([_body(rng, _v(0, 0, 0.6), 75, _feet(0.22), hands), over], 1)
    chain = np.concatenate([pair, second])
    chain[..., 2] = np.maximum(chain[..., 2], FLOOR_M)
    return on_floor(chain.astype(np.float32))


def sacrifice(rng: Rng) -> Frames:
    """Falling back under the opponent and throwing over the head with a foot at the belly."""
    grips = (_v(-0.2, 0.4, 0.7), _v(0.2, 0.4, 0.7))
    sit = _body(rng, _v(0, 0.1, 0.25), -25, (_v(-0.15, 0.4, 0.1), _v(0.12, 0.5, 0.65)), grips)
    bent = _body(
        rng, _v(0, -0.05, 0.8), 45, _feet(0.2, 0.1), (_v(-0.2, 0.4, 0.7), _v(0.2, 0.4, 0.7))
    )
    back = _body(rng, _v(0, 0.1, 0.14), -80, (_v(-0.15, 0.3, 0.6), _v(0.12, 0.2, 0.75)), grips)
    fly = _body(rng, _v(0, 0.4, 0.85), 95, (_v(-0.2, -0.3, 1.1), _v(0.2, -0.3, 1.0)), grips)
    return np.concatenate([_facing(sit, bent, 0.6), _facing(back, fly, 0.55)])


def sit_down(rng: Rng) -> Frames:
    """Guard pulled by sitting: the seat to the mat near the own heels, a foot at the hip."""
    grips = (_v(-0.2, 0.5, 0.9), _v(0.2, 0.5, 0.9))
    squat = _body(rng, _v(0, -0.1, 0.5), 10, (_v(-0.18, 0.25, 0.1), _v(0.15, 0.45, 0.4)), grips)
    stood = _body(
        rng, _v(0, 0, 0.8), 30, _feet(0.22, 0.15), (_v(-0.2, 0.45, 0.9), _v(0.2, 0.45, 0.9))
    )
    seat = _body(
        rng, _v(0, -0.15, 0.13), -15, (_v(-0.2, 0.4, 0.12), _v(0.15, 0.5, 0.4)),
        (_v(-0.2, 0.5, 0.6), _v(0.2, 0.5, 0.6)),
    )  # fmt: skip
    bent = _body(
        rng, _v(0, -0.05, 0.78), 45, _feet(0.24, 0.2), (_v(-0.2, 0.5, 0.6), _v(0.2, 0.5, 0.6))
    )
    return np.concatenate([_facing(squat, stood, 0.75), _facing(seat, bent, 0.8)])


def jump_up(rng: Rng) -> Frames:
    """Guard pulled by jumping: the legs close about the waist of one who stays up."""
    neck = (_v(-0.15, 0.3, 1.35), _v(0.15, 0.3, 1.35))
    legs = (_v(-0.05, 0.55, 0.85), _v(0.05, 0.55, 0.85))
    up = _body(rng, _v(0, 0.05, 0.9), -10, legs, neck)
    under = (_v(-0.2, 0.3, 0.8), _v(0.2, 0.3, 0.8))
    stood = _body(rng, _v(0, 0, 0.78), 5, _feet(0.25, 0.1), under)
    low = _body(rng, _v(0, 0, 0.55), -35, (_v(-0.05, 0.6, 0.6), _v(0.05, 0.6, 0.6)), neck)
    bent = _body(rng, _v(0, 0, 0.62), 45, _feet(0.28, 0.1), under)
    return np.concatenate([_facing(up, stood, 0.32), _facing(low, bent, 0.4)])


def side_by_side(rng: Rng) -> Frames:
    """Both lose their feet and land beside each other, nobody in control."""
    hands = (_v(-0.2, 0.4, 0.9), _v(0.2, 0.4, 0.9))
    first = _body(rng, _v(0, 0, 0.6), 25, _feet(0.2, 0.25), hands, roll=0.5)
    second = _body(rng, _v(0, 0, 0.6), 20, _feet(0.2, -0.2), hands, roll=-0.5)
    down = _body(rng, _v(0, 0, 0.14), 0, (_v(-0.2, 0.35, 0.12), _v(0.2, 0.4, 0.12)), hands)
    lying = turned(down[:, None], "y", np.array([1.4]))[:, 0]
    other = turned(down[:, None], "y", np.array([-1.4]))[:, 0]
    return np.concatenate([_facing(first, second, 0.5), _facing(lying, other, 0.7)])


TAKEDOWNS: Final[Mapping[str, Callable[[Rng], Frames]]] = {
    "shot": shot, "trip": trip, "throw": throw, "sacrifice": sacrifice,
}  # fmt: skip
GUARD_PULLS: Final[Mapping[str, Callable[[Rng], Frames]]] = {"sit": sit_down, "jump": jump_up}
