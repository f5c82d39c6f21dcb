from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from posescore.position.calibration import fit_calibration
from posescore.position.classifier import PositionClassifier
from posescore.position.examples import (
    Poses,
    draw_examples,
    either_way,
    scrambles,
    training_poses,
)
from posescore.position.material import Amounts, Material, ends_of, folds_of
from posescore.position.measured_training import Measuring
from posescore.position.network import softmax
from posescore.position.training import Settings, train
from posescore.position.weights_file import read_weights, write_weights
from posescore.simulation.pose_set import nearest_distance_m, swapped_states
from posescore.simulation.pose_variation import blends, named_neighbours
from posescore.terms import STATES
from tests.position.test_pictures import pictures
from tests.simulation.pose_sets import pose_set_or_skip

AMOUNTS = Amounts(blends=300, bridges=300, authored=30)
TINY = Settings(
    n_folds=3,
    measuring=Measuring(examples=800, epochs=1, hidden=(12, 8), chunk=400),
    amounts=AMOUNTS,
    looking={"pictures": 256, "batch": 64, "at_once": 2, "judge_steps": 2},
)


@pytest.fixture(scope="module")
def tiny(tmp_path_factory: pytest.TempPathFactory, few_entries: Path) -> Path:
    pytest.importorskip("torch", reason="training needs the extra `training`")
    out = tmp_path_factory.mktemp("model") / "tiny.skops"
    return train(few_entries, out, seed=1, settings=TINY, with_card=False, say=_silent)


@pytest.fixture(scope="module")
def poses() -> Poses:
    """What measured features are learned from, in five folds: made once, for it takes seconds."""
    pose_set = pose_set_or_skip()
    fold = folds_of(pose_set.labelled, 5)
    return training_poses(pose_set, fold, 5, np.random.default_rng(0))


def _silent(_: str) -> None:
    pass


def test_both_kinds_of_networks_come_out_of_training(tiny: Path) -> None:
    classifier = PositionClassifier.load(tiny)
    assert (len(classifier.members), len(classifier.lookers)) == (3, 4)
    given = pictures(0, 20)
    for rows in (classifier.of_keypoints(*given), classifier.of_keypoints(*given, 1)):
        assert np.allclose(rows.sum(1), 1)


def test_the_same_seed_gives_the_same_networks(
    tiny: Path, few_entries: Path, tmp_path: Path
) -> None:
    again = train(
        few_entries, tmp_path / "again.skops", seed=1, settings=TINY, members_from=tiny,
        with_card=False, say=_silent,
    )  # fmt: skip
    rows = pictures(0, 20)
    first, second = (PositionClassifier.load(path).of_keypoints(*rows) for path in (tiny, again))
    assert np.allclose(first, second, atol=1e-3)


def test_networks_that_learned_elsewhere_are_taken_over(
    tiny: Path, few_entries: Path, tmp_path: Path
) -> None:
    from posescore.position.model_file import read_model

    lookers = read_model(tiny)["lookers"]
    write_weights(tmp_path / "learned.npz", lookers)
    assert all(
        np.array_equal(a[k], b[k])
        for a, b in zip(lookers, read_weights(tmp_path / "learned.npz"), strict=True)
        for k in a
    )
    path = train(
        few_entries, tmp_path / "m.skops", seed=1, settings=TINY, members_from=tiny,
        learned=tmp_path / "learned.npz", with_card=False, say=_silent,
    )  # fmt: skip
    rows = pictures(0, 20)
    first, second = (PositionClassifier.load(p).of_keypoints(*rows) for p in (tiny, path))
    assert np.allclose(first, second, atol=1e-6)


def test_material_comes_back_from_its_file(material: Material, tmp_path: Path) -> None:
    material.save(tmp_path / "material.npz")
    again = Material.load(tmp_path / "material.npz")
    assert np.abs(again.frames_m - material.frames_m).max() < 3e-3
    assert np.array_equal(again.barred, material.barred)


def test_ways_without_a_name_keep_away_from_what_is_measured(material: Material) -> None:
    unnamed = (material.state < 0) & (material.source != 4)
    for end in ends_of(material):
        for index in range(2):
            learned = end[unnamed & ~material.barred[:, index]][:400]
            held = material.frames_m[material.fold == index]
            assert (nearest_distance_m(learned, held) >= 0.05).all()


def test_named_frames_are_barred_from_their_own_fold(material: Material) -> None:
    for ends in (material.first, material.second):
        fold = material.fold[ends]
        rows = np.flatnonzero(fold >= 0)
        assert material.barred[rows, fold[rows]].all()


def test_blends_bear_the_name_of_both_ends(material: Material) -> None:
    rows = np.flatnonzero(material.source == 1)
    first, second = (material.name[e[rows]] for e in (material.first, material.second))
    turned = np.where(material.swapped[rows], swapped_states()[second], second)
    assert np.array_equal(first, turned)
    assert np.array_equal(first, material.state[rows])


def test_ends_of_a_way_lie_close(material: Material) -> None:
    first, second = ends_of(material)
    apart = np.sqrt(((first - second) ** 2).sum(-1).mean((1, 2)))
    assert (apart[np.isin(material.source, (1, 3))] < 0.36).all()
    assert (apart[np.isin(material.source, (0, 4))] == 0).all()


def test_no_member_learns_from_its_fold_nor_from_what_is_near_it(poses: Poses) -> None:
    pose_set = pose_set_or_skip()
    named = pose_set.labelled
    fold = folds_of(named, 5)
    near = named_neighbours(pose_set, named)
    unnamed = slice(len(named), len(named) + len(near))
    for index in range(5):
        assert poses.barred[: len(named), index][fold == index].all()
        learned = poses.joints_m[unnamed][~poses.barred[unnamed, index]]
        apart = nearest_distance_m(learned, named.joints_m[fold == index])
        assert (apart >= 0.05).all()
    assert poses.barred.all(1).mean() < 0.01


def test_every_state_is_learned_and_scramble_is_rare(poses: Poses) -> None:
    states = np.bincount(poses.state, weights=poses.weight, minlength=len(STATES))
    share = (states + states[swapped_states()]) / states.sum()
    assert (share > 0.01).all()
    assert share[-1] < 0.15


def test_blends_lie_between_frames_of_one_name() -> None:
    named = pose_set_or_skip().labelled
    frames, state, first, second = blends(named, np.random.default_rng(0), 300)
    swap = swapped_states()
    assert np.array_equal(state, named.state[first])
    same = named.state[second]
    assert ((same == state) | (swap[same] == state)).all()
    assert np.isfinite(frames).all()


def test_scrambles_are_the_middle_of_moves() -> None:
    pose_set = pose_set_or_skip()
    moves = scrambles(pose_set, pose_set.labelled)
    assert 50 < len(moves) < 1500
    for entry in np.unique(moves.entry)[:20]:
        whole = pose_set.joints_m[pose_set.entry == entry]
        inside = moves.joints_m[moves.entry == entry]
        assert not any(np.array_equal(frame, whole[0]) for frame in inside)
        assert not any(np.array_equal(frame, whole[-1]) for frame in inside)


def test_examples_seen_either_way_keep_their_meaning(poses: Poses) -> None:
    rng = np.random.default_rng(0)
    drawn = draw_examples(poses, 50, rng)
    rows, state = either_way(drawn.features, drawn.state, rng)
    assert rows.shape == drawn.features.shape
    swap = swapped_states()
    assert ((state == drawn.state) | (state == swap[drawn.state])).all()
    assert (state != drawn.state).any()


def test_calibration_undoes_overconfidence() -> None:
    rng = np.random.default_rng(0)
    n_states = len(STATES)
    logits = 1.5 * rng.standard_normal((4000, n_states))
    right = softmax(logits)
    truth = np.array([rng.choice(n_states, p=row) for row in right])
    logs = np.log(softmax(2.0 * logits))
    slope, offset = fit_calibration(logs, truth, np.ones(4000))
    assert slope == pytest.approx(0.5, abs=0.08)
    assert np.abs(offset).max() < 0.3
    assert np.allclose(offset, offset[swapped_states()])
