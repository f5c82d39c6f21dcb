"""The judges on bodies that people posed; nothing was fitted on them."""

from __future__ import annotations

import pytest

from posescore.errors import MissingPartError
from posescore.lab.train.criteria.open_poses import measure

LEAST_FOUND = {
    # Where yes and where no is true; few poses each, so well below what was measured.
    "knee_down": (0.80, 0.60),
    "facing_head": (0.85, None),
    "leg_trapped": (0.78, 0.72),
    "knee_of_opponent_down": (0.78, None),
    "behind_shoulder_line": (0.85, 0.75),
    "other_knee_down": (0.80, 0.62),
    "hook": (0.82, None),
}


def test_judges_carry_over_to_poses_of_people() -> None:
    try:
        rows = measure()
    except MissingPartError as absent:
        pytest.skip(str(absent))
    found = {name: (yes, no) for name, _, _, yes, no in rows}
    for name, least in LEAST_FOUND.items():
        for share, wanted in zip(found[name], least, strict=True):
            assert wanted is None or share >= wanted, name
