"""Make the sample match: ``python -m posescore.simulation.sample_match --out sample_video``.

Needs the extra ``simulation``. The same program on the same machine makes the same files.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from posescore.simulation import choreography, coco_marks, fitting, handheld, story
from posescore.simulation.body import Build, Skeleton, keypoints, make_skeleton, pose

BUILDS: Final = (Build(height=0.47, muscle=0.62, weight=0.5), Build(0.46, 0.55, 0.56))
"""Athletes A and B: about 1.8 m, one leaner, one heavier."""


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Both athletes in every frame.

    ``numbers (2, n_frames, N_NUMBERS)`` are poses, ``points (n_frames, 2, 21, 3)`` keypoints in
    metres; ``flesh`` holds capsule starts and ends ``(n_frames, 30, 3)`` and radii ``(30,)``.
    """

    time_s: NDArray[np.float64]
    skeletons: tuple[Skeleton, Skeleton]
    numbers: Tensor
    points: NDArray[np.float64]
    flesh: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


def make_motion() -> Motion:
    """Choreograph the whole match."""
    skeletons = (make_skeleton(BUILDS[0]), make_skeleton(BUILDS[1]))
    time_s = np.arange(story.N_FRAMES) / story.FRAMES_PER_S
    numbers = choreography.perform(skeletons, time_s)
    points, starts, ends, radii = [], [], [], []
    for slot in range(2):
        posed = pose(skeletons[slot], numbers[slot])
        points.append(keypoints(skeletons[slot], posed).numpy())
        start, end, radius = fitting.capsule_ends(fitting.ends(skeletons[slot], posed))
        starts.append(start.numpy())
        ends.append(end.numpy())
        radii.append(radius.numpy())
    flesh = (np.concatenate(starts, 1), np.concatenate(ends, 1), np.concatenate(radii))
    return Motion(time_s, skeletons, numbers, np.stack(points, 1), flesh)


def make_views(motion: Motion) -> list[handheld.View]:
    """The camera in every frame."""
    return handheld.views(motion.time_s, motion.points.mean((1, 2)), story.PICTURE_SIZE_PX)


def mark(motion: Motion, views: list[handheld.View]) -> NDArray[np.float64]:
    """``(n_frames, 2, 21, 3)``: pixels and COCO's visibility of every keypoint."""
    starts, ends, radii = motion.flesh
    marked = []
    for frame, view in enumerate(views):
        points = motion.points[frame].reshape(-1, 3)
        is_hidden = coco_marks.hidden(points, view.place, starts[frame], ends[frame], radii)
        marked.append(coco_marks.marks(points, is_hidden, view).reshape(2, -1, 3))
    return np.stack(marked)


def main() -> None:
    """Write all files of the sample match."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("sample_video"))
    out: Path = parser.parse_args().out
    out.mkdir(parents=True, exist_ok=True)
    torch.set_num_threads(1)
    motion = make_motion()
    views = make_views(motion)
    coco = coco_marks.coco(mark(motion, views), motion.time_s, story.PICTURE_SIZE_PX)
    text = json.dumps(coco, separators=(",", ":"))
    (out / "keypoints.json").write_text(text + "\n", "utf-8")
    text = json.dumps(story.truth(), indent=2, ensure_ascii=False)
    (out / "truth.json").write_text(text + "\n", "utf-8")


if __name__ == "__main__":
    main()
