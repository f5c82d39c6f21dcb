from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from posescore.position.classifier import PositionClassifier
from posescore.position.examples import (
    Examples,
    Poses,
    draw_examples,
    either_way,
    folds_of,
    scrambles,
    training_poses,
)
from posescore.position.features import N_FEATURES
from posescore.position.network import softmax
from posescore.position.training import Settings, fit_calibration, train
from posescore.simulation.pose_set import nearest_distance_m, swapped_states
from posescore.simulation.pose_variation import blends, named_neighbours
from posescore.terms import STATES, Position
from tests.simulation.pose_sets import pose_set_or_skip

TINY = Settings(n_folds=3, rounds=1, examples=800, epochs=1, hidden=(12, 8), chunk=400)


@pytest.fixture(scope="module")
def tiny(tmp_path_factory: pytest.TempPathFactory) -> PositionClassifier:
    pose_set_or_skip()
    path = train(
        out=tmp_path_factory.mktemp("model") / "tiny.skops",
        seed=1,
        settings=TINY,
        with_card=False,
        say=_silent,
    )
    return PositionClassifier.load(path)


@pytest.fixture(scope="module")
def poses() -> Poses:
    """What is learned from, in five folds: made once, for it takes seconds."""
    pose_set = pose_set_or_skip()
    fold = folds_of(pose_set.labelled, 5)
    return training_poses(pose_set, fold, 5, np.random.default_rng(0))


def _silent(_: str) -> None:
    pass


def test_the_same_seed_gives_the_same_classifier(tiny: PositionClassifier, tmp_path: Path) -> None:
    again = PositionClassifier.load(
        train(out=tmp_path / "again.skops", seed=1, settings=TINY, with_card=False, say=_silent)
    )
    rows = np.random.default_rng(0).random((20, N_FEATURES), np.float32)
    assert np.array_equal(tiny.of_features(rows), again.of_features(rows))
    assert len(tiny.members) == 3


def test_more_examples_from_elsewhere_are_learned(tiny: PositionClassifier, tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    turtle = next(i for i, s in enumerate(STATES) if s.position is Position.TURTLE)
    rows = np.full((3000, N_FEATURES), 0.9, np.float32)
    rows += 0.01 * rng.standard_normal(rows.shape, np.float32)
    extra = Examples(rows, np.full(3000, turtle), np.zeros((3000, 3), bool), np.zeros(3000, int))
    path = train(
        out=tmp_path / "m.skops", seed=1, settings=TINY, extra=[extra], with_card=False, say=_silent
    )
    both = [turtle, swapped_states()[turtle]]
    before = tiny.of_features(rows[:5])[:, both].sum(1)
    after = PositionClassifier.load(path).of_features(rows[:5])[:, both].sum(1)
    assert (after > 1.5 * before).all()


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
