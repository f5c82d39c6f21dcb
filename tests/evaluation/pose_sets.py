"""The open pose set for tests, or a skip that says what is missing."""

from __future__ import annotations

from functools import cache

import pytest

from posescore.errors import MissingPartError
from posescore.evaluation.poses3d.pose_set import PoseSet, load_pose_set


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
