"""Figures of the pose pass's errors: size, persistence, what is missing, what is exchanged.

Lengths are shares of the pair's longer side. The same figures are taken of filmed and of simulated
tracks, so that the one can be fitted to, and checked against, the other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.poses3d.estimator_errors import ARMS, LEGS
from posescore.lab.films.recorded import FRAMES_PER_S, Recorded
from posescore.terms import MIRRORED_KEYPOINTS, N_KEYPOINTS

LAGS_S: Final = (0.1, 0.3, 1.0, 3.0)
WRONG: Final = 0.10
"""An error beyond this share of the pair's size is no noise: the keypoint lies elsewhere."""
CLIPPED: Final = 0.15
ERROR_BINS: Final = {"right": (0.0, 0.02), "off": (0.05, 0.1), "wrong": (0.15, np.inf)}
_NEARER: Final = 0.5
"""Something else explains a wrong place when it is nearer than this share of the error."""
_APART: Final = 0.06
"""Sides must lie this far apart for an exchange to be told."""
_SHORTEST_S: Final = 0.1
_VISIBLE: Final = {"seen": True, "hidden": False}
Mask = NDArray[np.bool_]


def stretches(mask: Mask) -> Iterator[tuple[int, int]]:
    """Begin and end of every run of True in ``(n,)``, those of :data:`_SHORTEST_S` and longer."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    for begun, ended in zip(edges[::2], edges[1::2], strict=True):
        if ended - begun >= _SHORTEST_S * FRAMES_PER_S:
            yield int(begun), int(ended)


class FilmErrors:
    """One recording taken apart: exchanges, wrong places, what is missing.

    ``error (n, 2, 21, 2)`` is read minus true in shares of size, ``far (n, 2, 21)`` its length;
    ``slots (n,)`` both athletes exchanged; ``sides[part] (n, 2)`` limbs of a part exchanged;
    ``wrong (n, 2, 21)`` elsewhere though not exchanged.
    """

    def __init__(self, film: Recorded) -> None:
        size = film.size_px[:, None, None]
        self.film = film
        self.missing = ~np.isfinite(film.read_px[..., 0])
        self.error = (film.read_px - film.true_px) / size[..., None]
        self.far = np.linalg.norm(self.error, axis=-1)
        swapped = np.linalg.norm(film.read_px - film.true_px[:, ::-1], axis=-1) / size
        with np.errstate(invalid="ignore"):
            own, other = (_mean(each, (1, 2)) for each in (self.far, swapped))
            self.slots = (other < _NEARER * own) & (own > _APART)
            mirror = list(MIRRORED_KEYPOINTS)
            to_mirror = np.linalg.norm(film.read_px - film.true_px[:, :, mirror], axis=-1) / size
            self.sides = {
                name: self._exchanged(to_mirror, list(part))
                for name, part in (("legs", LEGS), ("arms", ARMS))
            }
            self.wrong = self.far > WRONG
            self.wrong[self.slots] = False
            for name, part in (("legs", LEGS), ("arms", ARMS)):
                for k in part:
                    self.wrong[..., k] &= ~self.sides[name]
            self.opponent = self.wrong & (swapped < _NEARER * self.far)
            self.mirrored = self.wrong & ~self.opponent & (to_mirror < _NEARER * self.far)

    def _exchanged(self, to_mirror: NDArray[np.float32], part: list[int]) -> Mask:
        own, other = _mean(self.far[..., part], 2), _mean(to_mirror[..., part], 2)
        return (other < _NEARER * own) & (own > _APART) & ~self.slots[:, None]


def _mean(values: NDArray[np.float32], axis: int | tuple[int, ...]) -> NDArray[np.float32]:
    known = np.isfinite(values)
    total = np.where(known, values, 0).sum(axis)
    return np.asarray(total / np.maximum(known.sum(axis), 1), np.float32)


def _rate_and_length(masks: Sequence[tuple[Mask, Mask]]) -> tuple[float, float]:
    """Stretches a second of what they may begin in, and their mean length in seconds."""
    count, length, room = 0, 0, 0
    for mask, may_begin in masks:
        room += int(may_begin.sum())
        for begun, ended in stretches(mask):
            if may_begin[begun]:
                count, length = count + 1, length + ended - begun
    return count / max(room, 1) * FRAMES_PER_S, length / max(count, 1) / FRAMES_PER_S


def correlation(films: Sequence[FilmErrors], lag_s: float, visible: bool | None = None) -> float:
    """Correlation of the errors with themselves a while later.

    Errors beyond :data:`CLIPPED` count as that large, so that the largest do not decide alone.
    """
    lag = round(lag_s * FRAMES_PER_S)
    product, square = 0.0, 0.0
    for film in films:
        kept = ~film.missing if visible is None else ~film.missing & (film.film.visible == visible)
        both = kept[lag:] & kept[:-lag]
        shrunk = film.error * np.minimum(1.0, CLIPPED / np.maximum(film.far, 1e-9))[..., None]
        a, b = shrunk[lag:][both], shrunk[:-lag][both]
        product += float((a * b).sum())
        square += float(((a * a).sum() + (b * b).sum()) / 2)
    return product / max(square, 1e-12)


def _off(films: Sequence[FilmErrors], visible: bool) -> list[float]:
    rows = [f.far[(f.film.visible == visible) & ~f.missing] for f in films]
    return [float(v) for v in np.percentile(np.concatenate(rows), (50, 75, 90, 95))]


def _columns(masks: NDArray[np.bool_], may: NDArray[np.bool_]) -> list[tuple[Mask, Mask]]:
    flat, room = masks.reshape(len(masks), -1), may.reshape(len(may), -1)
    return [(flat[:, k], room[:, k]) for k in range(flat.shape[1])]


def figures_of(films: Sequence[FilmErrors]) -> dict[str, float]:
    """All figures, by name."""
    return {
        **_sizes_and_persistence(films),
        **_wrong_and_missing(films),
        **_exchanges(films),
        **_confidence(films),
    }


def _sizes_and_persistence(films: Sequence[FilmErrors]) -> dict[str, float]:
    found: dict[str, float] = {}
    for name, visible in _VISIBLE.items():
        for share, part in zip((50, 75, 90, 95), _off(films, visible), strict=True):
            found[f"error_{name}_{share}"] = part
        for lag in LAGS_S:
            found[f"correlation_{name}_{lag:g}_s"] = correlation(films, lag, visible)
    return found


def _wrong_and_missing(films: Sequence[FilmErrors]) -> dict[str, float]:
    found: dict[str, float] = {}
    for name, visible in _VISIBLE.items():
        there = [f.film.visible == visible for f in films]
        alone = [f.missing & ~f.missing.all(2, keepdims=True) for f in films]
        for kind, masks in (("wrong", [f.wrong for f in films]), ("missing", alone)):
            rows = [c for m, t in zip(masks, there, strict=True) for c in _columns(m, t)]
            found[f"{kind}_per_s_{name}"], found[f"{kind}_length_{name}_s"] = _rate_and_length(rows)
        elsewhere = [f.opponent | f.mirrored for f in films]
        found[f"wrong_share_{name}"] = _share([f.wrong for f in films], there)
        found[f"elsewhere_share_{name}"] = _share(elsewhere, there)
    for kind in ("opponent", "mirrored"):
        masks = [getattr(f, kind) for f in films]
        found[f"wrong_{kind}"] = _share(masks, [f.wrong for f in films])
    return found


def _exchanges(films: Sequence[FilmErrors]) -> dict[str, float]:
    masks = {
        "legs_swapped": [f.sides["legs"] for f in films],
        "arms_swapped": [f.sides["arms"] for f in films],
        "athlete_missing": [np.asarray(f.missing.all(2)) for f in films],
        "slots_swapped": [f.slots[:, None] for f in films],
    }
    found: dict[str, float] = {}
    for name, each in masks.items():
        rows = [c for mask in each for c in _columns(mask, np.ones_like(mask))]
        found[f"{name}_per_s"], found[f"{name}_length_s"] = _rate_and_length(rows)
    return found


def _share(masks: Sequence[Mask], rooms: Sequence[Mask]) -> float:
    inside = sum(int((m & r).sum()) for m, r in zip(masks, rooms, strict=True))
    return inside / max(1, sum(int(r.sum()) for r in rooms))


def _confidence(films: Sequence[FilmErrors]) -> dict[str, float]:
    """Mean confidence of seen and hidden keypoints, near and far from the truth."""
    found = {}
    for name, visible in _VISIBLE.items():
        for how, (low, high) in ERROR_BINS.items():
            parts = [
                f.film.confidence[
                    (f.far >= low) & (f.far < high) & (f.film.visible == visible) & ~f.missing
                ]
                for f in films
            ]
            values = np.concatenate(parts)
            found[f"confidence_{name}_{how}"] = float(values.mean()) if len(values) else np.nan
    return found


def by_keypoint(films: Sequence[FilmErrors], visible: bool) -> NDArray[np.float64]:
    """``(21, 2)``: median and 90th percentile of the error, both sides together, NaN for never."""
    found = np.full((N_KEYPOINTS, 2), np.nan)
    for k, mirror in enumerate(MIRRORED_KEYPOINTS):
        columns = sorted({k, mirror})
        values = np.concatenate(
            [
                f.far[..., columns][
                    (f.film.visible[..., columns] == visible) & ~f.missing[..., columns]
                ]
                for f in films
            ]
        )
        if len(values):
            found[k] = np.percentile(values, [50, 90])
    return found
