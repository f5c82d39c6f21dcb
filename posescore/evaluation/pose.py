"""How well keypoints fit labelled pictures: ``posescore evaluate pose``.

Strict: every found person counts for one labelled athlete at most. The measure is COCO's object
keypoint similarity over its 17 keypoints; intervals come from drawing the pictures again (frames
of one video in blocks of :data:`BLOCK_S`, since neighbours are nearly the same picture).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.errors import KeypointFileError
from posescore.evaluation.swaps import Swaps, count_swaps
from posescore.footage.opening import PICTURE_SUFFIXES
from posescore.footage.reading import Footage
from posescore.pose.coco import PosedPicture, pictures_of_track, read_coco
from posescore.pose.estimators.choice import USUAL, opened_estimator
from posescore.pose.estimators.estimator import PairEstimator
from posescore.pose.oks import area_px2, oks
from posescore.pose.passes import pose_of_pictures
from posescore.pose.track import Finding, PairTrack
from posescore.pose.tracking.follow import follow
from posescore.terms import N_COCO, Progress, silent

FOUND_OKS: Final = 0.5
WELL_FOUND_OKS: Final = 0.75
BLOCK_S: Final = 2.0
N_DRAWS: Final = 1000


@dataclass(frozen=True, slots=True)
class Figure:
    """A fraction or mean with its 95 % interval; NaN of nothing, where ``n`` is 0."""

    name: str
    value: float
    low: float
    high: float
    n: int


@dataclass(frozen=True, slots=True)
class PoseTable:
    """What was measured, ready to print."""

    figures: tuple[Figure, ...]
    pictures: int
    swaps: Swaps | None = None
    """Of a followed video; None for pictures that stand alone."""

    def to_json(self) -> dict[str, Any]:
        """Plain data; a fraction of nothing is null."""
        return {
            "pictures": self.pictures,
            "figures": {
                f.name: {"value": _plain(f.value), "low": _plain(f.low), "high": _plain(f.high)}
                | {"n": f.n}
                for f in self.figures
            },
        } | ({} if self.swaps is None else {"identity": self.swaps.to_json()})

    def __getitem__(self, name: str) -> Figure:
        """The figure of a name."""
        return next(figure for figure in self.figures if figure.name == name)

    def __str__(self) -> str:
        width = max(len(figure.name) for figure in self.figures)
        lines = [f"{self.pictures} labelled pictures; in brackets 95 % of redrawn samples"]
        lines += [
            f"{f.name:<{width}}  {f.value:.3f}  [{f.low:.3f}, {f.high:.3f}]  of {f.n}"
            for f in self.figures
        ]
        if self.swaps is not None:
            lines.append(str(self.swaps))
        return "\n".join(lines)


def _plain(value: float) -> float | None:
    return round(value, 4) if np.isfinite(value) else None


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """How one picture's found people fit its labelled athletes.

    Parameters
    ----------
    oks
        Of each labelled athlete with the person it was paired with; 0 for nobody.
    same_slot
        For each labelled athlete who was found: whether the slot is the right one.
    lead
        Sum of OKS with the slots as they are, less that with the slots exchanged.
    """

    oks: tuple[float, ...]
    same_slot: tuple[bool, ...]
    lead: float = 0.0


def fit_of(true: PosedPicture, found: PosedPicture | None) -> Fit:
    """Pair labelled athletes and found people one to one so that the sum of OKS is largest."""
    slots = [s for s in (0, 1) if np.isfinite(true.keypoints_px[s, :N_COCO]).any()]
    table = np.zeros((2, 2))
    for slot in slots:
        points = true.keypoints_px[slot, :N_COCO].astype(np.float64)
        stated = true.area_px2[slot]
        area = float(stated) if np.isfinite(stated) else area_px2(points)
        for other in (0, 1) if found is not None else ():
            assert found is not None
            table[slot, other] = oks(points, found.keypoints_px[other, :N_COCO], area)
    lead = float(table[0, 0] + table[1, 1] - table[0, 1] - table[1, 0])
    straight = lead >= 0
    paired = [table[s, s if straight else 1 - s] for s in slots]
    right = [bool(straight) for value in paired if value >= FOUND_OKS]
    return Fit(tuple(float(v) for v in paired), tuple(right), lead)


def evaluate_pose(
    truth: Path,
    pictures: Path | None = None,
    predicted: Path | None = None,
    estimator: PairEstimator | str = USUAL,
    progress: Progress = silent,
) -> PoseTable:
    """Measure keypoints against labelled ones.

    Parameters
    ----------
    truth
        COCO keypoints JSON. Its images name pictures, or frames of one video.
    pictures
        Folder in which the named files lie; that of ``truth`` when not given.
    predicted
        COCO keypoints JSON to measure. Without it, poses are found here: each picture alone; a
        video by following, which also tells whether A stays A.
    estimator
        What finds keypoints, or its name (:data:`posescore.pose.estimators.choice.NAMES`).
    progress
        Called while poses are being found.

    Raises
    ------
    KeypointFileError
        When a file is no COCO keypoints file, holds no labelled athlete, or predictions are of
        other pictures.
    FootageError
        When a picture or the video cannot be read.
    """
    true = [p for p in read_coco(truth) if np.isfinite(p.keypoints_px[..., :N_COCO, :]).any()]
    if not true:
        raise KeypointFileError(f"{truth} holds no labelled athlete: give labelled pictures.")
    if predicted is not None:
        return measure(true, _of_the_same(truth, true, predicted))
    found = _find(truth, pictures or truth.parent, true, estimator, progress)
    if isinstance(found, PairTrack):
        name = str(true[0].name)
        return measure(true, pictures_of_track(found, name), found.findings)
    return measure(true, found)


def _of_the_same(truth: Path, true: Sequence[PosedPicture], predicted: Path) -> list[PosedPicture]:
    """Predictions, if they are of the labelled pictures."""
    found = read_coco(predicted)
    films = _film(true), _film(found)
    if None not in films and films[0] != films[1]:
        raise KeypointFileError(
            f"{predicted} holds keypoints of {films[1]}, {truth} labels {films[0]}: give "
            "predictions of the labelled film."
        )
    if not {_place(picture) for picture in true} & {_place(picture) for picture in found}:
        raise KeypointFileError(
            f"{predicted} and {truth} have no picture in common: pictures are matched by "
            "'file_name', frames of a film by 'frame_index'."
        )
    return found


def _film(pictures: Sequence[PosedPicture]) -> str | None:
    """The film whose frames all of these are; None where they are not, or it has no name."""
    names = {Path(p.name).name if p.name else None for p in pictures}
    frames = all(picture.frame_index is not None for picture in pictures)
    return names.pop() if frames and len(names) == 1 else None


def measure(
    true: Sequence[PosedPicture],
    found: Sequence[PosedPicture],
    findings: Sequence[Finding] | None = None,
) -> PoseTable:
    """The table for labelled pictures and found poses, paired by frame index or file name.

    ``findings`` are what following reported: they tell whether a change of identity was noticed.
    """
    of_place = {_place(picture): picture for picture in found}
    fits = [fit_of(picture, of_place.get(_place(picture))) for picture in true]
    blocks = _blocks(true)
    wanted: dict[str, Callable[[Fit], list[float]]] = {
        "athletes found": lambda fit: [value >= FOUND_OKS for value in fit.oks],
        "athletes found at .75": lambda fit: [value >= WELL_FOUND_OKS for value in fit.oks],
        "both found": lambda fit: _both(fit, FOUND_OKS),
        "both found at .75": lambda fit: _both(fit, WELL_FOUND_OKS),
        "mean OKS": lambda fit: list(fit.oks),
        "right slot": lambda fit: [float(same) for same in fit.same_slot],
    }
    figures = tuple(_figure(name, values, fits, blocks) for name, values in wanted.items())
    return PoseTable(figures, len(fits), _swaps(true, fits, findings))


def _swaps(
    true: Sequence[PosedPicture], fits: Sequence[Fit], findings: Sequence[Finding] | None
) -> Swaps | None:
    """Changes of identity, where the pictures are frames of a video."""
    times = [picture.time_s for picture in true if picture.frame_index is not None]
    if len(times) < len(true) or None in times:
        return None
    time_s = np.array(times, np.float64)
    order = np.argsort(time_s)
    lead = np.array([fit.lead for fit in fits])
    return count_swaps(time_s[order], lead[order], findings)


def _both(fit: Fit, threshold: float) -> list[float]:
    return [float(min(fit.oks) >= threshold)] if len(fit.oks) == 2 else []


def _place(picture: PosedPicture) -> tuple[str | None, int | None]:
    if picture.frame_index is not None:
        return None, picture.frame_index
    return Path(picture.name).name if picture.name else None, None


def _blocks(pictures: Sequence[PosedPicture]) -> NDArray[np.int64]:
    """``(n,)``: the block every picture is drawn with."""
    times = [picture.time_s for picture in pictures]
    names = [
        i if t is None or p.frame_index is None else -1 - int(t / BLOCK_S)
        for i, (p, t) in enumerate(zip(pictures, times, strict=True))
    ]
    return np.unique(names, return_inverse=True)[1].astype(np.int64)


def _figure(
    name: str,
    values: Callable[[Fit], list[float]],
    fits: Sequence[Fit],
    blocks: NDArray[np.int64],
) -> Figure:
    """Value and interval: sums and counts per block, drawn again with replacement."""
    n_blocks = int(blocks.max()) + 1
    sums, counts = np.zeros(n_blocks), np.zeros(n_blocks)
    for fit, block in zip(fits, blocks.tolist(), strict=True):
        some = values(fit)
        sums[block] += sum(some)
        counts[block] += len(some)
    n = int(counts.sum())
    if not n:
        return Figure(name, float("nan"), float("nan"), float("nan"), 0)
    draws = np.random.default_rng(0).integers(0, n_blocks, (N_DRAWS, n_blocks))
    drawn = sums[draws].sum(axis=1) / np.maximum(1, counts[draws].sum(axis=1))
    low, high = np.quantile(drawn, (0.025, 0.975))
    return Figure(name, float(sums.sum() / n), float(low), float(high), n)


def _find(
    truth: Path,
    folder: Path,
    true: Sequence[PosedPicture],
    estimator: PairEstimator | str,
    progress: Progress,
) -> list[PosedPicture] | PairTrack:
    names = {picture.name for picture in true}
    if None in names:
        raise KeypointFileError(f"{truth}: an image has no 'file_name': name the pictures.")
    paths = [folder / str(name) for name in sorted(map(str, names))]
    alone = all(path.suffix.lower() in PICTURE_SUFFIXES for path in paths)
    with opened_estimator(estimator, of_video=not alone) as chosen:
        if alone:
            return list(pose_of_pictures(paths, chosen, progress))
        if len(paths) > 1:
            raise KeypointFileError(f"{truth} names several videos: measure one at a time.")
        return follow(Footage(paths[0]), chosen, progress=progress)
