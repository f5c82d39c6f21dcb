"""Where keypoints are, of heat maps: the place that is expected to score best.

A heat map says how probable each cell is. Object keypoint similarity forgives a distance by a bell
curve, wide for a hip of a large athlete, narrow for an eye. So the similarity that a place may
expect is the map under that curve, and the best place is the peak of the map blurred by it: not
always the likeliest cell, which may stand alone beside a broad hill.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.oks import SIGMAS
from posescore.terms import N_KEYPOINTS

CELLS: Final = 64

_BODY_OVER_PEAKS: Final = 1.15
"""Size of a body over that of the box around its keypoints, which lie inside it."""

_SMALLEST_CURVE_CELLS: Final = 0.7
"""A curve narrower than this would fall between cells."""

_SIGMAS, _SIGMA_OF = np.unique(SIGMAS, return_inverse=True)
"""COCO's sigmas, each once (left and right share theirs), and which one a keypoint has."""

_STEPS: Final = 2
"""Steps of the mean-shift climb from the best cell to the peak; three moved nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class HeatMaps:
    """Maps of one read, and where its cells lie.

    Parameters
    ----------
    probability
        ``(2, 21, 64, 64)`` float32, rows down, not negative; each map is summed to about 1.
    x_px, y_px
        ``(64,)`` float32: middles of columns and rows, pixels of whatever all reads share; cells
        are square.
    """

    probability: NDArray[np.float32]
    x_px: NDArray[np.float32]
    y_px: NDArray[np.float32]

    def peaks_px(self) -> NDArray[np.float32]:
        """``(2, 21, 2)`` float32, as ``x_px``: the middle of each map's likeliest cell."""
        peak = self.probability.reshape(2, N_KEYPOINTS, -1).argmax(axis=-1)
        return np.stack([self.x_px[peak % CELLS], self.y_px[peak // CELLS]], axis=-1)


def probabilities(heat: NDArray[np.float32]) -> NDArray[np.float32]:
    """Probabilities ``(2, 21, 64, 64)`` float32 of logits ``(2, 21, 4096)`` (softmax)."""
    flat = heat.reshape(2, N_KEYPOINTS, CELLS * CELLS)
    weight = np.exp(flat - flat.max(axis=-1, keepdims=True))
    weight /= weight.sum(axis=-1, keepdims=True)
    return np.asarray(weight.reshape(2, N_KEYPOINTS, CELLS, CELLS), np.float32)


def body_size_px(keypoints_px: NDArray[np.floating]) -> NDArray[np.float32]:
    """``(2,)`` float32: root of half of each body's box, guessed from keypoints ``(2, 21, 2)``.

    No keypoint may be NaN.
    """
    extent = keypoints_px.max(axis=1) - keypoints_px.min(axis=1)
    return np.asarray(_BODY_OVER_PEAKS * np.sqrt(extent.prod(axis=-1) / 2), np.float32)


def best_places(
    reads: Sequence[HeatMaps], weight: NDArray[np.floating], size_px: NDArray[np.floating]
) -> NDArray[np.float32]:
    """Where the expected similarity is highest, by all reads together.

    Parameters
    ----------
    reads
        One read or several, slots matched; places are looked for in the first one's square.
    weight
        ``(n_reads, 2, 21)``: how much each map counts.
    size_px
        ``(2,)``: each athlete's size, the root of the body's area.

    Returns
    -------
    numpy.ndarray
        ``(2, 21, 2)`` float32 in the pixels of ``x_px`` and ``y_px``.

    Notes
    -----
    The curve is COCO's ``exp(-d**2 / (2 * area * (2 * sigma)**2))``; nothing in it was fitted.
    """
    first = reads[0]
    cell_px = abs(float(first.x_px[1] - first.x_px[0]))
    wide = 2 * _SIGMAS * np.asarray(size_px)[:, None]
    curve = np.maximum(wide, _SMALLEST_CURVE_CELLS * cell_px).astype(np.float32)[..., None]
    total = np.zeros_like(first.probability)
    for read, weights in zip(reads, weight, strict=True):
        down = _curves(first.y_px, read.y_px, curve)
        across = down if read is first else _curves(first.x_px, read.x_px, curve)
        # A curve in x times one in y: two small products of matrices for each map.
        blurred = down @ read.probability @ across.swapaxes(-1, -2)
        blurred *= weights.astype(np.float32)[..., None, None]
        total += blurred
    curve = curve[:, _SIGMA_OF]
    best = total.reshape(2, N_KEYPOINTS, -1).argmax(axis=-1)
    place = np.stack([first.x_px[best % CELLS], first.y_px[best // CELLS]], axis=-1)
    for _ in range(_STEPS):
        place = _climbed(place, reads, weight.astype(np.float32), curve)
    return place


def _curves(
    at_px: NDArray[np.float32], cells_px: NDArray[np.float32], curve_px: NDArray[np.float32]
) -> NDArray[np.float32]:
    """``(2, 21, len(at), 64)``: how much a cell's similarity counts at each place of one axis.

    ``curve_px (2, n, 1)`` has one width for each of :data:`_SIGMAS`.
    """
    apart = at_px[:, None] - cells_px
    curves = np.exp(-(apart**2) / (2 * curve_px[..., None] ** 2))
    return np.asarray(curves[:, _SIGMA_OF], np.float32)


def _climbed(
    place: NDArray[np.float32],
    reads: Sequence[HeatMaps],
    weight: NDArray[np.float32],
    curve_px: NDArray[np.float32],
) -> NDArray[np.float32]:
    """One step uphill: to the mean of the maps under the curve around each place."""
    pull, mass = np.zeros_like(place), np.zeros(place.shape[:-1], np.float32)
    for read, weights in zip(reads, weight, strict=True):
        near_x = np.exp(-((read.x_px - place[..., :1]) ** 2) / (2 * curve_px**2))
        near_y = np.exp(-((read.y_px - place[..., 1:]) ** 2) / (2 * curve_px**2))
        columns = (near_y[..., None, :] @ read.probability)[..., 0, :] * near_x
        rows = (read.probability @ near_x[..., None])[..., 0] * near_y
        pull += weights[..., None] * np.stack([columns @ read.x_px, rows @ read.y_px], axis=-1)
        mass += weights * columns.sum(axis=-1)
    return np.asarray(pull / np.maximum(mass, 1e-12)[..., None], np.float32)
