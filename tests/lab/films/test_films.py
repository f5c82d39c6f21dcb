"""Films of walked matches: looks, truth, poor copies, and bodies that follow the joints."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from posescore.footage.encoding import write_film
from posescore.footage.reading import Footage
from posescore.lab.films.degrade import degrade
from posescore.terms import STATES, Athlete, Position, State

_MISSING = [n for n in ("torch", "anny", "scipy", "moderngl") if not importlib.util.find_spec(n)]
if _MISSING:
    pytest.skip(f"the extra 'lab' is absent: {_MISSING}", allow_module_level=True)

from posescore.evaluation.poses3d.pose_set import load_pose_set  # noqa: E402
from posescore.lab.films import bodies, filming  # noqa: E402
from posescore.lab.films.looks import FilmLook, draw_look  # noqa: E402
from posescore.lab.films.measure import true_states  # noqa: E402
from posescore.terms import KEYPOINT_INDEX  # noqa: E402
from tests.evaluation.pose_sets import needs_pose_set  # noqa: E402

pytestmark = pytest.mark.filterwarnings("default")


@pytest.fixture(scope="module")
def walked() -> np.ndarray[Any, np.dtype[np.float32]]:
    """Half a second of one move of the open set."""
    poses = load_pose_set()
    names, counts = np.unique(poses.entry, return_counts=True)
    frames = poses.joints_m[poses.entry == names[np.argmax(counts)]][:2]
    share = np.linspace(0, 1, 15, dtype=np.float32)[:, None, None, None]
    return (1 - share) * frames[0] + share * frames[1]


def test_every_second_look_has_trouble() -> None:
    looks = [draw_look(seed, 50.0) for seed in range(40)]
    assert [bool(look.trouble) for look in looks] == [bool(seed % 2) for seed in range(40)]
    kinds = {kind for look in looks for kind in look.trouble}
    assert kinds == {"referee", "pan", "cut"}
    assert draw_look(7, 50.0) == draw_look(7, 50.0)


def test_true_states_leave_the_edges_of_scrambles_open() -> None:
    truth = {
        "n_frames": 120,
        "states": [
            {"start_s": 0.0, "end_s": 1.0, "position": "standing"},
            {"start_s": 1.0, "end_s": 2.0, "position": "scramble"},
            {"start_s": 2.0, "end_s": 4.0, "position": "mount", "upper": "B"},
        ],
    }
    state = true_states(truth)
    assert state[29] == STATES.index(State(Position.STANDING))
    assert (state[30:37] == -1).all()
    assert state[45] == STATES.index(State(Position.SCRAMBLE))
    assert (state[60:] == STATES.index(State(Position.MOUNT, Athlete.B))).all()


@pytest.mark.parametrize(
    ("kind", "size", "frames"),
    [("lines240", (426, 240), 30), ("fps12", (640, 480), 12), ("squeezed", (640, 480), 30)],
)
def test_poor_films_are_as_poor_as_said(
    tmp_path: Path, kind: str, size: tuple[int, int], frames: int
) -> None:
    wide = (640, 480) if kind != "lines240" else (852, 480)
    rng = np.random.default_rng(0)
    pictures = rng.integers(0, 255, (30, wide[1] // 8, wide[0] // 4, 3), np.uint8)
    big = (picture.repeat(8, 0).repeat(4, 1) for picture in pictures)
    shown = ((i / 30, picture) for i, picture in enumerate(big))
    write_film(tmp_path / "film.mp4", shown, 1.0, wide)
    degrade(tmp_path / "film.mp4", tmp_path / "poor.mp4", kind)
    poor = Footage(tmp_path / "poor.mp4")
    assert poor.size_px == size
    assert len(poor.clock()) == frames
    assert poor.clock().end_s == pytest.approx(1.0, abs=0.05)
    if kind == "squeezed":
        before, after = ((tmp_path / f"{n}.mp4").stat().st_size for n in ("film", "poor"))
        assert after < before / 2


@needs_pose_set
def test_bodies_lie_on_the_joints_and_do_not_jump(
    walked: np.ndarray[Any, np.dtype[np.float32]],
) -> None:
    body = bodies.fit_body(filming.rig_of_builds(), 0, walked[:, 0])
    assert body.error_m.mean() < 0.05
    assert np.linalg.norm(np.diff(body.keypoints_m, axis=0), axis=-1).max() < 0.12
    size = np.linalg.norm(body.turn, axis=-2)
    np.testing.assert_allclose(size, body.size, rtol=1e-3)


@needs_pose_set
def test_a_film_has_pictures_truth_and_a_further_left_than_b(
    walked: np.ndarray[Any, np.dtype[np.float32]], tmp_path: Path
) -> None:
    look: FilmLook = draw_look(4, 0.5)
    film = filming.make_film(walked, look, frames_per_s=10, size_px=(320, 180))
    assert len(film.time_s) == 5
    assert film.true_px[:, 0, :, 0].mean() < film.true_px[:, 1, :, 0].mean()
    filming.write_film(film, {"version": 1}, tmp_path)
    footage = Footage(tmp_path / "match.mp4")
    assert (footage.size_px, len(footage.clock())) == ((320, 180), 5)
    coco = json.loads((tmp_path / "keypoints.json").read_text("utf-8"))
    first = np.array(coco["annotations"][0]["keypoints"]).reshape(21, 3)
    seen = first[:, 2] == 2
    assert seen.any()
    np.testing.assert_allclose(first[seen, :2], film.true_px[0, 0][seen], atol=0.06)
    nose = KEYPOINT_INDEX["nose"]
    assert np.isfinite(film.true_px[:, :, nose]).all()
    picture = footage.frame(0).picture
    assert picture.std() > 10
