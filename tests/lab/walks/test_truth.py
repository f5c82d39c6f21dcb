"""Truth from geometry: on bodies placed by hand, and on the open set's own names.

Clauses are those of the federation's rule book (version 6.1, 2024), restated in our own words.
"""

from __future__ import annotations

import numpy as np
import pytest

from posescore.evaluation.poses3d.pose_set import (
    JOINT,
    load_pose_set,
    mirrored,
)
from posescore.lab.poses.rare_poses import back_control, knee_on_belly, mount
from posescore.lab.walks.edits import (
    cross_feet,
    face_feet,
    lower_other_knee,
    open_hooks,
    take_out_hook,
    trap_arms,
)
from posescore.lab.walks.half_guards import HALF_GUARDS
from posescore.lab.walks.truth import criteria_of, leg_trapped
from posescore.terms import STATES, Athlete, Position
from tests.evaluation.pose_sets import needs_pose_set


def astride(knee_z: float, left_foot: tuple[float, float, float]) -> np.ndarray:
    """One on the back along +y, legs apart; the other sits on the hips facing the head."""
    pair = np.zeros((1, 2, 23, 3), np.float32)
    lower, upper = pair[0, 1], pair[0, 0]
    for side, x in (("left", 0.15), ("right", -0.15)):
        lower[JOINT[f"{side}_hip"]] = [x * 0.8, 0.0, 0.12]
        lower[JOINT[f"{side}_knee"]] = [x * 1.5, -0.35, 0.4]
        lower[JOINT[f"{side}_ankle"]] = [x * 1.2, -0.6, 0.1]
        lower[JOINT[f"{side}_shoulder"]] = [x, 0.5, 0.12]
        lower[JOINT[f"{side}_elbow"]] = [x * 3, 0.6, 0.1]
        lower[JOINT[f"{side}_wrist"]] = [x * 3, 0.85, 0.1]
        upper[JOINT[f"{side}_hip"]] = [-x * 0.8, 0.2, 0.3]
        upper[JOINT[f"{side}_knee"]] = [-x * 2.2, 0.3, knee_z]
        for part in ("ankle", "heel", "toe"):
            upper[JOINT[f"{side}_{part}"]] = [-x * 2.2, -0.1, 0.08]
    for part in ("ankle", "heel", "toe"):
        upper[JOINT[f"left_{part}"]] = left_foot
    lower[JOINT["neck"]], upper[JOINT["neck"]] = [0, 0.55, 0.12], [0, 0.2, 0.85]
    return pair


OUTSIDE, BETWEEN = (-0.33, -0.1, 0.08), (0.0, -0.62, 0.3)


def test_a_foot_between_the_legs_is_trapped_and_outside_it_is_not() -> None:
    # 4.4.1: a trapped leg is half-guard, not mount.
    for foot, answer in ((OUTSIDE, 0), (BETWEEN, 1)):
        pair = astride(0.06, foot)
        for seen in (pair, mirrored(pair)):
            given = leg_trapped(seen[:, 0].astype(float), seen[:, 1].astype(float))
            assert given[0] == answer


@pytest.mark.parametrize(("height_m", "answer"), [(0.06, 1), (0.16, -1), (0.35, 0)])
def test_a_knee_between_down_and_up_is_unclear(height_m: float, answer: int) -> None:
    # 4.4.1: two knees, or one foot and one knee, on the mat.
    given = criteria_of(astride(height_m, OUTSIDE), Position.MOUNT)
    assert (given["knee_down"][0] == answer).all()
    assert given["facing_head"][0] == 1
    assert (given["arm_trapped"][0] == 0).all()


@needs_pose_set
def test_geometry_agrees_with_the_names_that_the_open_set_gives() -> None:
    poses = load_pose_set().labelled
    share = {}
    for position in (Position.MOUNT, Position.HALF_GUARD, Position.SIDE_CONTROL):
        rows = [k for k, s in enumerate(poses.state) if STATES[s].position is position]
        pairs = np.array(
            [
                poses.joints_m[k, :: -1 if STATES[poses.state[k]].upper is Athlete.B else 1]
                for k in rows
            ]
        )
        trapped = leg_trapped(pairs[:, 0].astype(float), pairs[:, 1].astype(float))
        share[position] = float((trapped == 1).mean())
    assert share[Position.MOUNT] == 0.0
    assert share[Position.SIDE_CONTROL] < 0.02
    assert share[Position.HALF_GUARD] > 0.85


def test_near_misses_made_on_purpose_fail_their_criterion() -> None:
    rng = np.random.default_rng(0)
    bellies, mounts, backs = knee_on_belly(rng, 80), mount(rng, 80), back_control(rng, 80)

    def yes(pairs: np.ndarray, position: Position, name: str) -> float:
        answers = criteria_of(pairs, position)[name]
        return float(np.mean(answers[answers >= 0]))

    down = lower_other_knee(bellies, rng)
    assert yes(down, Position.KNEE_ON_BELLY, "other_knee_down") > 0.6
    assert yes(bellies, Position.KNEE_ON_BELLY, "other_knee_down") < 0.2
    assert yes(face_feet(mounts, rng), Position.MOUNT, "facing_head") < 0.05
    assert yes(trap_arms(mounts, rng, both=True), Position.MOUNT, "arm_trapped") > 0.5
    assert yes(mounts, Position.MOUNT, "arm_trapped") < 0.2
    assert yes(cross_feet(backs, rng), Position.BACK_CONTROL, "feet_crossed") > 0.8
    assert yes(open_hooks(backs, rng), Position.BACK_CONTROL, "feet_crossed") < 0.3
    assert yes(open_hooks(backs, rng), Position.BACK_CONTROL, "hook") > 0.85
    out = take_out_hook(open_hooks(backs, rng), rng)
    assert 0.35 < yes(out, Position.BACK_CONTROL, "hook") < 0.65


@pytest.mark.parametrize("author", HALF_GUARDS)
def test_authored_half_guards_hold_a_leg(author) -> None:  # type: ignore[no-untyped-def]
    pairs = author(np.random.default_rng(1), 100)
    trapped = leg_trapped(pairs[:, 0].astype(float), pairs[:, 1].astype(float))
    assert (trapped == 1).mean() > 0.3  # the others are dropped by the graph
