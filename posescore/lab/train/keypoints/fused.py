"""A network's many small operations in few passes over memory, on a GPU that has Triton.

A bias, a bend and their gradients cost as much as the convolution between them when each is a
kernel of its own; here each group is one. Nothing is fused until :func:`use` names what; what is
not fused, or runs on a processor, runs as plain torch with the same result.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import Any, Final

import torch
from torch import Tensor, nn
from torch.nn import functional

PARTS: Final = ("bend", "heat")
"""What can be fused: bias and bend with their gradients; what the loss reads of a heat map."""

STRAIGHT, RELU, RELU6 = 0, 1, 2

_ROWS, _CHANNELS = 64, 64
_CHUNKS: Final = 256

_on: set[str] = set()


def use(parts: Iterable[str]) -> None:
    """Fuse these parts from now on, and no others.

    Raises
    ------
    ImportError
        When a part is named and Triton is not installed.
    """
    chosen = set(parts) & set(PARTS)
    if chosen:
        _kernels()
    _on.clear()
    _on.update(chosen)


@contextmanager
def plain() -> Iterator[None]:
    """Fuse nothing meanwhile."""
    before = set(_on)
    _on.clear()
    try:
        yield
    finally:
        _on.update(before)


def is_fused(part: str, x: Tensor) -> bool:
    """Whether a part runs fused on such a tensor."""
    able = x.is_cuda or os.environ.get("TRITON_INTERPRET") == "1"
    return part in _on and able and x.numel() < 2**31


def _kernels() -> ModuleType:
    from posescore.lab.train.keypoints import fused_kernels

    return fused_kernels


def convolved(
    layer: nn.Conv2d, x: Tensor, kind: int = STRAIGHT, rest: Tensor | None = None
) -> Tensor:
    """Convolve, add ``rest``, and bend."""
    if layer.bias is not None and is_fused("bend", x):
        if layer.stride[0] > 1:
            x = functional.pad(x, (0, 1, 0, 1))
        y = functional.conv2d(x, layer.weight, None, layer.stride, layer.padding, 1, layer.groups)
        return bent(y, layer.bias, kind, rest)
    y = layer(x)
    return straight_bend(y if rest is None else rest + y, kind)


def straight_bend(y: Tensor, kind: int) -> Tensor:
    """The bend as plain torch."""
    if kind == RELU6:
        return functional.relu6(y)
    return functional.relu(y) if kind == RELU else y


def bent(y: Tensor, bias: Tensor, kind: int, rest: Tensor | None = None) -> Tensor:
    """Add a bias to each channel of ``y (n, c, h, w)``, add ``rest``, bend: in place."""
    result: Tensor = _Bend.apply(_laid(y), bias, rest, kind)  # type: ignore[no-untyped-call]
    return result


def _grid(rows: int, channels: int) -> tuple[int, int]:
    return -(-rows // _ROWS), -(-channels // _CHANNELS)


def _sized(x: Tensor) -> tuple[int, int]:
    return x.numel() // x.shape[1], x.shape[1]


def _laid(x: Tensor) -> Tensor:
    return x.contiguous(memory_format=torch.channels_last)


def _unbent(g: Tensor, y: Tensor, kind: int) -> tuple[Tensor, Tensor]:
    """Gradients before the bend, and the bias's."""
    g = _laid(g)
    rows, channels = _sized(g)
    kept = torch.empty_like(g) if kind else g
    each = _ROWS * max(1, -(-rows // (_CHUNKS * _ROWS)))
    chunks = -(-rows // each)
    partial = torch.empty(chunks, channels, device=g.device)
    grid = (chunks, -(-channels // _CHANNELS))
    _kernels().unbend[grid](
        g, y, kept, partial, rows, channels, each, KIND=kind, R=_ROWS, C=_CHANNELS
    )
    return kept, partial.sum(0)


class _Bend(torch.autograd.Function):
    @staticmethod
    def forward(ctx: Any, y: Tensor, bias: Tensor, rest: Tensor | None, kind: int) -> Tensor:
        rows, channels = _sized(y)
        other = y if rest is None else _laid(rest)
        _kernels().bend[_grid(rows, channels)](
            y, bias, other, rows, channels,
            KIND=kind, ADDS=rest is not None, R=_ROWS, C=_CHANNELS,
        )  # fmt: skip
        ctx.mark_dirty(y)
        ctx.kind, ctx.adds, ctx.bias_type = kind, rest is not None, bias.dtype
        ctx.save_for_backward(y)
        return y

    @staticmethod
    def backward(ctx: Any, g: Tensor) -> tuple[Tensor | None, ...]:  # type: ignore[override]
        (y,) = ctx.saved_tensors
        kept, bias = _unbent(g, y, ctx.kind)
        return kept, bias.to(ctx.bias_type), kept if ctx.adds else None, None


class _Heat(torch.autograd.Function):
    @staticmethod
    def forward(
        ctx: Any, heat: Tensor, points_px: Tensor, step: float, spreads: tuple[float, float],
        n_face: int,
    ) -> tuple[Tensor, Tensor, Tensor]:  # fmt: skip
        heat, points_px = heat.contiguous(), points_px.float().contiguous()
        n, _, keypoints, cells = heat.shape
        side = round(cells**0.5)
        said = torch.empty(n, 2, keypoints, 8, device=heat.device)
        ctx.numbers = (step, *spreads)
        ctx.constants = {"CELLS": side, "KEYPOINTS": keypoints, "FACE": n_face}
        _kernels().heat_terms[(n * 2 * keypoints,)](
            heat, points_px, said, *ctx.numbers, **ctx.constants
        )
        ctx.save_for_backward(heat, points_px, said)
        place = said[..., 5:7]
        ctx.mark_non_differentiable(place)
        return said[..., 0], said[..., 1:3], place

    @staticmethod
    def backward(ctx: Any, log: Tensor, hit: Tensor, _: Tensor) -> tuple[Tensor | None, ...]:  # type: ignore[override]
        heat, points_px, said = ctx.saved_tensors
        wanted = torch.cat([log[..., None], hit], -1).float().contiguous()
        out = torch.empty_like(heat)
        _kernels().heat_gradient[(said.numel() // 8,)](
            heat, points_px, said, wanted, out, *ctx.numbers, **ctx.constants
        )
        return out, None, None, None, None


def heat_terms(
    heat: Tensor, points_px: Tensor, step: float, spreads: tuple[float, float], n_face: int
) -> tuple[Tensor, Tensor, Tensor]:
    """What the loss reads of heat maps, in one pass.

    Parameters
    ----------
    heat
        ``(n, 2, k, cells * cells)`` logits.
    points_px
        ``(n, 2, k, 2)`` true places.
    step
        Pixels a cell.
    spreads
        Twice the variance of a target in px2, of the first ``n_face`` keypoints and of the rest.

    Returns
    -------
    ``(n, 2, k)`` logarithm of the sum of exponentials; ``(n, 2, k, 2)`` mean logit over each true
    athlete's target; ``(n, 2, k, 2)`` place read off in pixels, without gradient.
    """
    result: tuple[Tensor, Tensor, Tensor] = _Heat.apply(  # type: ignore[no-untyped-call]
        heat, points_px, step, spreads, n_face
    )
    return result
