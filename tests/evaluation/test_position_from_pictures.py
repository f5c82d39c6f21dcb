from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from posescore.errors import InputError
from posescore.evaluation.poses3d.pose_set import load_pose_set
from posescore.evaluation.position import spoiled_keypoints
from posescore.evaluation.position_from_pictures import evaluate_pass, judge_pass, read_pass
from posescore.lab.train.positions.calibration import pass_calibrations
from posescore.lab.train.positions.material import folds_of
from posescore.position.classifier import PositionClassifier
from tests.evaluation.pose_sets import pose_set_or_skip


@pytest.fixture
def written(tmp_path: Path) -> Path:
    """Named frames through cameras without errors, every second one unknown to the pair network."""
    pose_set = pose_set_or_skip()
    frame = np.flatnonzero(pose_set.state >= 0)[::6]
    found, sure = spoiled_keypoints(pose_set.joints_m[frame], np.random.default_rng(0), 0.0, 0.0)
    path = tmp_path / "pass_errors.npz"
    np.savez(
        path, found_px=found.astype(np.float16), confidence=sure, frame=frame,
        state=pose_set.state[frame], entry=pose_set.entry[frame],
        trained=np.arange(len(frame)) % 2 == 0,
    )  # fmt: skip
    return path


def test_what_the_pair_network_learned_from_is_left_out(written: Path) -> None:
    classifier, given = PositionClassifier.load(), read_pass([written])
    pose_set = load_pose_set()
    unread = judge_pass(classifier, pose_set, given, unread=True)
    assert len(unread.truth) == (~given["trained"]).sum()
    every = judge_pass(classifier, pose_set, given)
    assert len(every.truth) == len(given["frame"])
    assert set(every.entry) == set(given["entry"])
    assert np.allclose(every.probability.sum(1), 1)


def test_pictures_without_errors_are_mostly_right(written: Path) -> None:
    figures = evaluate_pass([written, written])
    assert figures["accuracy"] > 0.85
    assert figures["pictures"] > 100


def test_the_calibration_for_a_pose_pass_is_fitted_on_what_it_gave(written: Path) -> None:
    pose_set, given = load_pose_set(), read_pass([written])
    fold = folds_of(pose_set.labelled, 5)
    classifier = PositionClassifier.load()
    rng = np.random.default_rng(0)
    fits = pass_calibrations(classifier.networks, pose_set, fold, given, rng)
    assert len(fits) == 6
    # Without errors the networks may be believed more than where a pose pass errs.
    assert fits[-1][0] > classifier.pass_calibrations[-1].slope


def test_another_file_is_refused_in_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "other.npz"
    np.savez(path, something=np.zeros(3))
    with pytest.raises(InputError, match=r"other\.npz"):
        read_pass([path])
    with pytest.raises(InputError, match=r"none\.npz"):
        read_pass([tmp_path / "none.npz"])
