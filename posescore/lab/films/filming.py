"""A walked match before the camera: bodies, views, true keypoints and pictures."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.footage import encoding
from posescore.lab.bodies import fitting
from posescore.lab.bodies.body import Build, phenotype, pose
from posescore.lab.bodies.flesh import bone_matrices
from posescore.lab.corpus.rig import Rig, build_rig
from posescore.lab.films.bodies import fit_body, flesh_of, full_matrices
from posescore.lab.films.looks import BUILDS, REFEREE_BUILDS, FilmLook
from posescore.lab.matches.rendered_match import views_of
from posescore.lab.stage import coco_marks, referee
from posescore.lab.stage.cast import Player, dressed_player
from posescore.lab.stage.handheld import View, smooth
from posescore.lab.stage.renderer import Renderer, Stance

WALKED_FRAMES_PER_S: Final = 30
SIZE_PX: Final = (960, 540)
_ZOOM_S: Final = 11.0


@dataclass(frozen=True, slots=True, eq=False)
class Film:
    """Everything of a film but its pictures.

    Parameters
    ----------
    time_s
        ``(n_frames,)``.
    people
        Stances of the athletes, and of the referee where there is one, frame by frame: matrices
        ``(n_frames, n_bones, 3, 4)``, capsule starts and ends ``(n_frames, 15, 3)``, radii.
    views
        The camera in every frame.
    marks
        ``(n_frames, 2, 21, 3)``: true pixels and COCO's visibility.
    true_px
        ``(n_frames, 2, 21, 2)`` float32: true pixels, also beyond the picture's edge.
    fit_error_m
        ``(n_frames, 2)``: how far the bodies' main joints are from the walked ones.
    """

    look: FilmLook
    time_s: NDArray[np.float64]
    people: tuple[_Performed, ...]
    views: list[View]
    marks: NDArray[np.float64]
    true_px: NDArray[np.float32]
    fit_error_m: NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class _Performed:
    player: Player
    matrices: NDArray[np.float32]
    starts: NDArray[np.float64]
    ends: NDArray[np.float64]
    radii: NDArray[np.float64]

    def stance(self, frame: int) -> Stance:
        return Stance(self.matrices[frame], self.starts[frame], self.ends[frame], self.radii)


@cache
def dressed(build: Build, *, jacket: bool) -> Player:
    """Somebody of a build, in colours that are replaced for each film."""
    return dressed_player(build, {}, jacket=jacket, seed=3)


@cache
def rig_of_builds() -> Rig:
    """The rig that walked joints are fitted with, one shape for each of the builds."""
    return build_rig([phenotype(build) for build in BUILDS])


def make_film(
    joints_m: NDArray[np.float32],
    look: FilmLook,
    *,
    frames_per_s: int = WALKED_FRAMES_PER_S,
    size_px: tuple[int, int] = SIZE_PX,
    device: str = "cpu",
) -> Film:
    """Fit bodies to a walked match and point the camera.

    Parameters
    ----------
    joints_m
        ``(n, 2, 23, 3)`` float32, metres, :data:`WALKED_FRAMES_PER_S` a second.
    look
        People, hall and cameras.
    frames_per_s
        Of the film.
    size_px
        Width and height, both even.
    device
        Where bodies are fitted.
    """
    joints_m, time_s = at_rate(joints_m, frames_per_s)
    rig = rig_of_builds()
    people, points, errors = [], [], []
    for slot in (0, 1):
        shape = look.builds[slot]
        body = fit_body(rig, shape, joints_m[:, slot], device)
        player = _in_colours(dressed(BUILDS[shape], jacket=True), look.colours[slot])
        matrices = full_matrices(body, player.flesh.rig, rig.bone_head_m[shape, 0])
        people.append(
            _Performed(player, matrices, *flesh_of(matrices, player.flesh.rig, body.size))
        )
        points.append(body.keypoints_m.astype(np.float64))
        errors.append(body.error_m)
    points_m = np.stack(points, 1)
    if look.route is not None:
        people.append(_referee(look, time_s, points_m.mean((1, 2))))
    views = _views(look, time_s, points_m, frames_per_s, size_px)
    marks, true_px = _marked(people, points_m, views)
    return Film(look, time_s, tuple(people), views, marks, true_px, np.stack(errors, 1))


def at_rate(
    joints_m: NDArray[np.float32], frames_per_s: int
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Walked joints at another frame rate, and the time of every frame."""
    end_s = len(joints_m) / WALKED_FRAMES_PER_S
    time_s = np.arange(int(end_s * frames_per_s)) / frames_per_s
    place = np.minimum(time_s * WALKED_FRAMES_PER_S, len(joints_m) - 1)
    below = np.floor(place).astype(int)
    share = (place - below).astype(np.float32)[:, None, None, None]
    above = np.minimum(below + 1, len(joints_m) - 1)
    return (1 - share) * joints_m[below] + share * joints_m[above], time_s


def _in_colours(player: Player, colours: Mapping[str, Any]) -> Player:
    return replace(player, person=replace(player.person, colours=dict(colours)))


def _referee(
    look: FilmLook, time_s: NDArray[np.float64], watched: NDArray[np.float64]
) -> _Performed:
    build = REFEREE_BUILDS[look.builds[2]]
    player = _in_colours(dressed(build, jacket=False), look.colours[2])
    assert look.route is not None
    about = watched[:, :2].mean(0)
    route = tuple((at, (x + float(about[0]), y + float(about[1]))) for at, (x, y) in look.route)
    numbers = referee.perform(player.skeleton, time_s, watched[:, :2], route, time_s[-1] + 9)
    posed = pose(player.skeleton, numbers)
    rig = player.flesh.rig
    matrices = [
        bone_matrices(rig, player.skeleton, posed, frame, 0.3) for frame in range(len(time_s))
    ]
    starts, ends, radii = fitting.capsule_ends(fitting.ends(player.skeleton, posed))
    return _Performed(player, np.stack(matrices), starts.numpy(), ends.numpy(), radii.numpy())


def _views(
    look: FilmLook,
    time_s: NDArray[np.float64],
    points_m: NDArray[np.float64],
    frames_per_s: int,
    size_px: tuple[int, int],
) -> list[View]:
    """Cameras of the look, turned round where A would not be further left at the start."""
    follow = smooth(points_m.mean((1, 2)), 1.0 * frames_per_s)
    views = views_of(time_s, follow, look.shots, look.seed, size_px)
    first = views[0].project(points_m[: 2 * frames_per_s]).mean((0, 2))[:, 0]
    if first[0] > first[1]:
        shots = [replace(shot, azimuth_deg=shot.azimuth_deg + 180) for shot in look.shots]
        views = views_of(time_s, follow, shots, look.seed, size_px)
    if not look.zoom:
        return views
    wave = 1 + look.zoom * 0.5 * (1 - np.cos(2 * np.pi * time_s / _ZOOM_S))
    return [replace(v, focal_px=v.focal_px * float(z)) for v, z in zip(views, wave, strict=True)]


def _marked(
    people: list[_Performed], points_m: NDArray[np.float64], views: list[View]
) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    starts, ends = (np.concatenate([getattr(p, n) for p in people], 1) for n in ("starts", "ends"))
    radii = np.concatenate([p.radii for p in people])
    marks, pixels = [], []
    for frame, view in enumerate(views):
        flat = points_m[frame].reshape(-1, 3)
        is_hidden = coco_marks.hidden(flat, view.place, starts[frame], ends[frame], radii)
        marks.append(coco_marks.marks(flat, is_hidden, view).reshape(2, -1, 3))
        pixels.append(view.project(flat)[:, :2].reshape(2, -1, 2))
    return np.stack(marks), np.stack(pixels).astype(np.float32)


def pictures(film: Film) -> Iterator[NDArray[np.uint8]]:
    """Every frame, in order."""
    people = [performed.player.person for performed in film.people]
    with Renderer(people, film.views[0].size_px, film.look.hall) as renderer:
        for frame, view in enumerate(film.views):
            yield renderer.picture(view, [performed.stance(frame) for performed in film.people])


def write_film(
    film: Film, truth: Mapping[str, Any], out: Path, *, with_pictures: bool = True
) -> None:
    """Write ``match.mp4``, ``keypoints.json`` and ``truth.json`` into a folder."""
    out.mkdir(parents=True, exist_ok=True)
    size_px = film.views[0].size_px
    coco = coco_marks.coco(film.marks, film.time_s, size_px)
    coco["info"] = {"description": "Rendered and invented match", "version": "1"}
    (out / "keypoints.json").write_text(json.dumps(coco, separators=(",", ":")) + "\n", "utf-8")
    look = {"seed": film.look.seed, "trouble": film.look.trouble}
    text = json.dumps({**truth, "look": look}, indent=2, ensure_ascii=False)
    (out / "truth.json").write_text(text + "\n", "utf-8")
    if with_pictures:
        rate = round(1 / float(film.time_s[1] - film.time_s[0]))
        shown = ((i / rate, picture) for i, picture in enumerate(pictures(film)))
        end_s = len(film.time_s) / rate
        encoding.write_film(out / "match.mp4", shown, end_s, size_px, key_every=rate)
