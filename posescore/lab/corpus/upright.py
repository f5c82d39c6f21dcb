"""Poses of people who stand, walk, kneel or sit: referees, bystanders, athletes apart.

Authored as ranges of joint angles, since the pose set holds hardly any people at ease.
"""

from __future__ import annotations

from collections.abc import Callable

import torch
from torch import Tensor
from torch.nn import functional

from posescore.lab.corpus.dice import Dice
from posescore.lab.corpus.rig import BONE, N_BONES
from posescore.lab.corpus.skeleton import product, quaternion_of_rotation_vector

_REST_ARM_DEG = 45.0
"""How far below the horizontal the arms of the body at rest hang."""


def _turn(axis: int, angle: Tensor) -> Tensor:
    vector = torch.zeros(*angle.shape, 3, device=angle.device)
    vector[..., axis] = angle
    return quaternion_of_rotation_vector(vector)


def upright_poses(dice: Dice, count: int) -> Tensor:
    """Quaternions ``(count, 20, 4)`` of bodies facing -y, root not turned but for a lean.

    Half stand or walk, a fifth stand ready with arms out, the rest kneel, sit or hold a hand up.
    """
    bones = torch.zeros(count, N_BONES, 4, device=dice.device)
    bones[..., 0] = 1

    def put(name: str, *turns: Tensor) -> None:
        total = turns[0]
        for turn in turns[1:]:
            total = product(total, turn)
        bones[:, BONE[name]] = total

    kind = dice.uniform(count)
    ready, kneel = (kind > 0.5) & (kind < 0.72), (kind > 0.84) & (kind < 0.91)
    sit, signal = kind > 0.91, (kind > 0.72) & (kind < 0.84)
    stride = dice.uniform(count, low=-0.5, high=0.5)
    for name, sign in (("L", 1.0), ("R", -1.0)):
        hip = sign * stride + dice.uniform(count, low=-0.1, high=0.25)
        knee = dice.uniform(count, high=0.5) * (sign * stride < 0.1)
        hip = torch.where(ready, dice.uniform(count, low=0.3, high=1.1), hip)
        knee = torch.where(ready, dice.uniform(count, low=0.5, high=1.3), knee)
        hip = torch.where(sit, dice.uniform(count, low=1.3, high=1.7), hip)
        knee = torch.where(sit, dice.uniform(count, low=1.2, high=1.7), knee)
        hip = torch.where(kneel, dice.uniform(count, low=-0.1, high=1.5), hip)
        knee = torch.where(kneel, dice.uniform(count, low=1.4, high=2.2), knee)
        spread = sign * dice.uniform(count, low=-0.02, high=0.25) * (1 + ready.float())
        put(f"upperleg01.{name}", _turn(0, -hip), _turn(1, -spread))
        put(f"lowerleg01.{name}", _turn(0, knee))
        put(f"foot.{name}", _turn(0, 0.5 * (hip - knee).clamp(-0.6, 0.6)))
        lower = dice.uniform(count, low=0.35, high=0.78)
        swing = -sign * stride * 0.6 + 0.25 * dice.normal(count)
        bend = dice.uniform(count, high=1.0)
        reach = ready | (sit & dice.happens(0.6, count))
        swing = torch.where(reach, dice.uniform(count, low=0.3, high=1.3), swing)
        bend = torch.where(reach, dice.uniform(count, low=0.3, high=1.9), bend)
        raised = signal & dice.happens(0.6, count)
        lower = torch.where(raised, dice.uniform(count, low=-2.0, high=0.3), lower)
        put(f"upperarm01.{name}", _turn(0, -swing), _turn(1, sign * lower))
        put(f"lowerarm01.{name}", _turn(2, -sign * bend))
    _put_trunk(dice, count, ready, put)
    return functional.normalize(bones, dim=-1)


def _put_trunk(dice: Dice, count: int, ready: Tensor, put: Callable[..., None]) -> None:
    """Spine, neck and head: bent forward where arms are out, else nearly upright."""
    lean = torch.where(ready, dice.uniform(count, low=0.05, high=0.7), 0.12 * dice.normal(count))
    side = 0.08 * dice.normal(count)
    put("spine05", _turn(0, lean * 0.4), _turn(1, side))
    put("spine03", _turn(0, lean * 0.4), _turn(2, 0.15 * dice.normal(count)))
    put("spine01", _turn(0, lean * 0.2))
    put("neck01", _turn(0, -0.4 * lean + 0.1 * dice.normal(count)))
    put("head", _turn(0, 0.2 * dice.normal(count)), _turn(2, 0.5 * dice.normal(count)))
