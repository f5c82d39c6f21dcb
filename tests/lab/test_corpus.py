"""Training pictures: the same for the same seed, and true to what they show."""

from __future__ import annotations

import shutil

import numpy as np
import pytest

from posescore.evaluation.poses3d.pose_set import JOINTS, PoseSet
from posescore.terms import MIRRORED_KEYPOINTS, STATES, Position

torch = pytest.importorskip("torch")
pytest.importorskip("anny")

from posescore.lab.bodies.posed_body import Rng  # noqa: E402
from posescore.lab.corpus import effects  # noqa: E402
from posescore.lab.corpus import poses as corpus_poses  # noqa: E402
from posescore.lab.corpus.dice import Dice  # noqa: E402
from posescore.lab.corpus.fitting import fit_all  # noqa: E402
from posescore.lab.corpus.framing import framed_whole  # noqa: E402
from posescore.lab.corpus.layout import BODY, all_defines  # noqa: E402
from posescore.lab.corpus.pictures import Batch, PictureMaker  # noqa: E402
from posescore.lab.corpus.rig import BONE, SHAPES, Rig, build_rig  # noqa: E402
from posescore.lab.corpus.skeleton import (  # noqa: E402
    matrix_of_quaternion,
    matrix_of_rotation_vector,
    quaternion_of_rotation_vector,
)
from posescore.lab.poses.upright_poses import standing  # noqa: E402

CPU = torch.device("cpu")


@pytest.fixture(scope="module")
def rig() -> Rig:
    return build_rig(SHAPES[:2])


@pytest.fixture(scope="module")
def pose_set() -> PoseSet:
    rng: Rng = np.random.default_rng(0)
    joints_m = np.asarray(standing(rng, 6), np.float32)
    return PoseSet(joints_m, np.array([0, 0, 0, 1, 1, 1]), np.full(6, -1))


@pytest.fixture(scope="module")
def sampler(rig: Rig, pose_set: PoseSet) -> corpus_poses.PoseSampler:
    fits = fit_all(rig, pose_set.joints_m, iterations=80)
    assert fits.error_m.mean() < 0.08, "bodies are fitted to within a few centimetres"
    return corpus_poses.PoseSampler(rig, fits, pose_set, np.arange(6), CPU)


@pytest.fixture(scope="module")
def batches(rig: Rig, sampler: corpus_poses.PoseSampler) -> tuple[Batch, Batch]:
    if shutil.which("g++") is None:
        pytest.skip("rendering on a CPU needs g++")
    return (
        PictureMaker(rig, sampler, 5, CPU).batch(3),
        PictureMaker(rig, sampler, 5, CPU).batch(3),
    )


def test_rotations_agree() -> None:
    vectors = torch.randn(20, 3, generator=torch.Generator().manual_seed(1))
    by_vector = matrix_of_rotation_vector(vectors)
    by_quaternion = matrix_of_quaternion(quaternion_of_rotation_vector(vectors))
    assert torch.allclose(by_vector, by_quaternion, atol=1e-5)
    assert torch.allclose(by_vector @ by_vector.mT, torch.eye(3).expand(20, 3, 3), atol=1e-5)


def test_keypoints_of_the_rig_lie_on_the_body(rig: Rig) -> None:
    keypoints, rest = rig.rest_keypoints_m, rig.rest_m
    assert (keypoints.min((0, 1)) > rest.min((0, 1)) - 0.01).all()
    mirrored = keypoints[:, MIRRORED_KEYPOINTS] * np.array([-1, 1, 1])
    assert np.allclose(mirrored, keypoints, atol=0.02), "bodies at rest are symmetric"


def test_same_seed_same_pictures(batches: tuple[Batch, Batch]) -> None:
    one, other = batches
    assert torch.equal(one.picture, other.picture)
    assert torch.equal(one.keypoints_px, other.keypoints_px)


def test_truth_is_in_the_picture(batches: tuple[Batch, Batch]) -> None:
    batch = batches[0]
    assert batch.picture.shape == (3, 3, 256, 256)
    assert 0 <= float(batch.picture.min()) <= float(batch.picture.max()) <= 1
    assert bool((batch.visible <= batch.inside).all()), "what is seen is inside"
    for picture, athlete, keypoint in batch.visible.nonzero().tolist():
        x, y = (batch.keypoints_px[picture, athlete, keypoint] / 4).long().clamp(0, 63).tolist()
        near = batch.label[picture, max(0, y - 2) : y + 3, max(0, x - 2) : x + 3]
        owners = {int(v) >> 4 for v in near.flatten() if v}
        assert athlete in owners or not owners, "the label map shows whose keypoint it is"


def test_blends_stay_close_to_the_frames_they_mix(sampler: corpus_poses.PoseSampler) -> None:
    near = sampler._blends
    assert near.frame.shape[0] == 6
    assert bool((near.frame != torch.arange(6)[:, None]).all()), "no frame blends with itself"


def test_training_frames_keep_away_from_held_back_ones() -> None:
    rng = np.random.default_rng(2)
    frames = rng.normal(size=(30, 2, len(JOINTS), 3)).astype(np.float32)
    frames[1] = frames[0] + 0.001  # the same pose in another entry
    entry = np.arange(30)
    poses = PoseSet(frames, entry, np.full(30, -1))
    split = corpus_poses.split_frames(poses)
    assert not set(split.train) & set(split.held_back)
    if (0 in split.held_back) != (1 in split.held_back):
        assert not {0, 1} <= set(split.train) | set(split.held_back)


def test_kernels_know_the_layout() -> None:
    assert f"#define BODY_SEED {BODY.offset['seed']}" in all_defines()


def test_draws_follow_their_weights() -> None:
    drawn = Dice(3, CPU).weighted(torch.tensor([1.0, 0.0, 3.0]), 4000)
    shares = torch.bincount(drawn, minlength=3) / 4000
    assert torch.allclose(shares, torch.tensor([0.25, 0.0, 0.75]), atol=0.03)


def test_authored_poses_train_and_never_move_the_split() -> None:
    rng = np.random.default_rng(4)
    frames = rng.normal(size=(40, 2, len(JOINTS), 3)).astype(np.float32)
    poses = PoseSet(frames, np.repeat(np.arange(20), 2), np.full(40, -1))
    both = corpus_poses.with_authored(poses)
    assert (both.entry[40:] < 0).all()
    alone, split = corpus_poses.split_frames(poses), corpus_poses.split_frames(both)
    assert np.array_equal(split.held_back, alone.held_back)
    assert set(split.train) >= set(alone.train)
    assert (both.entry[split.train] < 0).any()


def test_scarce_positions_are_drawn_more_within_the_authored_share() -> None:
    rng = np.random.default_rng(4)
    frames = rng.normal(size=(20, 2, len(JOINTS), 3)).astype(np.float32)
    poses = corpus_poses.with_authored(PoseSet(frames, np.arange(20), np.full(20, -1)))
    weights = corpus_poses._weights(poses, np.arange(len(poses.entry)))
    authored = poses.entry < 0
    share = weights[authored].sum() / weights.sum()
    assert share == pytest.approx(corpus_poses._AUTHORED_SHARE, abs=1e-4)
    position = np.array([STATES[k].position if k >= 0 else None for k in poses.state])
    back = weights[authored & (position == Position.BACK_CONTROL)].mean()
    mount = weights[authored & (position == Position.MOUNT)].mean()
    assert back / mount == pytest.approx(corpus_poses._AUTHORED[Position.BACK_CONTROL], rel=1e-4)


def test_whole_frames_hold_the_pair_in_frames_of_many_shapes() -> None:
    count = 2000
    low, high = torch.full((count, 2), -0.2), torch.tensor([[0.2, 0.3]]).repeat(count, 1)
    frame = framed_whole(Dice(3, CPU), low, high, 256)
    inner = 1 - frame.bars[:, :2] - frame.bars[:, 2:]
    fills = ((high - low) * frame.scale / 256 / inner).amax(1)
    assert float(fills.min()) > 0.15
    assert float(fills.max()) < 1.11
    assert float((fills > 0.5).float().mean()) > 0.5, "half of the frames hold little but the pair"
    aspect = inner[:, 0] / inner[:, 1]
    assert float(aspect.min()) < 0.65
    assert float(aspect.max()) > 2
    assert len(aspect.round(decimals=2).unique()) > 50
    middle = ((low + high) / 2 - frame.centre) * frame.scale / 256
    reach = (high - low) * frame.scale / 256 / 2
    within = (middle.abs() + reach <= inner / 2 + 1e-4).all(1)
    assert bool(within[fills <= 1].all()), "a pair that fits is not cut off"


def test_effects_are_drawn_alike_in_half_precision() -> None:
    half = Dice(3, CPU).of(torch.float16)
    assert half.uniform(4).dtype == torch.float16
    assert Dice(3, CPU).uniform(4).dtype == torch.float32
    picture = Dice(5, CPU).uniform(2, 3, 64, 64)
    exact = effects._compressed(Dice(3, CPU), picture)
    assert torch.equal(exact, effects._compressed(Dice(3, CPU).of(torch.float32), picture))
    assert 0.001 < float((exact - picture).abs().mean()) < 0.1, "a codec loses a little"
    near = effects._compressed(half, picture.half())
    assert near.dtype == torch.float16
    assert float((near.float() - picture).abs().mean()) < 0.1


def test_limbs_are_told_apart() -> None:
    limb = corpus_poses._limb_of_bone()
    assert limb[BONE["root"]] == limb[BONE["head"]] == 0
    sides = {limb[BONE[n]] for n in ("upperleg01.L", "upperarm01.L", "upperleg01.R", "wrist.R")}
    assert sides == {1, 2, 3, 4}
