"""What a camera, a lens and a codec do to a picture: tone, blur, noise, low resolution, JPEG."""

from __future__ import annotations

import math
from typing import Final

import torch
from torch import Tensor
from torch.nn import functional

from posescore.lab.corpus.dice import Dice

CLEAR: Final = 0.45
"""Share of pictures from a camera held still in good light: exposed, and nothing else."""


def seen_by_camera(dice: Dice, picture: Tensor, front: Tensor, still: float = CLEAR) -> Tensor:
    """Degrade pictures ``(n, 3, h, w)`` in 0..1 as cameras do, each its own way.

    ``front (n, 1, h, w)`` is 1 on people: what is behind them may be out of focus.
    A share of ``still`` is exposed, and nothing else. On a GPU all of it happens in half precision,
    whose steps are finer than those of a picture's 256 shades.
    """
    picture = _exposed(dice, picture, front)
    if picture.is_cuda:
        picture, front = picture.half(), front.half()
    dice = dice.of(picture.dtype)
    clear = picture
    picture = _toned(dice, _out_of_focus(dice, picture, front))
    picture = _softened(dice, picture)
    count = len(picture)
    strength = dice.uniform(count, 1, 1, 1) ** 2
    picture = picture + 0.06 * strength * dice.normal(*picture.shape)
    picture = picture + 0.03 * strength * dice.normal(count, 1, *picture.shape[2:])
    seen = _compressed(dice, picture.clamp(0, 1)).clamp(0, 1)
    return torch.where(dice.happens(still, count, 1, 1, 1), clear.clamp(0, 1), seen)


def _each(dice: Dice, count: int, low: float, high: float) -> Tensor:
    return dice.uniform(count, 1, 1, 1, low=low, high=high)


def _exposed(dice: Dice, picture: Tensor, front: Tensor) -> Tensor:
    """Automatic exposure: half for the whole picture, half for the people in it."""
    grey = picture.mean(1, keepdim=True)
    people = (grey * front).sum((1, 2, 3)) / front.sum((1, 2, 3)).clamp(min=1)
    level = (0.5 * grey.mean((1, 2, 3)) + 0.5 * people).clamp(min=0.02)
    wanted = dice.uniform(len(picture), low=0.3, high=0.56)
    return picture * (wanted / level).clamp(0.5, 5)[:, None, None, None]


def _out_of_focus(dice: Dice, picture: Tensor, front: Tensor) -> Tensor:
    size = picture.shape[-2:]
    behind = 1 - front
    light = functional.avg_pool2d(picture * behind, 4)
    weight = functional.avg_pool2d(behind, 4)
    for _ in range(2):
        light = functional.avg_pool2d(light, 3, 1, 1)
        weight = functional.avg_pool2d(weight, 3, 1, 1)
    blurred = functional.interpolate(light / weight.clamp(min=1e-3), size=size, mode="bilinear")
    share = dice.switch(0.35, _each(dice, len(picture), 0.4, 1.0))
    return torch.lerp(picture, blurred, share * behind)


def _toned(dice: Dice, picture: Tensor) -> Tensor:
    count = len(picture)
    gain = torch.exp(0.16 * dice.normal(count, 1, 1, 1))
    balance = 1 + 0.08 * dice.normal(count, 3, 1, 1)
    picture = (picture * gain * balance).clamp(1e-4, 1.6)
    picture = (picture / (1 + 0.15 * picture)).clamp(1e-4, 1)
    picture = picture ** torch.exp(0.16 * dice.normal(count, 1, 1, 1))
    grey = picture.mean(1, keepdim=True)
    saturation = _each(dice, count, 0.4, 1.45) * dice.happens(0.96, count, 1, 1, 1)
    picture = torch.lerp(grey, picture, saturation)
    middle = picture.mean((1, 2, 3), keepdim=True)
    picture = middle + (picture - middle) * _each(dice, count, 0.65, 1.3)
    height, width = picture.shape[-2:]
    y = torch.linspace(-1, 1, height, device=picture.device).to(picture.dtype)[:, None]
    x = torch.linspace(-1, 1, width, device=picture.device).to(picture.dtype)[None]
    vignette = dice.switch(0.25, _each(dice, count, 0.0, 0.35))
    return (picture * (1 - vignette * (x * x + y * y) / 2)).clamp(0, 1)


def _softened(dice: Dice, picture: Tensor) -> Tensor:
    count = len(picture)
    tap = dice.constant([1.0, 4.0, 6.0, 4.0, 1.0]) / 16
    kernel = (tap[:, None] * tap).expand(3, 1, 5, 5).contiguous().to(picture.dtype)

    def blur(image: Tensor) -> Tensor:
        return functional.conv2d(
            functional.pad(image, (2, 2, 2, 2), mode="replicate"), kernel, groups=3
        )

    once = blur(picture)
    thrice = blur(blur(once))
    level = functional.avg_pool2d(
        functional.pad(picture, (4, 4, 0, 0), mode="replicate"), (1, 9), 1
    )
    plumb = functional.avg_pool2d(
        functional.pad(picture, (0, 0, 4, 4), mode="replicate"), (9, 1), 1
    )
    sharp = (picture + (picture - once) * _each(dice, count, 0.3, 1.5)).clamp(0, 1)
    kind, share = dice.uniform(count, 1, 1, 1), dice.uniform(count, 1, 1, 1)
    for low, high, other in (
        (0.0, 0.25, torch.lerp(picture, once, share)),
        (0.25, 0.42, torch.lerp(picture, thrice, share)),
        (0.42, 0.48, level),
        (0.48, 0.54, plumb),
        (0.54, 0.74, sharp),
    ):
        picture = torch.where((kind >= low) & (kind < high), other, picture)
    small = functional.interpolate(picture, scale_factor=0.375, mode="area")
    coarse = functional.interpolate(small, size=picture.shape[-2:], mode="bilinear")
    return torch.where(dice.happens(0.09, count, 1, 1, 1), coarse, picture)


def _compressed(dice: Dice, picture: Tensor) -> Tensor:
    """Quantise 8 x 8 blocks in frequency, as JPEG and video codecs do."""
    count, channels, height, width = picture.shape
    n = torch.arange(8, device=picture.device, dtype=torch.float32)
    basis = torch.cos((2 * n + 1) * n[:, None] * math.pi / 16) * math.sqrt(2 / 8)
    basis[0] /= math.sqrt(2)
    both = torch.kron(basis, basis)  # rows and columns at once: one large product, not many small
    blocks = picture.reshape(count, channels, height // 8, 8, width // 8, 8)
    blocks = blocks.permute(0, 1, 2, 4, 3, 5).reshape(count, -1, 64)
    both = both.to(picture.dtype)
    step = (0.01 + 0.012 * (n[:, None] + n)).reshape(64).to(picture.dtype)
    step = step * dice.uniform(count, 1, 1, low=0.2, high=4.0)
    quantised = ((blocks @ both.T) / step).round() * step
    result = (quantised @ both).reshape(count, channels, height // 8, width // 8, 8, 8)
    result = result.permute(0, 1, 2, 4, 3, 5).reshape(picture.shape)
    return torch.where(dice.happens(0.5, count, 1, 1, 1), result, picture)
