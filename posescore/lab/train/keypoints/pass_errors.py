"""What the pose pass gets wrong, for training what comes after it.

    torchrun --standalone --nproc-per-node gpu -m posescore.lab.train.keypoints.training \
        --folder .corpus --resume FOLDER --out OUT --seconds 0 --errors 60000

Named poses of the open set and authored ones, bent and on other bodies as in training, are drawn
as whole frames. The finder reads each (in every other one the box is the true one, a little off,
as when a pair is followed), the network reads the square around the box, and what it said is
written beside the truth: ``pass_errors-N.npz``, one file for each process.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from posescore.evaluation.poses3d.pose_set import PoseSet
from posescore.lab.corpus.dice import Dice
from posescore.lab.corpus.framing import Frame, framed_whole
from posescore.lab.corpus.pictures import DRAWN_SIDE_PX, SIDE_PX, Batch, PictureMaker
from posescore.lab.train.keypoints.finder import PairFinder, boxes_of
from posescore.lab.train.keypoints.network import PairNetwork, best_places

FRAME_PX: Final = 960.0
"""Keypoints are given in pixels of the letter-boxed whole frame at this side."""

_ROOM: Final = 1.2
"""As :data:`posescore.pose.estimators.pair_network.ROOM`, which needs OpenCV to be read."""

MOST_S: Final = 60.0
_AT_ONCE: Final = 256

_OFF_SHARE: Final = 0.06
"""How far off a followed box is, as a share of its side: the standard deviation."""


@dataclass(frozen=True, slots=True, eq=False)
class Said:
    """What was found and what is true, both ``(n, 2, 21, 2)``, slots matched; ``(n, 2, 21)``."""

    found_px: Tensor
    confidence: Tensor
    true_px: Tensor
    inside: Tensor


def square_frames(box: Tensor, whole: Frame) -> Frame:
    """Squares around boxes ``(n, 4)``, shares of whole frames, as the runtime lays them."""
    low, high = box[:, :2], box[:, 2:]
    middle = ((low + high) / 2 - 0.5) * DRAWN_SIDE_PX / whole.scale + whole.centre
    side = _ROOM * (high - low).amax(1, keepdim=True).clamp(min=0.04)
    return Frame(middle, whole.scale / side, torch.zeros_like(box))


def matched(guess: Tensor, sure: Tensor, batch: Batch) -> tuple[Tensor, Tensor]:
    """Keypoints and confidence with the slots exchanged where that is nearer the truth."""
    apart = (guess[:, :, None] - batch.keypoints_px[:, None]).norm(dim=-1).clamp(max=60).mean(-1)
    crossed = apart[:, 0, 1] + apart[:, 1, 0] < apart[:, 0, 0] + apart[:, 1, 1]
    turned = crossed[:, None, None]
    return (
        torch.where(turned[..., None], guess.flip(1), guess),
        torch.where(turned, sure.flip(1), sure),
    )


@dataclass(frozen=True, slots=True)
class Readers:
    """Who draws and who reads."""

    maker: PictureMaker
    network: PairNetwork
    finder: PairFinder


@torch.no_grad()
def said_of(readers: Readers, frames: Tensor) -> Said:
    """Draw frames of the pose set and let both networks read them."""
    maker, network, finder = readers.maker, readers.network, readers.finder
    dice, count = maker.dice, len(frames)
    scene = maker.scene(count, whole=True, frames=frames)
    whole = framed_whole(dice, *scene.extent, DRAWN_SIDE_PX)
    wide = maker.drawn(scene, whole)
    box = torch.where(
        dice.happens(0.5, count, 1),
        boxes_of(finder(wide.picture.float())[0]),
        _followed(dice, wide.box),
    )
    square = square_frames(box, whole)
    near = maker.drawn(scene, square)
    heat, _, _, sure = network(near.picture.float())
    guess, confidence = matched(best_places(heat), sure.sigmoid(), near)
    scale = (whole.scale / square.scale)[:, None, None]
    shift = ((square.centre - whole.centre) * whole.scale / DRAWN_SIDE_PX + 0.5)[:, None, None]

    def in_whole(points_px: Tensor) -> Tensor:
        return ((points_px / SIDE_PX - 0.5) * scale + shift) * FRAME_PX

    return Said(in_whole(guess), confidence, in_whole(near.keypoints_px), wide.inside)


def _followed(dice: Dice, box: Tensor) -> Tensor:
    size = (box[:, 2:] - box[:, :2]).repeat(1, 2)
    return box + _OFF_SHARE * size * dice.normal(*box.shape)


def rows_to_draw(poses: PoseSet, count: int, seed: int) -> NDArray[np.int64]:
    """Named frames, every state as often as the root of its number of frames."""
    named = np.flatnonzero(poses.state >= 0)
    frequency = np.bincount(poses.state[named])
    weight = 1 / np.sqrt(frequency[poses.state[named]])
    return np.random.default_rng(seed).choice(named, count, p=weight / weight.sum())


def write_errors(
    readers: Readers, poses: PoseSet, train: NDArray[np.int64], out: Path, count: int, rank: int
) -> None:
    """Draw ``count`` pictures, let them be read, and write ``pass_errors-RANK.npz``.

    Stops early, with fewer pictures, after :data:`MOST_S` seconds.
    """
    began = time.monotonic()
    rows = rows_to_draw(poses, count, rank)
    said: list[Said] = []
    for part in np.array_split(rows, max(1, len(rows) // _AT_ONCE)):
        said.append(said_of(readers, torch.tensor(part, device=readers.maker.device)))
        if time.monotonic() - began > MOST_S:
            break
    rows = rows[: sum(len(part.inside) for part in said)]

    def half(name: str) -> NDArray[np.float16]:
        together = torch.cat([getattr(part, name) for part in said])
        return together.cpu().numpy().astype(np.float16)

    np.savez_compressed(
        out / f"pass_errors-{rank}.npz",
        found_px=half("found_px"),
        confidence=half("confidence"),
        true_px=half("true_px"),
        inside=torch.cat([part.inside for part in said]).cpu().numpy(),
        frame=rows,
        entry=poses.entry[rows],
        state=poses.state[rows],
        trained=np.isin(rows, train),
    )
