"""Film matches: ``python -m posescore.lab.matches.rendered_match held_back first --out FOLDER``.

Writes ``match.mp4``, ``keypoints.json`` and ``truth.json`` in the form of the sample match, and
``points_m.npy``, the true keypoints in metres ``(n_frames, 2, 21, 3)`` float32. Needs the extra
``lab``. The same program on the same machine makes the same files; none belongs in the
repository.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from posescore.footage.encoding import write_film
from posescore.lab.bodies import motion_check
from posescore.lab.matches import choreography
from posescore.lab.matches.sample_match import Motion, mark, motion_of, stances
from posescore.lab.matches.script import PICTURE_SIZE_PX, Plan, Shot
from posescore.lab.matches.stories import MATCHES
from posescore.lab.stage import coco_marks, referee
from posescore.lab.stage.cast import dressed_player
from posescore.lab.stage.handheld import FOCAL_PX, View, look_at, smooth, sway
from posescore.lab.stage.renderer import Renderer

_PAN_S = 0.45
"""How long a swing takes one way, seconds (the spread of a bell)."""


def make_motion(plan: Plan) -> Motion:
    """Choreograph a planned match."""
    players = tuple(
        dressed_player(who.build, who.colours(), jacket=slot < 2, seed=plan.seed + slot)
        for slot, who in enumerate(plan.people)
    )
    time_s = np.arange(plan.story.n_frames) / plan.story.frames_per_s
    skeletons = (players[0].skeleton, players[1].skeleton)
    seeds = (10 * plan.seed, 10 * plan.seed + 1)
    pair = choreography.perform(skeletons, time_s, plan.cues, seeds)
    middle = pair[..., :2].mean(0).numpy()
    walked = referee.perform(players[2].skeleton, time_s, middle, plan.route, time_s[-1] + 9)
    return motion_of(time_s, players, (pair[0], pair[1], walked))


def make_views(motion: Motion, plan: Plan) -> list[View]:
    """The camera in every frame: the shot of that instant."""
    follow = smooth(motion.points.mean((1, 2)), 1.0 * plan.story.frames_per_s)
    return views_of(motion.time_s, follow, plan.shots, plan.seed, PICTURE_SIZE_PX)


def views_of(
    time_s: NDArray[np.float64],
    follow: NDArray[np.float64],
    shots: Sequence[Shot],
    seed: int,
    size_px: tuple[int, int],
) -> list[View]:
    """Cameras of shots in every frame, following ``follow (n_frames, 3)`` with a hand's unrest."""
    starts = np.array([shot.start_s for shot in shots])
    shot_of = np.searchsorted(starts, time_s + 1e-6, side="right") - 1
    unrest = sway(time_s, seed, 7)
    return [
        _view(shots[shot_of[frame]], float(at_s), follow[frame], unrest[frame], size_px)
        for frame, at_s in enumerate(time_s)
    ]


def _view(
    shot: Shot,
    time_s: float,
    follow: NDArray[np.float64],
    unrest: NDArray[np.float64],
    size_px: tuple[int, int],
) -> View:
    angle = np.deg2rad(shot.azimuth_deg + 5 * unrest[0])
    away = shot.away_m + 0.7 * follow[2] + 0.1 * unrest[1]
    height = shot.height_m + 0.05 * unrest[2]
    place = follow * [0.8, 0.8, 0] + _vector(away * np.sin(angle), -away * np.cos(angle), height)
    aim = follow * [1, 1, 0.9] + [0, 0, 0.09] + 0.05 * unrest[3:6]
    swing = sum(deg * np.exp(-0.5 * ((time_s - at_s) / _PAN_S) ** 2) for at_s, deg in shot.pans)
    turn = np.deg2rad(swing)
    ahead = aim - place
    cosine, sine = np.cos(turn), np.sin(turn)
    across, along = cosine * ahead[0] + sine * ahead[1], cosine * ahead[1] - sine * ahead[0]
    aim = place + _vector(across, along, ahead[2])
    rotation = look_at(place, aim, np.deg2rad(0.8 * unrest[6]))
    return View(rotation, place, FOCAL_PX * size_px[0] / 1280, size_px)


def _vector(x: float, y: float, z: float) -> NDArray[np.float64]:
    return np.array([x, y, z])


def pictures(motion: Motion, views: list[View], plan: Plan) -> Iterator[NDArray[np.uint8]]:
    """Every frame of the footage, in order."""
    people = [player.person for player in motion.players]
    with Renderer(people, PICTURE_SIZE_PX, plan.look) as renderer:
        for frame, view in enumerate(views):
            yield renderer.picture(view, stances(motion, frame))


def write_truth(motion: Motion, views: list[View], plan: Plan, out: Path) -> None:
    """Write ``keypoints.json``, ``truth.json`` and ``points_m.npy``."""
    coco = coco_marks.coco(mark(motion, views), motion.time_s, PICTURE_SIZE_PX)
    coco["info"] = {"description": f"Rendered and invented match {plan.name}", "version": "1"}
    (out / "keypoints.json").write_text(json.dumps(coco, separators=(",", ":")) + "\n", "utf-8")
    text = json.dumps(plan.story.truth(), indent=2, ensure_ascii=False)
    (out / "truth.json").write_text(text + "\n", "utf-8")
    np.save(out / "points_m.npy", motion.points.astype(np.float32))


def film(name: str, out: Path, *, with_pictures: bool = True) -> Motion:
    """Write all files of a match into a folder."""
    plan = MATCHES[name]()
    motion = make_motion(plan)
    out.mkdir(parents=True, exist_ok=True)
    views = make_views(motion, plan)
    write_truth(motion, views, plan, out)
    if with_pictures:
        rate = plan.story.frames_per_s
        footage = ((i / rate, p) for i, p in enumerate(pictures(motion, views, plan)))
        end_s = len(motion.time_s) / rate
        write_film(
            out / "match.mp4", footage, end_s, PICTURE_SIZE_PX, key_every=rate, preset="medium"
        )
    return motion


def main() -> None:
    """Film the named matches, each into a folder of its name."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("match", nargs="+", choices=sorted(MATCHES))
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--no-pictures", action="store_true", help="only truth and keypoints")
    arguments = parser.parse_args()
    torch.set_num_threads(1)
    for name in arguments.match:
        motion = film(name, arguments.out / name, with_pictures=not arguments.no_pictures)
        depth_m = motion_check.overlaps(*motion.flesh)
        print(f"{name}: {arguments.out / name}")
        print(
            "\n".join(
                motion_check.report(motion.points, depth_m, len(motion.time_s) / motion.time_s[-1])
            ),
            flush=True,
        )


if __name__ == "__main__":
    main()
