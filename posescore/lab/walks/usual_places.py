"""Where a hidden keypoint would usually be, told from those that are seen.

An estimator that cannot see a limb puts it where limbs usually are, given the rest of the pair: its
errors on hidden keypoints point there. On eleven rendered films of training walks they went about a
third of that way. The guess is learned by :mod:`posescore.lab.films.fit_usual_places`.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.terms import N_KEYPOINTS

FILE: Final = Path(__file__).with_name("usual_places.npz")
PAIR: Final = 2 * N_KEYPOINTS
Floats = NDArray[np.float32]
Mask = NDArray[np.bool_]


@lru_cache(maxsize=1)
def _weights() -> list[Floats]:
    with np.load(FILE) as stored:
        return [stored[f"w{k}"].astype(np.float32) for k in range(6)]


def usual_places(true_px: Floats, visible: Mask) -> Floats:
    """Where each keypoint would be guessed from the visible ones, ``(n, 2, 21, 2)`` pixels.

    Parameters
    ----------
    true_px
        ``(n, 2, 21, 2)`` float32.
    visible
        ``(n, 2, 21)``; what is not visible is not looked at.
    """
    points, seen, centre, size = normalised(true_px, visible)
    x = np.concatenate([(points * seen[..., None]).reshape(len(points), -1), seen], 1)
    w = _weights()
    x = np.maximum(x @ w[0].T + w[1], 0)
    x = np.maximum(x @ w[2].T + w[3], 0)
    guess = (x @ w[4].T + w[5]).reshape(-1, PAIR, 2)
    return np.asarray((guess * size + centre).reshape(true_px.shape), np.float32)


def normalised(px: Floats, visible: Mask) -> tuple[Floats, Floats, Floats, Floats]:
    """Pairs ``(n, 42, 2)`` about the middle of what is seen, in its spread; seen; both of these."""
    points = px.reshape(len(px), PAIR, 2).astype(np.float32)
    seen = visible.reshape(len(px), PAIR).astype(np.float32)
    weight = seen[..., None] / np.maximum(seen.sum(1), 1)[:, None, None]
    centre = (points * weight).sum(1, keepdims=True)
    spread = ((points - centre) ** 2 * weight).sum((1, 2), keepdims=True)
    size = np.sqrt(spread).astype(np.float32) + 1e-3
    return (points - centre) / size, seen, centre, size
