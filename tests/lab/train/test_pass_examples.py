"""Pictures of named poses are taken only where they show the pose; both sources are weighed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from posescore.errors import MissingPartError
from posescore.evaluation.poses3d.body_keypoints import body_keypoints_m
from posescore.lab.poses.rare_poses import authored_poses
from posescore.lab.train.criteria.pass_examples import (
    MOST_OFF,
    _consistent,
    _off,
    _Pictures,
    load_examples,
)
from posescore.terms import MIRRORED_KEYPOINTS


def pictures(mirror: bool) -> _Pictures:
    """Authored poses from an oblique view, or its mirror image with the sides named anew."""
    poses = authored_poses(np.random.default_rng(5), 4)
    points = body_keypoints_m(poses.joints_m, np.random.default_rng(0), variation=0.0)
    camera = np.array([[180.0, 60.0], [-70.0, 90.0], [10.0, -200.0]])
    px = points.astype(np.float64) @ camera + [480, 300]
    if mirror:
        px = px[:, :, list(MIRRORED_KEYPOINTS)] * [-1.0, 1.0] + [960, 0]
    return _Pictures(px, px, poses.joints_m.astype(np.float64), poses.entry)


@pytest.mark.parametrize("mirror", [False, True])
def test_pictures_of_the_pose_are_kept_and_known_as_mirror_images(mirror: bool) -> None:
    keep, mirrored = _consistent(pictures(mirror))
    assert keep.all()
    assert (mirrored == mirror).mean() > 0.95  # a pose that is its own mirror image is both


def test_pictures_of_another_pose_are_left_out() -> None:
    right = pictures(mirror=False)
    other = _Pictures(right.found_px, right.true_px[::-1], right.joints_m, right.entry)
    keep, _ = _consistent(other)
    assert keep.mean() < 0.1


def test_the_distance_is_that_of_the_points() -> None:
    random = np.random.default_rng(2)
    points = random.normal(size=(3, 2, 21, 3))
    px = points @ random.normal(size=(3, 2)) + 5.0
    assert _off(points, px) == pytest.approx(np.zeros(3), abs=1e-9)
    assert (_off(points, random.normal(size=px.shape)) > MOST_OFF).all()


def test_a_missing_file_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(MissingPartError, match="is missing: make it with"):
        load_examples(tmp_path / "none.npz")
