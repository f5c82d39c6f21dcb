"""Worked examples of the published rules, each written down as a score log in several ways.

Clause numbers are those of the international federation's rule book, version 6.1 (2024). [AJP]:
read in another organisation's near-parallel rule book. A is the one who acts.
"""

from __future__ import annotations

import pytest

from tests.scoring.logs import ruled, tally

STAND = (0, 20, "standing")
SHOT = (20.5, "takedown_attempt", "A")
DOWN = (21, 26, "side_control", "A")

EXAMPLES = [
    # -- takedown to side control: 2, no pass. Common practice; 4.2
    ("takedown to side control", [STAND, (22, 31, "side_control", "A")], [SHOT], 2, 0),
    ("takedown to north-south", [STAND, (22, 31, "north_south", "A")], [SHOT], 2, 0),
    ("takedown, event at the landing", [(0, 22, "standing"), (22, 31, "side_control", "A")],
     [(22, "takedown_attempt", "A")], 2, 0),
    ("takedown, tiled with scramble",
     [STAND, (20, 22, "scramble"), (22, 31, "side_control", "A")], [SHOT], 2, 0),
    # -- takedown straight to mount: 3.4
    ("takedown straight to mount", [STAND, (22, 26, "mount", "A")], [SHOT], 6, 0),
    ("takedown straight to mount, 3 s sharp", [STAND, (22, 25, "mount", "A")], [SHOT], 6, 0),
    ("takedown, mount by way of side control",
     [STAND, (22, 23, "side_control", "A"), (23, 26, "mount", "A")], [SHOT], 6, 0),
    # -- A pulls B down on top of A: 4.1
    ("pulls on top, guard", [STAND, (21, 26, "closed_guard", "B")],
     [(20.5, "guard_pull", "A")], 0, 0),
    ("pulls on top, as an attempt", [STAND, (21, 26, "mount", "B")], [SHOT], 0, 0),
    ("pulls on top, nothing marked", [STAND, (21, 26, "half_guard", "B")], [], 0, 0),
    # -- pass, then mount in one chain: 3.4
    ("pass then mount, one count",
     [(0, 10, "closed_guard", "A"), (11, 12.5, "side_control", "A"), (13, 16, "mount", "A")],
     [], 7, 0),
    ("pass then mount, from half-guard",
     [(0, 10, "half_guard", "A"), (10, 11, "side_control", "A"), (11, 14, "mount", "A")],
     [], 7, 0),
    ("pass then mount, each held",
     [(0, 10, "open_guard", "A"), (11, 15, "side_control", "A"), (16, 20, "mount", "A")],
     [], 7, 0),
    ("pass straight into mount", [(0, 10, "open_guard", "A"), (11, 15, "mount", "A")], [], 7, 0),
    # -- the opponent lands seated and takes A down at once: only B's. 4.1.7 [AJP]
    ("counter, seated in guard",
     [STAND, (21, 22, "open_guard", "A"), (23.5, 28, "side_control", "B")],
     [SHOT, (22.5, "takedown_attempt", "B")], 0, 0),
    ("counter, nothing seen between", [STAND, (23.5, 28, "side_control", "B")],
     [SHOT, (22, "takedown_attempt", "B")], 0, 0),
    ("counter, up again for a moment",
     [STAND, (21, 22, "open_guard", "A"), (22, 23, "standing"), (24, 28, "mount", "B")],
     [SHOT, (23, "takedown_attempt", "B")], 0, 0),
    # -- B hangs on A's standing back with both hooks, A drops him: 4.1.9 [AJP]
    ("drops the one on the back, marked",
     [STAND, (21, 25, "back_control", "B", {"hooks": 2}), (26, 31, "side_control", "A")],
     [(25.5, "takedown_attempt", "A")], 0, 0),
    ("drops the one on the back, not marked",
     [STAND, (21, 23, "back_control", "B", {"hooks": 2}), (24, 31, "side_control", "A")],
     [], 0, 0),
    ("drops the one on the back, into guard",
     [STAND, (21, 25, "back_control", "B", {"hooks": 2}), (26, 31, "closed_guard", "A")],
     [(25.5, "takedown_attempt", "A")], 0, 0),
    ("drops the one on the back, standing named in between",
     [STAND, (21, 25, "back_control", "B", {"hooks": 2}), (25, 26.5, "standing"),
      (27, 31, "side_control", "A")], [(26, "takedown_attempt", "A")], 0, 0),
    # -- B pulls guard first, then A shoots: 4.1.11 [AJP]
    ("shoots after the pull, guard", [STAND, (22, 31, "open_guard", "A")],
     [(20.5, "guard_pull", "B"), (21, "takedown_attempt", "A")], 0, 0),
    ("shoots after the pull, past the legs at once", [STAND, (22, 31, "side_control", "A")],
     [(20.5, "guard_pull", "B"), (21, "takedown_attempt", "A")], 0, 0),
    # -- shot begun before the pull: counts. 4.1.11 [AJP]
    ("shoots before the pull", [STAND, (22, 31, "closed_guard", "A")],
     [(20.5, "takedown_attempt", "A"), (21, "guard_pull", "B")], 2, 0),
    # -- B pulls guard while A grips his trousers: 4.1.12 [AJP]
    ("grip on the trousers", [STAND, (22, 26, "open_guard", "A")],
     [(20.2, "trousers_grip", "A"), (20.5, "guard_pull", "B")], 2, 0),
    ("grip on the trousers, marked together", [STAND, (22, 26, "open_guard", "A")],
     [(20.5, "guard_pull", "B"), (20.5, "trousers_grip", "A")], 2, 0),
    # -- from guard A stands up and dumps B before 3 s of standing: sweep. 4.6
    ("stands up out of guard and dumps",
     [(0, 10, "closed_guard", "B"), (11, 13, "standing"), (14, 18, "side_control", "A")],
     [(13.5, "takedown_attempt", "A")], 2, 0),
    ("stands up out of guard, not marked",
     [(0, 10, "open_guard", "B"), (10, 12, "standing"), (12, 18, "half_guard", "A")], [], 2, 0),
    # -- both on their knees, A topples B: 4.1.6
    ("both kneeling, scramble only", [(0, 10, "scramble"), (11, 16, "side_control", "A")],
     [(10.5, "takedown_attempt", "A")], 0, 0),
    ("both kneeling after standing", [(0, 10, "standing"), (20, 26, "side_control", "A")],
     [(19, "takedown_attempt", "A")], 0, 0),
    ("kneeling opponent as turtle", [(0, 10, "turtle", "A"), (11, 16, "side_control", "A")],
     [(10.5, "takedown_attempt", "A")], 0, 0),
    ("both kneeling, nothing marked", [(11, 16, "side_control", "A")], [], 0, 0),
    # -- top of turtle to side control: 4.2
    ("turtle to side control", [(0, 5, "turtle", "A"), (6, 12, "side_control", "A")], [], 0, 0),
    ("guard, turtle, side control",
     [(0, 5, "closed_guard", "A"), (5, 9, "turtle", "A"), (9, 15, "side_control", "A")], [], 0, 0),
    # -- sweep to side control: 2, no pass. Inference from 4.2
    ("sweep to side control", [(0, 8, "half_guard", "B"), (9, 14, "side_control", "A")], [], 2, 0),
    ("sweep to mount", [(0, 8, "closed_guard", "B"), (9, 14, "mount", "A")], [], 6, 0),
    # -- A passes, jumps off at once to an armlock, returns on top: tutorial on the pass
    ("pass, armlock, back on top",
     [(0, 8, "closed_guard", "A"), (9, 10.5, "side_control", "A"), (15, 19, "side_control", "A")],
     [(11, "submission_locked", "A"), (14, "submission_released", "A")], 3, 0),
    ("pass, armlock by choice, back on top",
     [(0, 8, "closed_guard", "A"), (9, 10.5, "side_control", "A"), (15, 19, "north_south", "A")],
     [(10.5, "position_given_up", "A")], 3, 0),
    ("pass, armlock, back on top in mount",
     [(0, 8, "closed_guard", "A"), (9, 10.5, "side_control", "A"), (15, 19, "mount", "A")],
     [(10.5, "position_given_up", "A")], 7, 0),
    # -- knee-on-belly, left by choice, back or side switched: 2 once. 3.2
    ("knee-on-belly, left and back, marked",
     [(0, 4, "knee_on_belly", "A"), (5, 8, "side_control", "A"), (9, 13, "knee_on_belly", "A")],
     [(4, "position_given_up", "A")], 2, 0),
    ("knee-on-belly, left and back, not marked",
     [(0, 4, "knee_on_belly", "A"), (5, 8, "side_control", "A"), (9, 13, "knee_on_belly", "A")],
     [], 2, 0),
    ("knee-on-belly, side switched",
     [(0, 4, "knee_on_belly", "A"), (5, 9, "knee_on_belly", "A")], [], 2, 0),
    ("knee-on-belly, given up, scramble, back",
     [(0, 4, "knee_on_belly", "A"), (9, 13, "knee_on_belly", "A")],
     [(4.2, "position_given_up", "A")], 2, 0),
    # -- knee nearest the head: nothing. 4.3
    ("knee nearest the head", [(0, 5, "knee_on_belly", "A", {"shin": "head_side"})], [], 0, 0),
    ("knee nearest the head, other knee down",
     [(0, 5, "knee_on_belly", "A", {"shin": "head_side", "other_knee_down": True})], [], 0, 0),
    # -- other knee on the mat: advantage. 4.3
    ("other knee down", [(0, 5, "knee_on_belly", "A", {"other_knee_down": True})], [], 0, 1),
    ("other knee down, then up", [(0, 5, "knee_on_belly", "A", {"other_knee_down": True}),
     (5, 9, "knee_on_belly", "A", {"other_knee_down": False})], [], 2, 0),
    # -- knee-on-belly, then mount: 3.4
    ("knee-on-belly, then mount",
     [(0, 4, "knee_on_belly", "A"), (5, 9, "mount", "A")], [], 6, 0),
    ("knee-on-belly in passing, then mount",
     [(0, 1.5, "knee_on_belly", "A"), (2, 6, "mount", "A")], [], 6, 0),
    # -- back mount, then mount, each its own 3 s: 4.4.1
    ("back mount, then mount", [(0, 4, "back_mount", "A"), (4, 8, "mount", "A")], [], 8, 0),
    ("mount, then back mount", [(0, 4, "mount", "A"), (5, 8, "back_mount", "A")], [], 8, 0),
    ("back mount too short, then mount", [(0, 2, "back_mount", "A"), (2, 8, "mount", "A")],
     [], 4, 1),
    # -- mount over both arms: advantage. 4.4.1
    ("mount over both arms", [(0, 6, "mount", "A", {"arms_trapped": 2})], [], 0, 1),
    ("mount over one arm", [(0, 6, "mount", "A", {"arms_trapped": 1})], [], 4, 0),
    ("mount over one arm above the shoulder line",
     [(0, 6, "mount", "A", {"arms_trapped": 1, "arm_above_shoulder_line": True})], [], 0, 1),
    # -- back with a body triangle, crossed feet or one hook: advantage. 4.5, 5.6.5 [AJP]
    ("one hook", [(0, 6, "back_control", "A", {"hooks": 1})], [], 0, 1),
    ("crossed feet", [(0, 6, "back_control", "A", {"hooks": 2, "feet_crossed": True})], [], 0, 1),
    ("both arms trapped", [(0, 6, "back_control", "A", {"arms_trapped": 2})], [], 0, 1),
    ("both hooks", [(0, 6, "back_control", "A", {"hooks": 2})], [], 4, 0),
    # -- B's correct defence of A's submission takes the pair out of the area: 3.1.1
    ("out of the area under a submission", [(0, 6, "closed_guard", "B")],
     [(4, "submission_locked", "A"), (6, "out_of_area", "B")], 2, 0),
    ("out of the area, nobody named", [(0, 6, "closed_guard", "B")],
     [(4, "submission_locked", "A"), (6, "out_of_area")], 2, 0),
    ("out of the area, released as they cross", [(0, 6, "closed_guard", "B")],
     [(4, "submission_locked", "A"), (6, "submission_released", "A"), (6, "out_of_area", "B")],
     2, 0),
    ("out of the area without a submission", [(0, 6, "closed_guard", "B")],
     [(6, "out_of_area", "B")], 0, 0),
    # -- B flees the area to avoid a sweep: update of 2021
    ("flees a sweep", [(0, 8, "closed_guard", "B")], [(8, "fled", "B")], 2, 0),
    ("flees a sweep that was nearly held",
     [(0, 8, "closed_guard", "B"), (8.5, 10, "mount", "A")], [(10, "fled", "B")], 2, 0),
    # -- takedown into guard, pass, knee-on-belly, mount, back control, each held
    ("the whole ladder",
     [STAND, (21, 25, "closed_guard", "A"), (26, 30, "side_control", "A"),
      (31, 35, "knee_on_belly", "A"), (36, 40, "mount", "A"),
      (41, 45, "back_control", "A", {"hooks": 2})], [SHOT], 15, 0),
    ("the whole ladder, tiled",
     [STAND, (20, 25, "half_guard", "A"), (25, 30, "side_control", "A"),
      (30, 35, "knee_on_belly", "A"), (35, 40, "mount", "A"), (40, 45, "back_control", "A")],
     [(20, "takedown_attempt", "A")], 15, 0),
]  # fmt: skip


@pytest.mark.parametrize(
    ("holds", "events", "points", "advantages"),
    [row[1:] for row in EXAMPLES],
    ids=[row[0] for row in EXAMPLES],
)
def test_worked_example(holds: list, events: list, points: int, advantages: int) -> None:
    assert tally(ruled(holds, events))[:2] == (points, advantages)


# Totals of B, where the example is about B.
OF_B = [
    # 4.1.7 [AJP]: only B's takedown
    ("counter-takedown", [STAND, (21, 22, "open_guard", "A"), (23.5, 28, "side_control", "B")],
     [SHOT, (22.5, "takedown_attempt", "B")], 2, 0, 0),
    # 4.5: the back itself scores, standing or not
    ("the back while it was held", [STAND, (21, 25, "back_control", "B", {"hooks": 2}),
     (26, 31, "side_control", "A")], [(25.5, "takedown_attempt", "A")], 4, 0, 0),
    # Common practice: A's guard pull fails, B passes and holds
    ("failed pull, guard seen", [STAND, (21, 23, "open_guard", "B"), (24, 28, "side_control", "B")],
     [(20.5, "guard_pull", "A")], 3, 0, 0),
    ("failed pull, guard not seen", [STAND, (22, 28, "side_control", "B")],
     [(20.5, "guard_pull", "A")], 3, 0, 0),
    # Update of 2021: the one who fled is penalised
    ("fled", [(0, 8, "closed_guard", "B")], [(8, "fled", "B")], 0, 0, 1),
    # 4.1: a defender who sprawls and goes behind has no takedown
    ("sprawl", [STAND, (21, 26, "turtle", "B", {"knee_of_opponent_down": True,
     "behind_shoulder_line": True})], [SHOT], 0, 0, 0),
]  # fmt: skip


@pytest.mark.parametrize(
    ("holds", "events", "points", "advantages", "penalties"),
    [row[1:] for row in OF_B],
    ids=[row[0] for row in OF_B],
)
def test_worked_example_of_the_opponent(
    holds: list, events: list, points: int, advantages: int, penalties: int
) -> None:
    assert tally(ruled(holds, events), "B") == (points, advantages, penalties)
