"""The open pose set for tests, or a skip that says what is missing."""

from __future__ import annotations

from functools import cache

import pytest

from posescore.errors import MissingPartError
from posescore.evaluation.poses3d.pose_set import PoseSet, load_pose_set, pose_set_path


def _is_here() -> bool:
    try:
        return pose_set_path().is_file()
    except MissingPartError:
        return False


needs_pose_set = pytest.mark.skipif(
    not _is_here(), reason="the open pose set is not here: set POSESCORE_POSES3D"
)


@cache
def _load() -> PoseSet | str:
    try:
        return load_pose_set()
    except MissingPartError as error:
        return str(error)


def pose_set_or_skip() -> PoseSet:
    found = _load()
    if isinstance(found, str):
        pytest.skip(found)
    return found
