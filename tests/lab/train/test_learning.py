"""What is drawn and learned in torch against the same in what the program runs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="learning needs the extra `lab`")

from posescore.evaluation.poses3d import estimator_errors  # noqa: E402
from posescore.evaluation.poses3d.body_keypoints import body_keypoints_m  # noqa: E402
from posescore.evaluation.poses3d.cameras import random_cameras  # noqa: E402
from posescore.evaluation.poses3d.pose_set import JOINT  # noqa: E402
from posescore.lab.poses import pose_variation  # noqa: E402
from posescore.lab.poses.rare_poses import authored_poses  # noqa: E402
from posescore.lab.train.positions.chance import Chance  # noqa: E402
from posescore.lab.train.positions.drawing import (  # noqa: E402
    Filmed,
    Ways,
    filmed,
    freer_poses_on,
    keypoints_of,
    mix,
    poses_on,
)
from posescore.lab.train.positions.errors import badly, evenly, hidden  # noqa: E402
from posescore.lab.train.positions.export import networks_of, write_networks  # noqa: E402
from posescore.lab.train.positions.judges import Judges, weights_of  # noqa: E402
from posescore.lab.train.positions.lessons import Teacher, given, read_real  # noqa: E402
from posescore.lab.train.positions.material import (  # noqa: E402
    SCRAMBLE,
    SWAPPED_STATES,
    Material,
)
from posescore.lab.train.positions.stack import Sizes, Stack  # noqa: E402
from posescore.pose.estimators.session import opened_network  # noqa: E402
from posescore.position.network import PairNetworks  # noqa: E402
from posescore.position.normalise import given as given_by_numpy  # noqa: E402
from posescore.terms import KEYPOINT_INDEX, N_COCO, STATES  # noqa: E402
from tests.position.test_normalise import pictures  # noqa: E402

CPU = torch.device("cpu")


@pytest.fixture
def chance() -> Chance:
    return Chance(0, CPU)


@pytest.fixture(scope="module")
def frames() -> np.ndarray:
    return authored_poses(np.random.default_rng(0), 40).joints_m


def test_keypoints_are_given_to_both_alike() -> None:
    keypoints, confidence = pictures(3, 60)
    rows, _, _ = given(torch.tensor(keypoints), torch.tensor(confidence))
    assert np.allclose(rows.numpy(), given_by_numpy(keypoints, confidence), atol=1e-5)


def test_a_network_answers_alike_in_torch_and_in_its_file(chance: Chance, tmp_path: Path) -> None:
    stack, path = Stack(2, Sizes(), chance), tmp_path / "networks.onnx"
    rows = given_by_numpy(*pictures(4, 70))
    logits, restored = stack(torch.tensor(rows))
    assert restored.shape == (2, 70, 2, 21, 4)
    write_networks(path, stack.weights(), 1, {})
    networks = PairNetworks(opened_network(path, 1).session)
    for index in range(2):
        answer = networks.logits(rows, index)[:, 0]
        # Weights lie in half precision.
        assert np.allclose(answer, logits[index].detach().numpy(), atol=2e-2)
    for kept, written in zip(networks_of(path), stack.weights(), strict=True):
        assert set(kept) == set(written)
        assert all(np.allclose(kept[name], written[name], atol=2e-3) for name in kept)


def test_weights_are_taken_over(chance: Chance) -> None:
    first, second = Stack(2, Sizes(), chance), Stack(2, Sizes(), chance)
    second.begin_with(first.weights())
    rows = torch.tensor(given_by_numpy(*pictures(5, 20)))
    assert torch.allclose(first(rows)[0], second(rows)[0], atol=1e-5)


def test_halfway_is_the_same_halfway(frames: np.ndarray) -> None:
    first, second = frames[:50], frames[50:100]
    part = np.random.default_rng(0).random(50)
    expected = pose_variation.mix(first, second, part)
    found = mix(*(torch.tensor(m) for m in (first, second, part.astype(np.float32))))
    assert np.allclose(found.numpy(), expected, atol=1e-4)


def test_every_joint_can_go_its_own_part_of_the_way(frames: np.ndarray) -> None:
    first, second = (torch.tensor(m) for m in (frames[:50], frames[50:100]))
    part = torch.rand(50)
    each = part[:, None, None].expand(50, *frames.shape[1:3]).clone()
    assert torch.allclose(mix(first, second, each), mix(first, second, part), atol=1e-5)
    each[:, 1] = 1.0
    mixed = mix(first, second, each)
    assert torch.allclose(mixed[:, 1], second[:, 1], atol=1e-4)
    assert torch.allclose(mixed[:, 0], mix(first, second, part)[:, 0], atol=1e-5)


def test_half_of_the_poses_stray_and_keep_their_bones(frames: np.ndarray, chance: Chance) -> None:
    first, second = (torch.tensor(frames).repeat(5, 1, 1, 1), torch.tensor(frames).flip(0))
    ways = Ways(first, second.repeat(5, 1, 1, 1), torch.full((len(first),), 0.5))
    pose, strayed = freer_poses_on(ways, torch.arange(len(first)), chance)
    assert 0.4 < float(strayed.float().mean()) < 0.6
    shin = [
        torch.linalg.vector_norm(m[:, :, JOINT["left_knee"]] - m[:, :, JOINT["left_ankle"]], dim=-1)
        for m in (pose, first)
    ]
    assert float(shin[0].mean()) == pytest.approx(float(shin[1].mean()), rel=0.05)
    assert torch.isfinite(pose).all()


def test_the_same_keypoints_are_hidden(frames: np.ndarray) -> None:
    rng = np.random.default_rng(0)
    keypoints_m = body_keypoints_m(frames, rng)
    cameras = random_cameras(keypoints_m, rng)
    keypoints_px, depth_m = cameras.project(keypoints_m)
    px_per_m = (cameras.focal_px / depth_m.mean((1, 2))).astype(np.float32)
    expected = estimator_errors.hidden(keypoints_px, depth_m, px_per_m)
    seen = Filmed(*(torch.tensor(part) for part in (keypoints_px, depth_m, px_per_m)))
    assert (hidden(seen).numpy() == expected).mean() > 0.999
    assert 0.05 < expected.mean() < 0.7


def test_bent_poses_keep_to_the_floor_and_their_bones(frames: np.ndarray, chance: Chance) -> None:
    ends = torch.tensor(frames)
    pose = poses_on(Ways(ends, ends, torch.ones(len(ends))), torch.arange(len(ends)), chance)
    assert torch.allclose(pose[..., 2].amin((1, 2)), torch.tensor(0.03), atol=1e-5)
    for a, b in (("left_knee", "left_ankle"), ("right_shoulder", "right_elbow")):
        bone = [
            torch.linalg.vector_norm(m[:, :, JOINT[a]] - m[:, :, JOINT[b]], dim=-1)
            for m in (pose, ends)
        ]
        ratio = bone[0].mean() / bone[1].mean()
        assert 0.95 < float(ratio) < 1.05


def test_cameras_see_the_pair_in_the_same_size_as_numpy_does(
    frames: np.ndarray, chance: Chance
) -> None:
    points = keypoints_of(torch.tensor(frames), chance)
    seen = filmed(points, chance)
    rng = np.random.default_rng(0)
    keypoints_m = body_keypoints_m(frames, rng)
    expected, _ = random_cameras(keypoints_m, rng).project(keypoints_m)
    sizes = [
        np.median(estimator_errors.pair_size_px(np.asarray(p))) for p in (seen.point_px, expected)
    ]
    assert sizes[0] == pytest.approx(sizes[1], rel=0.15)
    # The picture's y points down: heads of standing athletes are above their ankles.
    upright = torch.tensor(frames[..., JOINT["head"], 2].min(1) > 1.2)
    head, ankle = (KEYPOINT_INDEX[k] for k in ("nose", "left_ankle"))
    above = seen.point_px[upright][:, :, head, 1] < seen.point_px[upright][:, :, ankle, 1]
    assert float(above.float().mean()) > 0.9


def test_even_errors_are_mostly_two_and_ten_per_cent(frames: np.ndarray, chance: Chance) -> None:
    seen = filmed(keypoints_of(torch.tensor(frames), chance), chance)
    spoiled = evenly(seen, chance)
    assert torch.isnan(spoiled.point_px[:, :, N_COCO:]).all()
    points = seen.point_px[:, :, :N_COCO].flatten(1, 2)
    size = (points.amax(1) - points.amin(1)).amax(-1)[:, None, None]
    error = torch.linalg.vector_norm(spoiled.point_px - seen.point_px, dim=-1)[..., :N_COCO] / size
    known = torch.isfinite(error)
    assert float(error[known].median()) == pytest.approx(0.024, rel=0.25)
    assert float((error[known] > 0.1).float().mean()) == pytest.approx(0.085, abs=0.03)


def test_errors_of_estimators_are_as_numpy_draws_them(frames: np.ndarray, chance: Chance) -> None:
    rng = np.random.default_rng(0)
    seen = filmed(keypoints_of(torch.tensor(frames), chance), chance)
    spoiled = badly(seen, chance)
    true_px = seen.point_px.numpy()
    found, sure = estimator_errors.estimate_badly(true_px, hidden(seen).numpy(), rng)
    size = estimator_errors.pair_size_px(true_px)[:, None, None]
    for level in (0.5, 0.9):
        errors = [
            np.nanquantile(np.linalg.norm(np.asarray(p) - true_px, axis=-1) / size, level)
            for p in (spoiled.point_px, found)
        ]
        assert errors[0] == pytest.approx(errors[1], rel=0.15)
    for mine, other in ((spoiled.confidence.numpy(), sure),):
        assert np.isnan(mine).mean() == pytest.approx(np.isnan(other).mean(), abs=0.05)
        assert np.nanmean(mine) == pytest.approx(np.nanmean(other), abs=0.05)


def test_lessons_keep_to_their_folds_and_targets(material: Material, chance: Chance) -> None:
    judges = Judges(material.n_folds + 1, chance)
    teacher = Teacher(material, Ways.of(material, CPU), judges, chance)
    lesson = teacher.drawn(64, 2)
    assert lesson.rows.shape == (2, 64, 2, 21, 4)
    assert torch.isfinite(lesson.rows).all()
    assert torch.isfinite(lesson.truth).all()
    assert torch.allclose(lesson.target.sum(-1), torch.tensor(1.0), atol=1e-4)
    assert (lesson.counts[:, -1] == 1).all()  # the last network learns from all
    assert 0.5 < float(lesson.counts.mean()) < 1
    chosen = torch.tensor(np.flatnonzero(material.barred[:, 0])[:50])
    assert (teacher.open[chosen, 0] == 0).all()


def test_names_are_drawn_and_scramble_only_from_the_middle_of_moves(material: Material) -> None:
    weight = weights_of(material, np.where(material.between, SCRAMBLE, 0))
    assert weight.sum() == pytest.approx(1)
    share = np.bincount(material.state[material.state >= 0], minlength=len(STATES))
    assert (share + share[SWAPPED_STATES] > 0).all()
    named = weights_of(material)
    assert (named[material.state < 0] == 0).all()


def test_what_a_pose_pass_gave_is_barred_from_its_fold(
    material: Material, tmp_path: object
) -> None:
    from pathlib import Path

    path = Path(str(tmp_path)) / "pass_errors.npz"
    count = material.n_folds
    frame = np.array([int(np.flatnonzero(material.fold == k)[0]) for k in range(count)])
    keypoints = np.random.default_rng(0).uniform(0, 900, (count, 2, 21, 2)).astype(np.float16)
    np.savez(
        path, found_px=keypoints, true_px=keypoints, frame=frame, state=material.name[frame],
        confidence=np.ones((count, 2, 21), np.float16),
    )  # fmt: skip
    real = read_real([path], material, CPU)
    assert np.array_equal(real.counts.numpy(), 1 - np.eye(count, count + 1))
