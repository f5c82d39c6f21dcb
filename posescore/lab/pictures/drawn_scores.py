"""Measures our networks on drawn pictures that the pair fills as it fills photographs.

    python -m posescore.lab.pictures.drawn_scores --folder .corpus --count 300 --seed 7101

Held-back poses in the looks of training, each picture alone, without a hint: rules about how
pictures are read are chosen on these, and never on the test pictures or on photographs. The folder
is the one that training begins with (``docs/training-runs.md``). In a picture of 256 pixels at most
the pair takes 40 to 110 % of the frame's tighter side, anywhere in it, cut where it reaches beyond;
the frame has any usual shape, or was pulled to a square, or cut to one.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from posescore.evaluation.pose import measure
from posescore.evaluation.poses3d.pose_set import load_pose_set
from posescore.lab.corpus.fitting import Fits
from posescore.lab.corpus.framing import Frame
from posescore.lab.corpus.pictures import DRAWN_SIDE_PX, SIDE_PX, Batch, PictureMaker
from posescore.lab.corpus.poses import PoseSampler, split_frames, with_authored
from posescore.lab.corpus.rig import Rig
from posescore.lab.pictures.rendered_scores import calibration
from posescore.pose.coco import PosedPicture
from posescore.pose.estimators.estimator import PairEstimator, Picture
from posescore.pose.estimators.pair_network import PairNetworkEstimator

_SHAPES: Final = np.array([1, 4 / 3, 3 / 2, 16 / 9, 3 / 4, 2 / 3, 9 / 16])
_OFTEN: Final = np.array([0.2, 0.2, 0.2, 0.15, 0.1, 0.1, 0.05])
_LEAST_FILL: Final = 0.4
_MOST_FILL: Final = 1.1
_AS_IT_IS, _PULLED, _CUT = range(3)
_AT_ONCE: Final = 10


def framed_photographs(
    random: np.random.Generator, low: Tensor, high: Tensor
) -> tuple[Frame, NDArray[np.float64]]:
    """Frames around pairs whose extent in tangents is ``low .. high (n, 2)``.

    Returns the frames and the share ``(n, 2)`` of the drawn square that each one takes.
    """
    extent, middle = (high - low).numpy(), (low + high).numpy() / 2
    count = len(extent)
    ratio = random.choice(_SHAPES, count, p=_OFTEN)
    style = random.integers(0, 3, count)
    shape = np.stack([np.minimum(1, ratio), np.minimum(1, 1 / ratio)], axis=1)
    shape[style == _CUT] = 1
    fill = random.uniform(_LEAST_FILL, _MOST_FILL, count)
    scale = ((shape / extent).min(axis=1) * fill)[:, None].repeat(2, axis=1)
    seen = shape / scale
    free = seen - extent
    slack = np.where(free > 0, free, 0.3 * np.abs(free) + 0.05 * extent)
    centre = middle - random.uniform(-0.5, 0.5, (count, 2)) * slack
    pulled = style == _PULLED
    scale[pulled], shape[pulled] = 1 / seen[pulled], 1
    bars = np.concatenate([(1 - shape) / 2] * 2, axis=1)
    tensors = (torch.tensor(a, dtype=low.dtype) for a in (centre, scale * DRAWN_SIDE_PX, bars))
    return Frame(*tensors), shape


class Drawing:
    """Draws held-back pairs, the same ones for the same seed, on the processor."""

    def __init__(self, folder: Path, seed: int) -> None:
        rig, fits = Rig.load(folder / "rig.npz"), Fits.load(folder / "fits.npz")
        poses = with_authored(load_pose_set(folder / "poses3d.npz"))
        device = torch.device("cpu")
        sampler = PoseSampler(rig, fits, poses, split_frames(poses).held_back, device)
        self._maker = PictureMaker(rig, sampler, seed, device)
        self._random = np.random.default_rng(seed)

    def some(self) -> list[tuple[Picture, PosedPicture]]:
        """A few pictures with their truth."""
        scene = self._maker.scene(_AT_ONCE)
        frame, shape = framed_photographs(self._random, *scene.extent)
        batch = self._maker.drawn(scene, frame)
        return [_cut_out(batch, k, shape[k]) for k in range(_AT_ONCE)]


def _cut_out(batch: Batch, k: int, shape: NDArray[np.float64]) -> tuple[Picture, PosedPicture]:
    """A picture without its bars; keypoints beyond its edge are unknown."""
    width, height = np.round(shape * SIDE_PX).astype(int)
    left, top = (SIDE_PX - width) // 2, (SIDE_PX - height) // 2
    square = (batch.picture[k].permute(1, 2, 0).numpy() * 255).round().astype(np.uint8)
    picture = np.ascontiguousarray(square[top : top + height, left : left + width])
    points = batch.keypoints_px[k].numpy() - np.array([left, top], np.float32)
    points = np.where(batch.inside[k].numpy()[..., None], points, np.nan).astype(np.float32)
    truth = PosedPicture(
        None, None, None, (int(width), int(height)), points,
        np.ones(points.shape[:2], np.float32), batch.area_px2[k].numpy().astype(np.float64),
    )  # fmt: skip
    return picture, truth


def scores(drawing: Drawing, estimator: PairEstimator, count: int) -> str:
    """The table of an estimator on ``count`` pictures."""
    true: list[PosedPicture] = []
    found: list[PosedPicture] = []
    while len(true) < count:
        for picture, truth in drawing.some():
            said = estimator.estimate(picture)
            name = str(len(true))
            true.append(_named(truth, name, truth.keypoints_px, truth.keypoint_confidence))
            found.append(_named(truth, name, said.keypoints_px, said.keypoint_confidence))
    return f"{measure(true, found)}\ncalibration error {calibration(true, found):.3f}"


def _named(
    picture: PosedPicture, name: str, points: NDArray[np.float32], sure: NDArray[np.float32]
) -> PosedPicture:
    return PosedPicture(name, None, None, picture.size_px, points, sure, picture.area_px2)


@click.command()
@click.option("--folder", type=click.Path(path_type=Path, exists=True), default=Path(".corpus"))
@click.option("--models", type=click.Path(path_type=Path, exists=True), help="Other weights.")
@click.option("--count", default=300, show_default=True)
@click.option("--seed", default=7101, show_default=True)
def main(folder: Path, models: Path | None, count: int, seed: int) -> None:
    """Draw pictures and print how many athletes our networks find in them."""
    torch.set_num_threads(1)
    network = models / "pair_network.onnx" if models else None
    finder = models / "pair_finder.onnx" if models else None
    click.echo(scores(Drawing(folder, seed), PairNetworkEstimator(network, finder), count))


if __name__ == "__main__":
    main()
