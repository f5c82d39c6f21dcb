"""A plain hall: two-coloured mat, wooden floor, walls, benches and boards. No writing, no logos."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

MAT_HALF_M: Final = (5.0, 5.0)
"""Half the mat's size; the outer two metres have another colour."""

CELL_M: Final = 0.06
"""Cells of the mat about the middle: fine enough for the soft shade under a body."""

Corner = tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """Triangles with one row per corner: place, normal and linear colour, ``(n, 9)`` float32."""

    corners: NDArray[np.float32]


def _quad(a: Corner, b: Corner, c: Corner, d: Corner, colour: Corner) -> NDArray[np.float32]:
    points = np.array([a, b, c, a, c, d], float)
    normal = np.cross(np.subtract(b, a), np.subtract(d, a))
    normal /= np.linalg.norm(normal)
    row = np.concatenate((normal, colour))
    return np.hstack((points, np.tile(row, (6, 1)))).astype(np.float32)


def _box(low: Corner, high: Corner, colour: Corner) -> NDArray[np.float32]:
    x, y, z = low
    u, v, w = high
    return np.concatenate(
        (
            _quad((x, y, w), (u, y, w), (u, v, w), (x, v, w), colour),
            _quad((x, y, z), (u, y, z), (u, y, w), (x, y, w), colour),
            _quad((u, v, z), (x, v, z), (x, v, w), (u, v, w), colour),
            _quad((u, y, z), (u, v, z), (u, v, w), (u, y, w), colour),
            _quad((x, v, z), (x, y, z), (x, y, w), (x, v, w), colour),
        )
    )


def mat() -> Surface:
    """The mat, its top at height 0."""
    x, y = MAT_HALF_M
    grey = (0.3, 0.3, 0.3)
    xs = np.unique(np.concatenate((np.linspace(-x, x, 11), np.arange(-2.4, 2.41, CELL_M))))
    ys = np.unique(np.concatenate((np.linspace(-y, y, 11), np.arange(-2.4, 2.41, CELL_M))))
    cells = [
        _quad((a, c, 0), (b, c, 0), (b, d, 0), (a, d, 0), grey)
        for a, b in pairwise(xs.tolist())
        for c, d in pairwise(ys.tolist())
    ]
    return Surface(np.concatenate(cells))


@dataclass(frozen=True, slots=True)
class Look:
    """How a hall looks; the defaults are the sample match's.

    ``inner`` and ``outer`` are the mat's linear colours, ``tint`` multiplies all others'.
    ``light_way`` points to the light. ``all_walls``: cameras may look any way.
    """

    inner: Corner = (0.20, 0.335, 0.30)
    outer: Corner = (0.62, 0.43, 0.16)
    tint: Corner = (1.0, 1.0, 1.0)
    light_way: Corner = (-0.42, -0.55, 1.0)
    all_walls: bool = False


SAMPLE_LOOK: Final = Look()
"""The sample match's."""


def tinted(surface: Surface, tint: Corner) -> Surface:
    """A surface whose colours are multiplied by a colour."""
    factor = np.concatenate((np.ones(6), tint)).astype(np.float32)
    return Surface(surface.corners * factor)


def hall(look: Look = SAMPLE_LOOK) -> Surface:
    """Everything about the mat."""
    wood, cream, panel = (0.36, 0.23, 0.13), (0.58, 0.55, 0.48), (0.30, 0.20, 0.12)
    floor, dark = -0.04, (0.10, 0.11, 0.13)
    parts = [
        _quad((-14, -12, floor), (14, -12, floor), (14, 11, floor), (-14, 11, floor), wood),
        _quad((-14, 11, floor), (14, 11, floor), (14, 11, 6), (-14, 11, 6), cream),
        _quad((-14, -12, floor), (-14, 11, floor), (-14, 11, 6), (-14, -12, 6), cream),
        _quad((14, 11, floor), (14, -12, floor), (14, -12, 6), (14, 11, 6), cream),
        _box((-14, 10.9, floor), (14, 10.97, 1.25), panel),
        _box((-13.97, -12, floor), (-13.9, 11, 1.25), panel),
        _box((13.9, -12, floor), (13.97, 11, 1.25), panel),
    ]
    for x in np.arange(-11, 12, 4.4):
        parts.append(_box((x, 10.92, 2.3), (x + 2.6, 10.98, 4.6), (0.80, 0.86, 0.92)))
        parts.append(_box((x + 1.26, 10.88, 2.3), (x + 1.34, 10.99, 4.6), cream))
    for x in (-8.4, -4.4, 1.2, 5.2):
        parts.append(_box((x, 8.2, 0.38), (x + 3.2, 8.6, 0.46), (0.45, 0.31, 0.18)))
        for leg in (0.15, 2.95):
            parts.append(_box((x + leg, 8.25, floor), (x + leg + 0.08, 8.55, 0.38), dark))
    for x in (-6.5, -2.2, 2.1):
        parts.append(_box((x, 7.2, floor), (x + 2.0, 7.28, 0.62), (0.16, 0.20, 0.27)))
    parts.append(_box((6.6, 6.6, 0.68), (8.6, 7.3, 0.74), (0.5, 0.48, 0.45)))
    for x, y in ((6.7, 6.7), (8.4, 6.7), (6.7, 7.15), (8.4, 7.15)):
        parts.append(_box((x, y, floor), (x + 0.06, y + 0.06, 0.68), dark))
    if look.all_walls:
        parts.append(_quad((14, -12, floor), (-14, -12, floor), (-14, -12, 6), (14, -12, 6), cream))
        parts.append(_box((-14, -11.97, floor), (14, -11.9, 1.25), panel))
    return tinted(Surface(np.concatenate(parts)), look.tint)
