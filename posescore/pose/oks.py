"""Object keypoint similarity: how well found keypoints fit true ones, as COCO defines it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

_FACE = (0.026, 0.025, 0.025, 0.035, 0.035)
_ARMS = (0.079, 0.079, 0.072, 0.072, 0.062, 0.062)
_LEGS = (0.107, 0.107, 0.087, 0.087, 0.089, 0.089)
COCO_SIGMAS: Final[NDArray[np.float64]] = np.array([*_FACE, *_ARMS, *_LEGS])
"""``(17,)``: standard deviation of each keypoint between people who mark it, over the
root of the area, published with COCO."""

SIGMAS: Final[NDArray[np.float64]] = np.concatenate([COCO_SIGMAS, np.full(4, 0.089)])
"""``(21,)``: COCO's, and for heels and toes COCO's value of the ankle."""

BODY_FRACTION_OF_BOX: Final = 0.53
"""Part of a box of keypoints that a body covers: the usual stand-in where a file has no area."""


def keypoint_box_px(keypoints_px: NDArray[np.floating]) -> tuple[float, float, float, float]:
    """``(x, y, width, height)`` of the keypoints ``(n, 2)`` that are not NaN; zeros for none."""
    known = keypoints_px[np.isfinite(keypoints_px).all(axis=-1)]
    if not len(known):
        return 0.0, 0.0, 0.0, 0.0
    low, high = known.min(axis=0), known.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1])


def area_px2(keypoints_px: NDArray[np.floating]) -> float:
    """Area of a body guessed from the box around its keypoints ``(n, 2)``, square pixels.

    At least 1; keypoints that are NaN are left out.
    """
    _, _, width, height = keypoint_box_px(keypoints_px)
    return max(1.0, width * height * BODY_FRACTION_OF_BOX)


def oks(
    true_px: NDArray[np.floating],
    found_px: NDArray[np.floating],
    area: float,
    sigmas: NDArray[np.float64] | None = None,
) -> float:
    """Object keypoint similarity in [0, 1].

    Parameters
    ----------
    true_px
        ``(n, 2)`` true keypoints; those that are NaN do not count.
    found_px
        ``(n, 2)`` found keypoints; a NaN where the truth is known counts as similarity 0.
    area
        Area of the true body, square pixels.
    sigmas
        ``(n,)``; COCO's for 17, ours for 21 keypoints when not given.

    Notes
    -----
    ``mean over known keypoints of exp(-d**2 / (2 * area * (2 * sigma)**2))``, the definition on
    COCO's keypoint evaluation page. NaN when no true keypoint is known.
    """
    sigma = SIGMAS[: len(true_px)] if sigmas is None else sigmas
    known = np.isfinite(true_px).all(axis=-1)
    if not known.any():
        return float("nan")
    squared = ((found_px - true_px).astype(np.float64) ** 2).sum(axis=-1)
    with np.errstate(invalid="ignore"):
        fit = np.exp(-squared / (2 * area * (2 * sigma) ** 2))
    return float(np.where(np.isfinite(fit), fit, 0.0)[known].mean())
