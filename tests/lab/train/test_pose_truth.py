"""Criteria read off 3D joints of bodies placed by hand."""

from __future__ import annotations

import numpy as np
import pytest

from posescore.evaluation.poses3d.pose_set import JOINT
from posescore.lab.train.criteria.pose_truth import cases_of
from posescore.terms import Position


def behind(left_heel: tuple[float, float, float], right_heel: tuple[float, float, float],
           turn_deg: float) -> np.ndarray:  # fmt: skip
    """A pair seen from above: the lower one sits facing +y, the upper one's heels are given."""
    pairs = np.zeros((1, 2, 23, 3))
    for side, x in (("left", -0.12), ("right", 0.12)):
        pairs[0, :, JOINT[f"{side}_hip"]] = [x, 0.0, 0.2]
    pairs[0, :, JOINT["neck"]] = [0.0, 0.0, 0.75]
    pairs[0, 0, JOINT["left_heel"]], pairs[0, 0, JOINT["right_heel"]] = left_heel, right_heel
    angle = np.deg2rad(turn_deg)
    sine, cosine = np.sin(angle), np.cos(angle)
    return np.asarray(pairs @ np.array([[cosine, sine, 0], [-sine, cosine, 0], [0, 0, 1]]))


@pytest.mark.parametrize("turn_deg", [0.0, 70.0, 200.0])
@pytest.mark.parametrize(
    ("left", "right", "hooks", "crossed"),
    [
        ((-0.1, 0.3, 0.3), (0.1, 0.3, 0.3), (True, True), False),
        ((0.09, 0.3, 0.3), (-0.08, 0.35, 0.35), (True, True), True),
        ((-0.5, 0.1, 0.1), (0.1, 0.3, 0.3), (False, True), False),
        ((0.01, 0.3, 0.3), (0.0, 0.3, 0.3), (True, True), None),
    ],
)
def test_hooks_and_crossed_feet(
    left: tuple[float, float, float],
    right: tuple[float, float, float],
    hooks: tuple[bool, bool],
    crossed: bool | None,
    turn_deg: float,
) -> None:
    """Both heels inside the thighs, feet not crossed (4.5)."""
    cases = {
        (name, side): (truth[0], clear[0])
        for name, side, truth, clear in cases_of(
            Position.BACK_CONTROL, behind(left, right, turn_deg)
        )
    }
    assert (cases["hook", "left"][0], cases["hook", "right"][0]) == hooks
    truth, clear = cases["feet_crossed", "left"]
    assert clear == (crossed is not None)
    if clear:
        assert truth == crossed
