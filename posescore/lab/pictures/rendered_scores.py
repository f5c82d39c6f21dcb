"""Measures estimators on rendered test pictures, by position, seen and hidden, and calibration.

    python -m posescore.lab.pictures.rendered_scores FOLDER [--compare] [--keypoint-area]

``FOLDER`` is what :mod:`posescore.lab.pictures.rendered_pictures` wrote. Every picture is searched
alone, without a hint. ``--keypoint-area`` takes half of the box around the keypoints for an
athlete's area, not half of the box around the body. ``--compare`` measures MediaPipe
besides our networks.
"""

from __future__ import annotations

import json
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import click
import numpy as np
from numpy.typing import NDArray

from posescore.evaluation.pose import FOUND_OKS, Fit, fit_of, measure
from posescore.footage.pictures import read_picture
from posescore.pose.coco import PosedPicture, read_coco
from posescore.pose.estimators.estimator import PairEstimator
from posescore.pose.estimators.mediapipe_estimator import MediaPipeEstimator
from posescore.pose.estimators.pair_network import PairNetworkEstimator
from posescore.pose.oks import keypoint_box_px
from posescore.terms import N_COCO

RIGHT_WITHIN: float = 0.1
"""A keypoint is right within this share of the athlete's size, the root of the stated area."""


def found_by(
    estimator: PairEstimator, folder: Path, true: Sequence[PosedPicture]
) -> tuple[list[PosedPicture], float]:
    """Poses found in every picture alone, and the milliseconds a picture took."""
    found, spent = [], 0.0
    for picture in true:
        pixels = read_picture(folder / str(picture.name))
        began = time.perf_counter()
        estimate = estimator.estimate(pixels)
        spent += time.perf_counter() - began
        found.append(
            PosedPicture(
                picture.name, None, None, picture.size_px, estimate.keypoints_px,
                estimate.keypoint_confidence, np.full(2, np.nan),
            )
        )  # fmt: skip
    return found, spent * 1000 / max(1, len(true))


def by_position(
    folder: Path, true: Sequence[PosedPicture], found: Sequence[PosedPicture]
) -> Mapping[str, tuple[int, float, float]]:
    """Pictures, athletes found and both found, for every position of the truth."""
    images = json.loads((folder / "truth.json").read_text("utf-8"))["images"]
    position = {image["file_name"]: image["position"] for image in images}
    rows: dict[str, list[Fit]] = {}
    for picture, guess in zip(true, found, strict=True):
        rows.setdefault(position[picture.name], []).append(fit_of(picture, guess))
    table = {}
    for name, fits in sorted(rows.items()):
        scores = np.array([fit.oks for fit in fits if len(fit.oks) == 2]).reshape(-1, 2)
        hit = scores >= FOUND_OKS
        table[name] = (len(scores), float(hit.mean()), float(hit.all(axis=1).mean()))
    return table


def with_keypoint_area(picture: PosedPicture) -> PosedPicture:
    """The picture with half of the box around each athlete's keypoints as the area."""
    boxes = [keypoint_box_px(points) for points in picture.keypoints_px]
    areas = np.array([width * height / 2 for _, _, width, height in boxes])
    return replace(picture, area_px2=areas)


def calibration(
    true: Sequence[PosedPicture], found: Sequence[PosedPicture], bins: int = 10
) -> float:
    """Expected calibration error of a keypoint's confidence as "right", slots matched."""
    said, right = _said_and_right(true, found)
    cell = np.minimum((said * bins).astype(int), bins - 1)
    error = 0.0
    for k in range(bins):
        chosen = cell == k
        if chosen.any():
            error += chosen.mean() * abs(said[chosen].mean() - right[chosen].mean())
    return float(error)


def _said_and_right(
    true: Sequence[PosedPicture], found: Sequence[PosedPicture]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    said, right = [], []
    for picture, guess in zip(true, found, strict=True):
        apart = np.linalg.norm(
            picture.keypoints_px[:, None] - guess.keypoints_px[None], axis=-1
        ).astype(np.float64)
        cost = np.minimum(np.nan_to_num(apart[..., :N_COCO], nan=200.0), 200.0).mean(axis=-1)
        crossed = cost[0, 1] + cost[1, 0] < cost[0, 0] + cost[1, 1]
        for slot in (0, 1):
            other = 1 - slot if crossed else slot
            known = np.isfinite(apart[slot, other])
            size = np.sqrt(picture.area_px2[slot])
            said.append(guess.keypoint_confidence[other][known])
            right.append(apart[slot, other][known] < RIGHT_WITHIN * size)
    return np.concatenate(said).astype(np.float64), np.concatenate(right).astype(np.float64)


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, exists=True))
@click.option("--compare", is_flag=True, help="MediaPipe as well.")
@click.option("--keypoint-area", is_flag=True, help="The stricter yardstick, as before.")
def main(folder: Path, compare: bool, keypoint_area: bool) -> None:
    """Print the tables."""
    true = read_coco(folder / "truth.json")
    if keypoint_area:
        true = [with_keypoint_area(picture) for picture in true]
    mediapipe = MediaPipeEstimator()
    estimators: dict[str, PairEstimator] = {"our networks": PairNetworkEstimator()}
    if compare:
        estimators["MediaPipe full"] = mediapipe
    for name, estimator in estimators.items():
        found, spent_ms = found_by(estimator, folder, true)
        click.echo(f"\n{name}: {spent_ms:.0f} ms a picture")
        click.echo(str(measure(true, found)))
        click.echo(f"calibration error {calibration(true, found):.3f}")
        for position, (count, athletes, both) in by_position(folder, true, found).items():
            click.echo(f"  {position:<16}{count:>5}{athletes:>8.2f}{both:>7.2f}")
    mediapipe.close()


if __name__ == "__main__":
    main()
