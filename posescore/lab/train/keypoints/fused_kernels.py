# mypy: ignore-errors
# ruff: noqa: N803
"""The kernels behind :mod:`pair_network.fused`, in Triton. A map is rows of channels.

``kind`` is 0 for no bend, 1 for what is positive, 2 for what is positive and at most 6.
"""

from __future__ import annotations

import triton
import triton.language as tl


@triton.jit
def bend(y, bias, rest, rows, channels, KIND: tl.constexpr, ADDS: tl.constexpr,
         R: tl.constexpr, C: tl.constexpr):  # fmt: skip
    """Add a bias, and ``rest`` where ``ADDS``, and bend: in place."""
    r = tl.program_id(0) * R + tl.arange(0, R)
    c = tl.program_id(1) * C + tl.arange(0, C)
    inside = (r < rows)[:, None] & (c < channels)[None, :]
    at = r[:, None] * channels + c[None, :]
    value = tl.load(y + at, mask=inside, other=0.0).to(tl.float32)
    value += tl.load(bias + c, mask=c < channels, other=0.0).to(tl.float32)[None, :]
    if ADDS:
        value += tl.load(rest + at, mask=inside, other=0.0).to(tl.float32)
    if KIND > 0:
        value = tl.maximum(value, 0.0)
    if KIND > 1:
        value = tl.minimum(value, 6.0)
    tl.store(y + at, value.to(y.dtype.element_ty), mask=inside)


@triton.jit
def unbend(g, y, kept, partial, rows, channels, each, KIND: tl.constexpr,
           R: tl.constexpr, C: tl.constexpr):  # fmt: skip
    """Keep gradients where the output was not bent, and sum them over ``each`` rows."""
    chunk = tl.program_id(0)
    c = tl.program_id(1) * C + tl.arange(0, C)
    total = tl.zeros((C,), tl.float32)
    for start in range(0, each, R):
        r = chunk * each + start + tl.arange(0, R)
        inside = (r < rows)[:, None] & (c < channels)[None, :]
        at = r[:, None] * channels + c[None, :]
        value = tl.load(g + at, mask=inside, other=0.0).to(tl.float32)
        if KIND > 0:
            out = tl.load(y + at, mask=inside, other=0.0).to(tl.float32)
            open_ = out > 0.0
            if KIND > 1:
                open_ = open_ & (out < 6.0)
            value = tl.where(open_, value, 0.0)
            tl.store(kept + at, value.to(kept.dtype.element_ty), mask=inside)
        total += tl.sum(value, 0)
    tl.store(partial + chunk * channels + c, total, mask=c < channels)


@triton.jit
def _bump(points, row, x, y, step, narrow, broad, KEYPOINTS: tl.constexpr, FACE: tl.constexpr,
          ATHLETE: tl.constexpr):  # fmt: skip
    k = row % KEYPOINTS
    picture = row // (2 * KEYPOINTS)
    at = points + ((picture * 2 + ATHLETE) * KEYPOINTS + k) * 2
    spread = tl.where(k < FACE, narrow, broad)
    dx = tl.load(at) - (x + 0.5) * step
    dy = tl.load(at + 1) - (y + 0.5) * step
    return tl.exp(-(dx * dx) / spread) * tl.exp(-(dy * dy) / spread)


@triton.jit
def heat_terms(heat, points, said, step, narrow, broad, CELLS: tl.constexpr,
               KEYPOINTS: tl.constexpr, FACE: tl.constexpr):  # fmt: skip
    """Of one map: log of the sum, hits of both athletes, their bumps' sums, the place read off.

    ``said`` lies ``(rows, 8)``: log-sum, hit, hit, sum, sum, x, y, nothing.
    """
    row = tl.program_id(0)
    cell = tl.arange(0, CELLS * CELLS)
    x = cell % CELLS
    y = cell // CELLS
    value = tl.load(heat + row * CELLS * CELLS + cell).to(tl.float32)
    most = tl.max(value, 0)
    peak = tl.argmax(value, 0)
    raised = tl.exp(value - most)
    out = said + row * 8
    tl.store(out, most + tl.log(tl.sum(raised, 0)))
    first = _bump(points, row, x, y, step, narrow, broad, KEYPOINTS, FACE, 0)
    mass = tl.maximum(tl.sum(first, 0), 1e-6)
    tl.store(out + 1, tl.sum(value * first, 0) / mass)
    tl.store(out + 3, mass)
    second = _bump(points, row, x, y, step, narrow, broad, KEYPOINTS, FACE, 1)
    mass = tl.maximum(tl.sum(second, 0), 1e-6)
    tl.store(out + 2, tl.sum(value * second, 0) / mass)
    tl.store(out + 4, mass)
    dx = x - peak % CELLS
    dy = y - peak // CELLS
    near = tl.where((dx >= -2) & (dx <= 2) & (dy >= -2) & (dy <= 2), raised, 0.0)
    mass = tl.sum(near, 0)
    tl.store(out + 5, (tl.sum(near * x, 0) / mass + 0.5) * step)
    tl.store(out + 6, (tl.sum(near * y, 0) / mass + 0.5) * step)


@triton.jit
def heat_gradient(heat, points, said, wanted, out, step, narrow, broad, CELLS: tl.constexpr,
                  KEYPOINTS: tl.constexpr, FACE: tl.constexpr):  # fmt: skip
    """The gradient of one map; ``wanted (rows, 3)`` are those of its log-sum and both hits."""
    row = tl.program_id(0)
    cell = tl.arange(0, CELLS * CELLS)
    x = cell % CELLS
    y = cell // CELLS
    value = tl.load(heat + row * CELLS * CELLS + cell).to(tl.float32)
    own = said + row * 8
    result = tl.load(wanted + row * 3) * tl.exp(value - tl.load(own))
    first = _bump(points, row, x, y, step, narrow, broad, KEYPOINTS, FACE, 0)
    result += tl.load(wanted + row * 3 + 1) / tl.load(own + 3) * first
    second = _bump(points, row, x, y, step, narrow, broad, KEYPOINTS, FACE, 1)
    result += tl.load(wanted + row * 3 + 2) / tl.load(own + 4) * second
    tl.store(out + row * CELLS * CELLS + cell, result.to(out.dtype.element_ty))
