"""Bodies, contact and the renderer. Needs the extra ``lab``; skips without it."""

from __future__ import annotations

import importlib.util
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

_MISSING = [
    name for name in ("torch", "anny", "scipy", "moderngl") if not importlib.util.find_spec(name)
]
if _MISSING:
    pytest.skip(f"the extra 'lab' is absent: {_MISSING}", allow_module_level=True)
with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import anny  # noqa: F401
    import torch

from posescore.errors import MissingPartError  # noqa: E402
from posescore.lab.bodies import fitting  # noqa: E402
from posescore.lab.bodies.body import (  # noqa: E402
    Skeleton,
    keypoints,
    make_skeleton,
    orthonormal,
    pose,
    six_numbers,
)
from posescore.lab.bodies.contact import steps  # noqa: E402
from posescore.lab.bodies.flesh import bone_matrices  # noqa: E402
from posescore.lab.poses import ground_poses, opening_poses  # noqa: E402
from posescore.lab.stage import coco_marks  # noqa: E402
from posescore.lab.stage.cast import BUILDS, Player, make_player  # noqa: E402
from posescore.lab.stage.handheld import View, look_at  # noqa: E402
from posescore.lab.stage.renderer import Renderer, Stance  # noqa: E402
from posescore.terms import KEYPOINT_INDEX  # noqa: E402

pytestmark = pytest.mark.filterwarnings("default")
KEYS = (opening_poses.GRIPS, opening_poses.CLOSED_GUARD, ground_poses.MOUNT)
SIZE_PX = (320, 180)


@pytest.fixture(scope="module")
def players() -> tuple[Player, Player]:
    torch.set_num_threads(1)
    return make_player(0), make_player(1)


@pytest.fixture(scope="module")
def fitted(players: tuple[Player, Player]) -> torch.Tensor:
    skeletons = (players[0].skeleton, players[1].skeleton)
    upper = fitting.make_target(
        [key.upper for key in KEYS],
        [key.upper_knees_down for key in KEYS],
        [key.rests[0] for key in KEYS],
    )
    lower = fitting.make_target([key.lower for key in KEYS], None, [key.rests[1] for key in KEYS])
    return fitting.fit((upper, lower), skeletons, n_steps=250)


def test_rest_pose_has_its_keypoints_where_the_body_model_has_them() -> None:
    skeleton = make_skeleton(BUILDS[0])
    eye = six_numbers(torch.eye(3, dtype=torch.float64))
    _, flexion = fitting.elbow_rest(skeleton, "L")
    hinges = torch.stack((torch.zeros_like(flexion), torch.zeros_like(flexion), flexion, flexion))
    numbers = torch.cat((torch.zeros(3, dtype=torch.float64), *[eye] * 9, hinges))
    found = keypoints(skeleton, pose(skeleton, numbers))
    assert (found - skeleton.keypoints).abs().max() < 1e-9
    height_m = float(skeleton.keypoints[:, 2].max() - skeleton.keypoints[:, 2].min())
    assert 1.5 < height_m < 1.8


@given(st.lists(st.floats(-3, 3), min_size=6, max_size=6))
@settings(max_examples=50, deadline=None)
def test_any_six_numbers_are_a_rotation(numbers: list[float]) -> None:
    six = torch.tensor(numbers, dtype=torch.float64)
    across = torch.linalg.cross(six[:3], six[3:]).norm()
    if across < 1e-3:
        return
    turned = orthonormal(six)
    assert torch.allclose(turned @ turned.T, torch.eye(3, dtype=torch.float64), atol=1e-9)
    assert torch.allclose(orthonormal(six_numbers(turned)), turned, atol=1e-9)


def test_bones_keep_their_lengths(players: tuple[Player, Player], fitted: torch.Tensor) -> None:
    for slot, player in enumerate(players):
        posed = pose(player.skeleton, fitted[slot])
        for one, other in (("upperleg01.L", "lowerleg01.L"), ("lowerarm01.R", "wrist.R")):
            lengths = (posed.head[one] - posed.head[other]).norm(dim=-1)
            wanted = player.skeleton.between(one, other).norm()
            assert torch.allclose(lengths, wanted.expand_as(lengths), atol=1e-9)


def test_feet_stand_on_the_mat(players: tuple[Player, Player], fitted: torch.Tensor) -> None:
    """In the standing pose both athletes' soles lie on the mat; in mount A's knees do."""
    for slot, player in enumerate(players):
        points = keypoints(player.skeleton, pose(player.skeleton, fitted[slot]))
        soles = points[0, [KEYPOINT_INDEX[f"{s}_heel"] for s in ("left", "right")], 2]
        assert (soles - 0.02).abs().max() < 0.03
    posed = pose(players[0].skeleton, fitted[0])
    for side in "LR":
        assert abs(float(posed.head[f"lowerleg01.{side}"][2, 2]) - fitting.KNEE_M) < 0.02


def test_bodies_touch_and_do_not_sink_in(
    players: tuple[Player, Player], fitted: torch.Tensor
) -> None:
    places = [
        fitting.ends(player.skeleton, pose(player.skeleton, fitted[slot]))
        for slot, player in enumerate(players)
    ]
    assert fitting.overlap(*places).max() < 0.035
    assert all(fitting.sunk(place).max() < 0.02 for place in places)
    hips = (places[0]["root"][2] - places[1]["spine03"][2]).norm()
    assert hips < 0.4, "in mount the upper athlete sits on the lower one's belly"


def test_gaps_between_segments_match_brute_force() -> None:
    random = np.random.default_rng(0)
    p, u, q, v = torch.from_numpy(random.normal(size=(4, 40, 3)))
    share = torch.linspace(0, 1, 201, dtype=torch.float64)
    one = p[:, None] + share[:, None] * u[:, None]
    other = q[:, None] + share[:, None] * v[:, None]
    brute = torch.cdist(one, other).amin((1, 2))
    assert torch.allclose(fitting.segment_gaps(p, u, q, v), brute, atol=0.03)


def test_a_body_in_front_hides_a_point() -> None:
    points = np.array([[0.0, 2.0, 1.0], [0.0, 0.5, 1.0]])
    hidden = coco_marks.hidden(
        points, np.zeros(3), np.array([[-1.0, 1.0, 0.5]]), np.array([[1.0, 1.0, 0.5]]),
        np.array([0.1]),
    )  # fmt: skip
    assert hidden.tolist() == [True, False]


def test_steps_lift_one_foot_after_the_other() -> None:
    cue_s, time_s = np.array([0.0, 1.0, 2.0]), np.linspace(0, 2, 61)
    ankle = np.zeros((3, 2, 3))
    ankle[1:, :, 0] = 0.3
    path, weight = steps(ankle, np.ones((3, 2)), cue_s, time_s, first=0)
    assert (weight == 1).all()
    assert np.abs(path[30:] - ankle[1]).max() < 1e-9
    assert path[:, :, 2].max() > 0.05
    assert path[9, 0, 2] > 0.04
    assert path[9, 1, 2] == 0
    assert np.linalg.norm(np.diff(path, axis=0), axis=-1).max() < 0.06


def stance(player: Player, numbers: torch.Tensor, key: int) -> Stance:
    posed = pose(player.skeleton, numbers[key : key + 1])
    starts, ends, radii = fitting.capsule_ends(fitting.ends(player.skeleton, posed))
    matrices = bone_matrices(player.flesh.rig, player.skeleton, posed, 0)
    return Stance(matrices, starts[0].numpy(), ends[0].numpy(), radii.numpy())


def away(stance_here: Stance) -> Stance:
    matrices = stance_here.matrices.copy()
    matrices[:, 0, 3] += 60
    return Stance(matrices, stance_here.starts + 60, stance_here.ends + 60, stance_here.radii)


def view() -> View:
    place = np.array([0.2, -3.4, 1.6])
    turned = look_at(place, np.array([0.0, 0.0, 0.8]), 0.0)
    return View(turned, place, 295.0, SIZE_PX)


def renderer(players: tuple[Player, Player]) -> Renderer:
    try:
        return Renderer([player.person for player in players], SIZE_PX)
    except MissingPartError as error:
        pytest.skip(str(error))


def test_a_picture_is_the_same_twice_and_shows_people_where_keypoints_are(
    players: tuple[Player, Player], fitted: torch.Tensor
) -> None:
    here = [stance(player, fitted[slot], 0) for slot, player in enumerate(players)]
    pictures = []
    for stances in (here, here, [away(each) for each in here]):
        with renderer(players) as drawing:
            pictures.append(drawing.picture(view(), stances).astype(int))
    assert (pictures[0] == pictures[1]).all()
    changed = np.abs(pictures[0] - pictures[2]).max(-1) > 12
    points = torch.cat(
        [keypoints(p.skeleton, pose(p.skeleton, fitted[s]))[0] for s, p in enumerate(players)]
    )
    pixels = np.round(view().project(points.numpy())[:, :2]).astype(int)
    shown = [changed[y, x] for x, y in pixels if 0 <= x < SIZE_PX[0] and 0 <= y < SIZE_PX[1]]
    assert len(shown) > 36
    assert np.mean(shown) > 0.9


def test_skeleton_is_of_the_body_model(players: tuple[Player, Player]) -> None:
    skeleton: Skeleton = players[0].skeleton
    assert {"root", "upperleg01.L", "wrist.R", "head"} <= set(skeleton.heads)
