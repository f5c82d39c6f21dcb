"""Where the camera stands and what part of its view becomes the picture."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import torch
from torch import Tensor
from torch.nn import functional

from posescore.lab.corpus.dice import Dice
from posescore.lab.corpus.halls import look_along

PAD_SHADE: Final = 0.5
"""Grey of what lies beyond the edge of a frame; the runtime pads alike."""

_NEAR_M: Final = 0.2

_CLOSE: Final = 0.35
"""Of the whole frames, how many hold little but the pair and have any shape, as photographs do."""

_WIDEST: Final = 1.9


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """Cameras: ``turn (n, 3, 3)`` (rows right, down, forward), ``eye (n, 3)``, ``azimuth (n,)``."""

    turn: Tensor
    eye: Tensor
    azimuth: Tensor
    mirror: Tensor

    def tangents(self, points_m: Tensor) -> tuple[Tensor, Tensor]:
        """Where world points ``(n, ..., 3)`` lie: tangents ``(n, ..., 2)`` and depth in metres."""
        extra = (1,) * (points_m.ndim - 2)
        local = points_m - self.eye.reshape(-1, *extra, 3)
        local = torch.einsum("nij,n...j->n...i", self.turn, local)
        depth = local[..., 2]
        return local[..., :2] / depth[..., None].clamp(min=_NEAR_M), depth


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """What becomes the picture: its ``centre (n, 2)`` and ``scale (n, 2)`` in tangents.

    ``bars (n, 4)`` are the shares of the picture (left, top, right, bottom) beyond the frame.
    """

    centre: Tensor
    scale: Tensor
    bars: Tensor


def viewpoint(dice: Dice, centre_m: Tensor, far: bool) -> View:
    """Cameras around pairs: phones in hands, tripods, stands; some tilted, half mirrored."""
    count = len(centre_m)
    azimuth = dice.uniform(count, high=2 * math.pi)
    level = dice.uniform(count, low=-0.08, high=0.5)
    elevation = torch.where(
        dice.happens(0.82, count), level, dice.uniform(count, low=0.5, high=1.3)
    )
    nearest, farthest = (3.0, 12.0) if far else (1.8, 9.0)
    distance = nearest * (farthest / nearest) ** dice.uniform(count)
    toward = torch.stack(
        [elevation.cos() * azimuth.cos(), elevation.cos() * azimuth.sin(), elevation.sin()], -1
    )
    eye = centre_m + distance[:, None] * toward
    eye[:, 2] = eye[:, 2].clamp(min=0.15)
    aim = centre_m + 0.05 * distance[:, None] * dice.normal(count, 3)
    turn = look_along(functional.normalize(aim - eye, dim=-1))
    roll = 0.09 * dice.normal(count)
    roll = torch.where(dice.happens(0.12, count), dice.uniform(count, low=-0.8, high=0.8), roll)
    cosine, sine = roll.cos()[:, None], roll.sin()[:, None]
    right = cosine * turn[:, 0] + sine * turn[:, 1]
    down = -sine * turn[:, 0] + cosine * turn[:, 1]
    mirror = dice.happens(0.5, count)
    right = torch.where(mirror[:, None], -right, right)
    return View(torch.stack([right, down, turn[:, 2]], 1), eye, azimuth, mirror)


def framed_crop(dice: Dice, low: Tensor, high: Tensor, side_px: int) -> Frame:
    """Crops around the pair whose extent in tangents is ``low .. high (n, 2)``.

    Some cut off limbs, some leave much room; some are squeezed, as photographs on the web are;
    some reach beyond the edge of the frame and are padded.
    """
    count = len(low)
    extent = (high - low).amax(1)
    room = dice.uniform(count, low=1.0, high=1.65)
    room = torch.where(dice.happens(0.07, count), dice.uniform(count, low=0.75, high=1.0), room)
    slack = (extent * (room - 0.85).clamp(min=0.12) * 0.7)[:, None]
    centre = (low + high) / 2 + (dice.uniform(count, 2) - 0.5) * slack
    squeeze = dice.switch(0.25, 0.17 * dice.normal(count, 1)).exp()
    # A squeezed picture still has to hold the pair: fit each axis a little to its own extent.
    own = (high - low) / extent[:, None]
    fit = dice.switch(0.35, dice.uniform(count, 1, high=0.8))
    stretch = own.clamp(min=0.45) ** -fit
    scale = side_px / (extent * room)[:, None] * stretch * torch.cat([squeeze, 1 / squeeze], 1)
    bars = dice.switch(0.07, dice.uniform(count, 4, high=0.3))
    return Frame(centre, scale, bars)


def framed_whole(dice: Dice, low: Tensor, high: Tensor, side_px: int) -> Frame:
    """Whole frames, letter-boxed into the square: the pair somewhere in them, large or small."""
    count = len(low)
    shares = dice.constant([[1.0, 9 / 16], [1.0, 0.75], [1.0, 1.0], [9 / 16, 1.0]])
    shape = shares[dice.weighted(dice.constant([6.0, 1.5, 1.0, 1.5]), count)]
    fill = 0.16 * (1.05 / 0.16) ** dice.uniform(count, 1)
    aspect = (_WIDEST**2) ** (dice.uniform(count, 1) - 0.4)
    photo = torch.cat([aspect.clamp(max=1), (1 / aspect).clamp(max=1)], 1)
    close = dice.happens(_CLOSE, count, 1)
    shape = torch.where(close, photo, shape)
    fill = torch.where(close, dice.uniform(count, 1, low=0.5, high=1.1), fill)
    scale = (shape / (high - low) * fill).amin(1, keepdim=True)
    free = (shape - (high - low) * scale).clamp(min=0)
    place = (dice.uniform(count, 2) - 0.5) * free
    bars = ((1 - shape) / 2).repeat(1, 2)
    return Frame((low + high) / 2 - place / scale, scale.expand(-1, 2) * side_px, bars)


def paint_bars(picture: Tensor, bars: Tensor) -> Tensor:
    """Grey where a picture ``(n, c, h, w)`` lies beyond its frame."""
    height, width = picture.shape[-2:]
    x = ((torch.arange(width, device=picture.device) + 0.5) / width)[None, None, None]
    y = ((torch.arange(height, device=picture.device) + 0.5) / height)[None, None, :, None]
    left, top, right, bottom = (bars[:, k, None, None, None] for k in range(4))
    beyond = (x < left) | (x > 1 - right) | (y < top) | (y > 1 - bottom)
    return torch.where(beyond, torch.full_like(picture, PAD_SHADE), picture)
