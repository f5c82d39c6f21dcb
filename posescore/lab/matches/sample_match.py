"""Make the sample match: ``python -m posescore.lab.matches.sample_match --out sample_video``.

Needs the extra ``lab``. The same program on the same machine makes the same files.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from posescore.footage.encoding import write_film
from posescore.lab.bodies import fitting, motion_check
from posescore.lab.bodies.body import Posed, keypoints, pose
from posescore.lab.bodies.flesh import bone_matrices
from posescore.lab.matches import choreography, story
from posescore.lab.stage import coco_marks, handheld, referee
from posescore.lab.stage.cast import Player, make_player
from posescore.lab.stage.renderer import Renderer, Stance


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """All three people in every frame.

    ``numbers`` are the poses, each ``(n_frames, N_NUMBERS)``, of A, B and the referee; ``points
    (n_frames, 2, 21, 3)`` the athletes' keypoints in metres; ``flesh`` holds capsule starts and
    ends, ``(n_frames, 45, 3)`` each, and radii ``(45,)``.
    """

    time_s: NDArray[np.float64]
    players: tuple[Player, ...]
    posed: tuple[Posed, ...]
    points: NDArray[np.float64]
    flesh: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


def make_motion() -> Motion:
    """Choreograph the whole match."""
    players = tuple(make_player(slot) for slot in range(3))
    time_s = np.arange(story.N_FRAMES) / story.FRAMES_PER_S
    pair = choreography.perform((players[0].skeleton, players[1].skeleton), time_s)
    middle = pair[..., :2].mean(0).numpy()
    walked = referee.perform(players[2].skeleton, time_s, middle)
    return motion_of(time_s, players, (pair[0], pair[1], walked))


def motion_of(
    time_s: NDArray[np.float64], players: tuple[Player, ...], numbers: tuple[Tensor, ...]
) -> Motion:
    """What three people do, from their poses ``(n_frames, N_NUMBERS)``."""
    posed = tuple(pose(p.skeleton, n) for p, n in zip(players, numbers, strict=True))
    flesh = [
        fitting.capsule_ends(fitting.ends(player.skeleton, each))
        for player, each in zip(players, posed, strict=True)
    ]
    starts, ends = (np.concatenate([f[i].numpy() for f in flesh], 1) for i in range(2))
    radii = np.concatenate([f[2].numpy() for f in flesh])
    points = [keypoints(players[s].skeleton, posed[s]).numpy() for s in range(2)]
    return Motion(time_s, players, posed, np.stack(points, 1), (starts, ends, radii))


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


def stances(motion: Motion, frame: int) -> list[Stance]:
    """How the three people stand in one frame, for the renderer."""
    starts, ends, radii = motion.flesh
    count = len(radii) // len(motion.players)
    found = []
    for slot, (player, posed) in enumerate(zip(motion.players, motion.posed, strict=True)):
        rows = slice(slot * count, (slot + 1) * count)
        curl_rad = 0.3 if slot == 2 else 0.75
        matrices = bone_matrices(player.flesh.rig, player.skeleton, posed, frame, curl_rad)
        found.append(Stance(matrices, starts[frame, rows], ends[frame, rows], radii[rows]))
    return found


def pictures(motion: Motion, views: list[handheld.View]) -> Iterator[NDArray[np.uint8]]:
    """Every frame of the footage, in order."""
    with Renderer([player.person for player in motion.players], views[0].size_px) as renderer:
        for frame, view in enumerate(views):
            yield renderer.picture(view, stances(motion, frame))
            if frame % 150 == 0:
                print(f"{frame} of {len(views)} frames", flush=True)


def write_truth(motion: Motion, views: list[handheld.View], out: Path) -> None:
    """Write ``keypoints.json`` and ``truth.json``."""
    coco = coco_marks.coco(mark(motion, views), motion.time_s, story.PICTURE_SIZE_PX)
    text = json.dumps(coco, separators=(",", ":"))
    (out / "keypoints.json").write_text(text + "\n", "utf-8")
    text = json.dumps(story.truth(), indent=2, ensure_ascii=False)
    (out / "truth.json").write_text(text + "\n", "utf-8")


def main() -> None:
    """Write all files of the sample match."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("sample_video"))
    parser.add_argument("--no-pictures", action="store_true", help="only truth and keypoints")
    parser.add_argument("--check", action="store_true", help="write nothing, measure the motion")
    arguments = parser.parse_args()
    out: Path = arguments.out
    torch.set_num_threads(1)
    motion = make_motion()
    if arguments.check:
        depth_m = motion_check.overlaps(*motion.flesh)
        print("\n".join(motion_check.report(motion.points, depth_m, story.FRAMES_PER_S)))
        return
    out.mkdir(parents=True, exist_ok=True)
    views = make_views(motion)
    write_truth(motion, views, out)
    if not arguments.no_pictures:
        rate = story.FRAMES_PER_S
        footage = ((i / rate, p) for i, p in enumerate(pictures(motion, views)))
        end_s, size_px = len(motion.time_s) / rate, story.PICTURE_SIZE_PX
        write_film(out / "match.mp4", footage, end_s, size_px, key_every=rate, preset="medium")


if __name__ == "__main__":
    main()
