"""Measures estimators on photographs of real pairs, marked by eye.

    python -m posescore.evaluation.photographs [FOLDER]

The folder (an argument, else ``POSESCORE_REAL_PAIRS``) holds pictures and ``points.json``: 13
points of both athletes, percent of the picture, 0 where unknown. Keypoints of every estimator are
measured, and how many of the marked heads the face detector finds for hiding.
These photographs are for measuring alone: nothing is trained on them, and they are no part of this
project.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.errors import KeypointFileError, MissingPartError
from posescore.footage.opencv import cv2
from posescore.footage.pictures import read_picture
from posescore.pose.estimators.estimator import PairEstimate, Picture
from posescore.pose.estimators.onnx_network import SIDE_PX
from posescore.pose.oks import COCO_SIGMAS, area_px2, oks
from posescore.terms import KEYPOINT_INDEX

PATH_VARIABLE: Final = "POSESCORE_REAL_PAIRS"
LEAST_KNOWN: Final = 5
"""Pictures with fewer known points of either athlete tell too little."""

_HEAD: Final = tuple(
    KEYPOINT_INDEX[n] for n in ("nose", "left_eye", "right_eye", "left_ear", "right_ear")
)
_HEAD_SIGMA: Final = 0.035

Estimate = Callable[[Picture], PairEstimate]
Faces = Callable[[Picture], NDArray[np.float64]]


@dataclass(frozen=True, slots=True, eq=False)
class Photograph:
    """One picture with the points ``(2, 13, 2)`` marked in it, NaN where unknown, in pixels."""

    name: str
    phase: str
    picture: Picture
    points_px: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class PhotographScores:
    """Object keypoint similarity ``(n, 2)`` of both athletes of every picture, and its phase."""

    scores: NDArray[np.float64]
    phases: tuple[str, ...]

    def row(self, phase: str | None = None) -> tuple[int, float, float, float]:
        """Pictures, fraction of athletes found, fraction with both found, mean similarity."""
        chosen = np.array([phase in (None, own) for own in self.phases])
        scores = self.scores[chosen]
        found = scores >= 0.5
        return len(scores), found.mean(), found.all(axis=1).mean(), scores.mean()


def photographs_folder(folder: Path | None = None) -> Path:
    """Where the photographs lie.

    Raises
    ------
    MissingPartError
        When they are not there.
    """
    named = os.environ.get(PATH_VARIABLE)
    chosen = folder or (Path(named) if named else None)
    if chosen is None or not (chosen / "points.json").is_file():
        where = "" if chosen is None else f" at {chosen}"
        raise MissingPartError(f"No photographs{where}: set {PATH_VARIABLE} to their folder.")
    return chosen


def read_photographs(folder: Path) -> tuple[list[str], list[Photograph]]:
    """Names of the points, and the photographs with enough of them known.

    Raises
    ------
    KeypointFileError
        When ``points.json`` is not what it should be.
    """
    try:
        data = json.loads((folder / "points.json").read_text("utf-8"))
        names = [str(name) for name in data["points"]]
        entries: Mapping[str, Mapping[str, object]] = data["pictures"]
        marked = {
            name: (str(entry["phase"]), np.array([_points(entry[who]) for who in "ab"]))
            for name, entry in entries.items()
        }
    except (KeyError, TypeError, ValueError) as error:
        raise KeypointFileError(f"{folder / 'points.json'} cannot be used: {error}.") from error
    photographs = []
    for name, (phase, points) in sorted(marked.items()):
        if (np.isfinite(points[..., 0]).sum(axis=1) < LEAST_KNOWN).any():
            continue
        path = folder / name if (folder / name).suffix else folder / f"{name}.jpg"
        picture = read_picture(path)
        size = np.array([picture.shape[1], picture.shape[0]])
        photographs.append(Photograph(name, phase, picture, points / 100 * size))
    return names, photographs


def _points(athlete: object) -> NDArray[np.float64]:
    assert isinstance(athlete, dict)
    rows = np.array(athlete["kp"], float)
    return np.where(rows[:, 2:] > 0, rows[:, :2], np.nan)


def measured(
    names: Sequence[str], photographs: Sequence[Photograph], estimate: Estimate
) -> PhotographScores:
    """Scores of an estimator, each picture alone, slots matched to athletes the better way."""
    sigmas = np.array(
        [_HEAD_SIGMA if n == "head" else COCO_SIGMAS[KEYPOINT_INDEX[n]] for n in names]
    )
    rows = []
    for photograph in photographs:
        found = [_same_points(names, p) for p in estimate(photograph.picture).keypoints_px]
        table = [[oks(t, f, area_px2(t), sigmas) for f in found] for t in photograph.points_px]
        straight, crossed = (table[0][0], table[1][1]), (table[0][1], table[1][0])
        rows.append(straight if sum(straight) >= sum(crossed) else crossed)
    return PhotographScores(np.array(rows), tuple(p.phase for p in photographs))


def _same_points(names: Sequence[str], keypoints_px: NDArray[np.float32]) -> NDArray[np.float64]:
    points = keypoints_px.astype(np.float64)
    head = points[list(_HEAD)].mean(axis=0)
    return np.array([head if n == "head" else points[KEYPOINT_INDEX[n]] for n in names])


def table(results: Mapping[str, PhotographScores]) -> str:
    """A table of estimators, all pictures first, then by phase."""
    lines = [f"{'':<34}{'pictures':>9}{'athletes':>10}{'both':>7}{'mean':>7}"]
    for name, result in results.items():
        for phase in (None, *sorted(set(result.phases))):
            count, athletes, both, mean = result.row(phase)
            label = name if phase is None else f"  {phase}"
            lines.append(f"{label:<34}{count:>9}{athletes:>10.2f}{both:>7.2f}{mean:>7.2f}")
    return "\n".join(lines)


def heads_hidden(
    names: Sequence[str], photographs: Sequence[Photograph], faces: Faces
) -> tuple[int, float, float]:
    """Marked heads, the fraction that a found face covers, and faces found a picture.

    Parameters
    ----------
    faces
        From a picture to middles and radii ``(n, 3)``, pixels.
    """
    head = list(names).index("head")
    covered, count = [], 0
    for photograph in photographs:
        discs = faces(photograph.picture)
        count += len(discs)
        for place in photograph.points_px[:, head]:
            if np.isfinite(place).all():
                away = np.hypot(discs[:, 0] - place[0], discs[:, 1] - place[1])
                covered.append(bool((away <= discs[:, 2]).any()))
    return len(covered), float(np.mean(covered)), count / len(photographs)


def main(arguments: Sequence[str]) -> int:
    """Measure every shipped estimator and print the table."""
    from posescore.pose.estimators.face_detector import FaceDetector
    from posescore.pose.estimators.mediapipe_estimator import MediaPipeEstimator
    from posescore.pose.estimators.pair_network import PairNetworkEstimator

    try:
        names, photographs = read_photographs(photographs_folder(*map(Path, arguments[:1])))
    except MissingPartError as error:
        print(f"skipped: {error}")
        return 0
    network, mediapipe = PairNetworkEstimator(), MediaPipeEstimator()

    def pulled_to_a_square(picture: Picture) -> PairEstimate:
        square = np.asarray(cv2.resize(picture, (SIDE_PX, SIDE_PX)), np.uint8)
        look = network.read_augmented(square, ((SIDE_PX / 2, SIDE_PX / 2), SIDE_PX))
        scale = np.array(picture.shape[1::-1], np.float32) / SIDE_PX
        points = np.asarray(look.keypoints_px * scale, np.float32)
        return PairEstimate(points, look.confidence)

    results = {
        "MediaPipe full": measured(names, photographs, mediapipe.estimate),
        "our network, whole picture": measured(names, photographs, pulled_to_a_square),
        "our finder and network": measured(names, photographs, network.estimate),
    }
    mediapipe.close()
    print(table(results))
    heads, hidden, faces = heads_hidden(names, photographs, FaceDetector().faces)
    print(f"face detector: {hidden:.2f} of {heads} heads, seen or not; {faces:.1f} faces a picture")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
