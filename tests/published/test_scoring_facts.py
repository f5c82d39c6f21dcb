"""Facts of the published rules, one by one.

Clause numbers are those of the international federation's rule book, version 6.1 (2024). [AJP]:
read in another organisation's near-parallel rule book; [mem]: from memory; [practice]: common
practice, printed nowhere.
"""

from __future__ import annotations

import re
from typing import Any

import pytest

from posescore.scoring.proposal import Proposal, ProposalKind
from posescore.terms import Athlete
from posescore.words import name_field, state_words
from tests.scoring.logs import awards, nones, ruled, tally

STAND = (0, 20, "standing")
SHOT = (20.5, "takedown_attempt", "A")
BEHIND = {"knee_of_opponent_down": True, "behind_shoulder_line": True}
FACTS: list[tuple[str, list[Any], list[Any], list[Any]]] = [
    # -- article 3 -----------------------------------------------------------------------------
    ("3.1 held 3 s", [(0, 3, "mount", "A")], [], [(3.0, "A", "mount", 4, 0)]),
    ("3.1 held less than 3 s", [(0, 2.9, "mount", "A")], [], [(2.9, "A", "near", 0, 1)]),
    ("3.2 broken by the opponent and regained",
     [(0, 4, "mount", "A"), (5, 8, "half_guard", "A"), (9, 13, "mount", "A")], [],
     [(3.0, "A", "mount", 4, 0), (12.0, "A", "guard_pass", 3, 0), (12.0, "A", "mount", 4, 0)]),
    ("3.2 broken in a scramble and regained", [(0, 4, "mount", "A"), (8, 12, "mount", "A")], [],
     [(3.0, "A", "mount", 4, 0), (11.0, "A", "mount", 4, 0)]),
    ("3.2 given up by choice", [(0, 4, "mount", "A"), (8, 12, "mount", "A")],
     [(4.0, "position_given_up", "A")], [(3.0, "A", "mount", 4, 0)]),
    ("3.2 stepped down for a moment, then broken and regained",
     [(0, 4, "mount", "A"), (4, 5, "side_control", "A"), (5, 6, "mount", "A"),
      (9, 13, "mount", "A")], [],
     [(3.0, "A", "mount", 4, 0), (12.0, "A", "mount", 4, 0)]),
    ("3.2 the other on top in between",
     [(0, 4, "mount", "A"), (5, 9, "side_control", "B"), (10, 14, "mount", "A")], [],
     [(3.0, "A", "mount", 4, 0), (13.0, "A", "mount", 4, 0)]),
    ("3.2 stood up for a moment", [(0, 4, "mount", "A"), (4, 5, "standing"), (5, 9, "mount", "A")],
     [], [(3.0, "A", "mount", 4, 0), (8.0, "A", "mount", 4, 0)]),
    ("3.2 let stand for a moment by choice",
     [(0, 4, "mount", "A"), (4, 5, "standing"), (5, 9, "mount", "A")],
     [(4.0, "position_given_up", "A")], [(3.0, "A", "mount", 4, 0)]),
    ("3.2 given up by choice into guard, passed again",
     [(0, 4, "closed_guard", "A"), (4, 8, "side_control", "A"), (9, 13, "open_guard", "A"),
      (14, 18, "side_control", "A")],
     [(8.0, "position_given_up", "A")], [(7.0, "A", "guard_pass", 3, 0)]),
    ("3.2 guard recovered, passed again",
     [(0, 4, "closed_guard", "A"), (4, 8, "side_control", "A"), (9, 13, "open_guard", "A"),
      (14, 18, "side_control", "A")], [],
     [(7.0, "A", "guard_pass", 3, 0), (17.0, "A", "guard_pass", 3, 0)]),
    ("3.3 free and held 3 s", [(0, 8, "mount", "A")],
     [(-0.0, "submission_locked", "B"), (4, "submission_released", "B")],
     [(7.0, "A", "mount", 4, 0)]),
    ("3.3 freed by the one caught", [(0, 8, "mount", "A")],
     [(0, "submission_locked", "B"), (4, "submission_released", "A")],
     [(7.0, "A", "mount", 4, 0)]),
    ("3.3 free, not held 3 s", [(1, 6, "mount", "A"), (7, 12, "closed_guard", "A")],
     [(0, "submission_locked", "B"), (4, "submission_released", "B")],
     [(7.0, "A", "near", 0, 1)]),
    ("3.3 freed after the position is lost",
     [(1, 6, "mount", "A"), (7, 12, "closed_guard", "A")],
     [(0, "submission_locked", "B"), (7, "submission_released", "B")], []),
    ("3.3.2 the count is interrupted", [(0, 8, "mount", "A")],
     [(2, "submission_locked", "B"), (4, "submission_released", "B")],
     [(7.0, "A", "mount", 4, 0)]),
    ("3.3.2 the attacker's own submission interrupts nothing", [(0, 8, "mount", "A")],
     [(2, "submission_locked", "A")], [(3.0, "A", "mount", 4, 0)]),
    ("3.3.2 what was scored before stays", [(0, 8, "mount", "A")],
     [(4, "submission_locked", "B")], [(3.0, "A", "mount", 4, 0)]),
    ("3.3.3 still caught at the end: one advantage in all",
     [(0, 4, "open_guard", "A"), (5, 9, "side_control", "A"), (10, 14, "mount", "A")],
     [(4, "submission_locked", "B"), (14, "end")], [(14.0, "A", "near", 0, 1)]),
    ("3.4 one count for the chain",
     [(0, 4, "open_guard", "B"), (5, 6, "half_guard", "A"), (7, 8, "side_control", "A"),
      (9, 10, "knee_on_belly", "A"), (11, 14, "mount", "A")], [],
     [(14.0, "A", "sweep", 2, 0), (14.0, "A", "guard_pass", 3, 0),
      (14.0, "A", "knee_on_belly", 2, 0), (14.0, "A", "mount", 4, 0)]),
    ("3.4 a chain that is not held: one advantage [mem]",
     [(0, 4, "open_guard", "A"), (5, 7, "side_control", "A"), (8, 10, "mount", "A"),
      (11, 20, "half_guard", "A")], [], [(11.0, "A", "near", 0, 1)]),
    ("3.4 passed through is not reached",
     [(0, 4, "open_guard", "B"), (5, 5.4, "knee_on_belly", "A"), (5.4, 9, "mount", "A")], [],
     [(8.4, "A", "sweep", 2, 0), (8.4, "A", "mount", 4, 0)]),
    ("3.1.1 the attacker himself leaves the area", [(0, 6, "closed_guard", "B")],
     [(4, "submission_locked", "A"), (6, "out_of_area", "A")], []),
    ("stepping down by choice", [(0, 4, "mount", "A"), (5, 9, "knee_on_belly", "A")], [],
     [(3.0, "A", "mount", 4, 0)]),
    ("stepping down by way of side control",
     [(0, 4, "mount", "A"), (5, 7, "side_control", "A"), (7, 11, "knee_on_belly", "A")], [],
     [(3.0, "A", "mount", 4, 0)]),
    # -- takedown, 4.1 -------------------------------------------------------------------------
    ("4.1 into guard", [STAND, (21, 24, "closed_guard", "A")], [SHOT],
     [(24.0, "A", "takedown", 2, 0)]),
    ("4.1 change of guard does not restart the count",
     [STAND, (21, 22.5, "open_guard", "A"), (22.5, 25, "half_guard", "A")], [SHOT],
     [(24.0, "A", "takedown", 2, 0)]),
    ("4.1 not held", [STAND, (21, 23, "half_guard", "A"), (23, 30, "standing")], [SHOT],
     [(23.0, "A", "near", 0, 1)]),
    ("4.1 on all fours with control behind", [STAND, (21, 25, "turtle", "A", BEHIND)], [SHOT],
     [(24.0, "A", "takedown", 2, 0)]),
    ("4.1 on all fours, not behind",
     [STAND, (21, 25, "turtle", "A", BEHIND | {"behind_shoulder_line": False})], [SHOT], []),
    ("4.1 on all fours, no knee down",
     [STAND, (21, 25, "turtle", "A", BEHIND | {"knee_of_opponent_down": False})], [SHOT], []),
    ("4.1 on all fours, control not looked at", [STAND, (21, 25, "turtle", "A")], [SHOT], []),
    ("4.1 on all fours, then the back with hooks",
     [STAND, (21, 23, "turtle", "A"), (24, 28, "back_control", "A", {"hooks": 2})], [SHOT],
     [(27.0, "A", "takedown", 2, 0), (27.0, "A", "back_control", 4, 0)]),
    ("4.1 belly-down", [STAND, (21, 25, "back_mount", "A")], [SHOT],
     [(24.0, "A", "takedown", 2, 0), (24.0, "A", "back_mount", 4, 0)]),
    ("4.1 standing again for 3 s",
     [(0, 9, "closed_guard", "B"), (9, 12, "standing"), (13, 17, "side_control", "A")],
     [(12.5, "takedown_attempt", "A")], [(16.0, "A", "takedown", 2, 0)]),
    ("4.1 sprawl and go behind is no takedown", [STAND, (21, 25, "side_control", "B")], [SHOT], []),
    ("4.1 a plain guard pull", [STAND, (21, 30, "open_guard", "A")],
     [(20.5, "guard_pull", "B")], []),
    ("4.1.6 opponent on the knees", [(0, 9, "turtle", "A"), (9, 15, "closed_guard", "A")],
     [(8, "takedown_attempt", "A")], []),
    ("4.1 [AJP] in guard and swept at once",
     [STAND, (21, 22.5, "closed_guard", "A"), (23, 27, "mount", "B")], [SHOT],
     [(23.0, "A", "near", 0, 1), (26.0, "B", "sweep", 2, 0), (26.0, "B", "mount", 4, 0)]),
    ("[practice] side by side without control",
     [STAND, (24, 30, "standing")], [SHOT], []),
    ("4.1 an old attempt did not lead to the guard pull",
     [STAND, (21, 30, "closed_guard", "A")],
     [(5, "takedown_attempt", "A"), (20.5, "guard_pull", "B")], []),
    ("4.1 standing in two pieces is one phase",
     [STAND, (20.3, 21, "standing"), (22, 26, "side_control", "A")],
     [(19.5, "takedown_attempt", "A")], [(25.0, "A", "takedown", 2, 0)]),
    ("4.1 legs in the way for a moment of the fall are no guard",
     [STAND, (21, 21.7, "half_guard", "A"), (21.7, 26, "side_control", "A")], [SHOT],
     [(24.7, "A", "takedown", 2, 0)]),
    ("4.1 taken down again after standing",
     [STAND, (21, 25, "closed_guard", "A"), (26, 30, "standing"), (31, 35, "side_control", "A")],
     [SHOT, (30.5, "takedown_attempt", "A")],
     [(24.0, "A", "takedown", 2, 0), (34.0, "A", "takedown", 2, 0)]),
    # -- guard pass, 4.2 -----------------------------------------------------------------------
    ("4.2 from guard", [(0, 9, "closed_guard", "A"), (10, 14, "side_control", "A")], [],
     [(13.0, "A", "guard_pass", 3, 0)]),
    ("4.2 from half-guard to north-south",
     [(0, 9, "half_guard", "A"), (10, 14, "north_south", "A")], [],
     [(13.0, "A", "guard_pass", 3, 0)]),
    ("4.2 side control and north-south are one hold",
     [(0, 9, "half_guard", "A"), (10, 11.5, "side_control", "A"), (11.5, 13, "north_south", "A")],
     [], [(13.0, "A", "guard_pass", 3, 0)]),
    ("4.2 side control as such", [(0, 9, "side_control", "A")], [], []),
    ("4.2 side control to north-south",
     [(0, 9, "side_control", "A"), (9, 15, "north_south", "A")], [], []),
    ("4.2 not held", [(0, 9, "open_guard", "A"), (10, 12, "side_control", "A"),
     (13, 20, "open_guard", "A")], [], [(13.0, "A", "near", 0, 1)]),
    # -- knee-on-belly, 4.3 --------------------------------------------------------------------
    ("4.3 held", [(0, 3, "knee_on_belly", "A", {"shin": "hip_side", "other_knee_down": False})],
     [], [(3.0, "A", "knee_on_belly", 2, 0)]),
    ("4.3 under 3 s", [(0, 2, "knee_on_belly", "A"), (2, 9, "side_control", "A")], [],
     [(5.0, "A", "near", 0, 1)]),
    ("4.3 advantage only once the chance is gone",
     [(0, 2, "knee_on_belly", "A"), (2, 4, "side_control", "A"), (4, 8, "knee_on_belly", "A")],
     [], [(7.0, "A", "knee_on_belly", 2, 0)]),
    # -- mounts, 4.4 ---------------------------------------------------------------------------
    ("4.4.1 one knee and one foot", [(0, 5, "mount", "A", {"knees_down": 1})], [],
     [(3.0, "A", "mount", 4, 0)]),
    ("4.4.1 facing the feet [AJP]", [(0, 5, "mount", "A", {"facing": "feet"})], [], []),
    ("4.4.1 a trapped leg is half-guard", [(0, 9, "half_guard", "A")], [], []),
    ("4.4.1 arms freed in time",
     [(0, 5, "mount", "A", {"arms_trapped": 2}), (5, 9, "mount", "A", {"arms_trapped": 1})], [],
     [(8.0, "A", "mount", 4, 0)]),
    ("4.4 back mount", [(0, 5, "back_mount", "A")], [], [(3.0, "A", "back_mount", 4, 0)]),
    ("4.4 back mount facing the feet [AJP]", [(0, 5, "back_mount", "A", {"facing": "feet"})],
     [], []),
    ("4.4.1 mount and back mount again",
     [(0, 4, "mount", "A"), (4, 8, "back_mount", "A"), (8, 12, "mount", "A")], [],
     [(3.0, "A", "mount", 4, 0), (7.0, "A", "back_mount", 4, 0), (11.0, "A", "mount", 4, 0)]),
    # -- back control, 4.5 ---------------------------------------------------------------------
    ("4.5 hooks in one after the other",
     [(0, 5, "back_control", "A", {"hooks": 1}), (5, 9, "back_control", "A", {"hooks": 2})], [],
     [(8.0, "A", "back_control", 4, 0)]),
    ("4.5 no hook at all", [(0, 5, "back_control", "A", {"hooks": 0})], [], []),
    ("4.5 hooks lost, turtle, hooks again",
     [(0, 4, "back_control", "A"), (5, 8, "turtle", "A"), (9, 13, "back_control", "A")], [],
     [(3.0, "A", "back_control", 4, 0), (12.0, "A", "back_control", 4, 0)]),
    # -- sweep, 4.6 ----------------------------------------------------------------------------
    ("4.6 into guard", [(0, 9, "half_guard", "B"), (10, 13, "closed_guard", "A")], [],
     [(13.0, "A", "sweep", 2, 0)]),
    ("4.6 to all fours with control behind",
     [(0, 9, "half_guard", "B"), (10, 13, "turtle", "A", BEHIND)], [],
     [(13.0, "A", "sweep", 2, 0)]),
    ("4.6 to all fours without", [(0, 9, "half_guard", "B"), (10, 13, "turtle", "A",
     BEHIND | {"knee_of_opponent_down": False})], [], []),
    ("4.6 not held", [(0, 9, "half_guard", "B"), (10, 12, "half_guard", "A"),
     (12, 19, "half_guard", "B")], [], [(12.0, "A", "near", 0, 1)]),
    ("4.6 swept and swept back",
     [(0, 9, "half_guard", "B"), (10, 14, "half_guard", "A"), (15, 19, "half_guard", "B")], [],
     [(13.0, "A", "sweep", 2, 0), (18.0, "B", "sweep", 2, 0)]),
    ("4.6 reversal from under mount", [(0, 4, "mount", "B"), (5, 9, "side_control", "A")], [],
     [(3.0, "B", "mount", 4, 0)]),
    ("4.6 reversal from under side control into guard",
     [(0, 4, "side_control", "B"), (5, 9, "closed_guard", "A")], [], []),
    ("4.6 guard recovered first, then swept",
     [(0, 4, "mount", "B"), (5, 7, "half_guard", "B"), (8, 12, "side_control", "A")], [],
     [(3.0, "B", "mount", 4, 0), (11.0, "A", "sweep", 2, 0)]),
    ("4.6 the back taken from guard is no sweep",
     [(0, 9, "open_guard", "B"), (10, 14, "back_control", "A")], [],
     [(13.0, "A", "back_control", 4, 0)]),
    # -- advantages and penalties --------------------------------------------------------------
    ("5 marked advantage", [(0, 9, "standing")], [(4, "advantage", "B")],
     [(4.0, "B", "near", 0, 1)]),
    ("6 [mem] fourth penalty and what the others give",
     [(0, 9, "standing")], [(t, "penalty", "B") for t in (1, 2, 3, 4)],
     [(1.0, "B", "penalty", 0, 0), (2.0, "A", "penalty", 0, 1), (2.0, "B", "penalty", 0, 0),
      (3.0, "A", "penalty", 2, 0), (3.0, "B", "penalty", 0, 0), (4.0, "B", "penalty", 0, 0)]),
    ("6 (2021) flight pays for what was under way",
     [(0, 8, "closed_guard", "B"), (8.5, 10, "mount", "A"), (13, 20, "standing")],
     [(10.5, "fled", "B")], [(10.5, "A", "fled", 2, 0), (10.5, "B", "penalty", 0, 0)]),
    ("6 (2021) flight in the middle of a hold",
     [(0, 8, "closed_guard", "B"), (9, 16, "mount", "A")],
     [(10, "fled", "B")], [(10.0, "A", "fled", 2, 0), (10.0, "B", "penalty", 0, 0)]),
    ("6 (2021) flight after the score", [(0, 9, "mount", "A")], [(9, "fled", "B")],
     [(3.0, "A", "mount", 4, 0), (9.0, "A", "fled", 2, 0), (9.0, "B", "penalty", 0, 0)]),
    ("6 (2021) flight and its penalty marked apart", [(0, 8, "closed_guard", "B")],
     [(8, "fled", "B"), (8.5, "penalty", "B")],
     [(8.0, "A", "fled", 2, 0), (8.0, "B", "penalty", 0, 0)]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("holds", "events", "expected"),
    [row[1:] for row in FACTS],
    ids=[row[0] for row in FACTS],
)
def test_fact(holds: list[Any], events: list[Any], expected: list[Any]) -> None:
    assert awards(ruled(holds, events)) == expected


EXPLAINED = [
    # What looks like points and is none: who, what it would have been, and the clause.
    ([STAND, (21, 26, "closed_guard", "A")], [], "A", "takedown", "4.1"),
    ([STAND, (21, 26, "closed_guard", "A")], [(20.5, "guard_pull", "B"),
     (21, "takedown_attempt", "A")], "A", "takedown", "4.1.11"),
    ([STAND, (21, 26, "side_control", "B")], [SHOT], "B", "takedown", "4.1"),
    ([(0, 9, "scramble"), (10, 15, "mount", "A")], [(9.5, "takedown_attempt", "A")], "A",
     "takedown", "4.1.6"),
    ([STAND, (21, 25, "back_control", "B"), (26, 31, "side_control", "A")],
     [(25.5, "takedown_attempt", "A")], "A", "takedown", "4.1.9"),
    ([STAND, (21, 25, "turtle", "A", BEHIND | {"behind_shoulder_line": False})], [SHOT], "A",
     "takedown", "4.1"),
    ([(0, 5, "turtle", "A"), (6, 12, "side_control", "A")], [], "A", "guard_pass", "4.2"),
    ([(6, 12, "side_control", "A")], [], "A", "guard_pass", "4.2"),
    ([(0, 5, "mount", "B"), (6, 12, "side_control", "A")], [], "A", "sweep", "4.6"),
    ([(0, 5, "mount", "A", {"facing": "feet"})], [], "A", "mount", "4.4.1"),
    ([(0, 5, "knee_on_belly", "A", {"shin": "head_side"})], [], "A", "knee_on_belly", "4.3"),
    ([(0, 5, "mount", "A"), (5, 9, "knee_on_belly", "A")], [], "A", "knee_on_belly", "3"),
    ([(0, 5, "mount", "A"), (5, 6, "side_control", "A"), (6, 12, "mount", "A")], [], "A",
     "mount", "3.2"),
    ([(0, 5, "knee_on_belly", "A"), (5, 9, "half_guard", "A")], [], "A", "mount", "4.4.1"),
    ([(1, 6, "mount", "A"), (7, 12, "closed_guard", "A")], [(0, "submission_locked", "B"),
     (7, "submission_released", "B")], "A", "mount", "3.3"),
]  # fmt: skip


@pytest.mark.parametrize(("holds", "events", "athlete", "would_be", "clause"), EXPLAINED)
def test_nothing_is_explained(
    holds: list[Any], events: list[Any], athlete: str, would_be: str, clause: str
) -> None:
    found = [
        p
        for p in nones(ruled(holds, events))
        if (p.athlete, p.would_be) == (athlete, would_be) and p.clause.startswith(clause)
    ]
    assert len(found) == 1
    assert found[0].points == found[0].advantage == 0
    assert any(criterion.met is False for criterion in found[0].criteria)


def test_a_takedown_says_why_there_was_no_pass() -> None:  # 4.2
    (takedown,) = ruled([STAND, (21, 30, "side_control", "A")], [SHOT]).proposals
    assert takedown.kind is ProposalKind.TAKEDOWN
    assert "no guard to pass" in takedown.why


def test_the_back_taken_standing_is_no_takedown_to_explain() -> None:  # 4.5
    ruling = ruled([STAND, (21, 25, "back_control", "B", {"hooks": 2})])
    assert awards(ruling) == [(24.0, "B", "back_control", 4, 0)]
    assert nones(ruling) == []


def test_unmarked_landing_is_less_sure() -> None:  # [practice]
    landing = [STAND, (21, 26, "side_control", "A")]
    (unmarked,), (marked,) = ruled(landing).proposals, ruled(landing, [SHOT]).proposals
    assert unmarked.kind is marked.kind is ProposalKind.TAKEDOWN
    assert unmarked.confidence < marked.confidence


RESULTS = [
    # Submission, stoppage, disqualification first; then points, advantages, fewest penalties.
    ([(0, 9, "mount", "A")], [(9, "tap", "A")], "B", "submission"),
    ([(0, 9, "mount", "A")], [(t, "penalty", "A") for t in (5, 6, 7, 8)], "B",
     "disqualification"),
    ([(0, 9, "mount", "A")], [(5, "advantage", "B"), (6, "advantage", "B")], "A", "points"),
    ([(0, 9, "standing")], [(5, "advantage", "B"), (6, "penalty", "B")], "B", "advantages"),
    ([(0, 9, "standing")], [(6, "penalty", "B")], "A", "penalties"),
    ([(0, 9, "standing")], [], None, "referee"),
    ([(0, 9, "mount", "A")], [(5, "end"), (6, "tap", "A")], "A", "points"),
]  # fmt: skip


@pytest.mark.parametrize(("holds", "events", "winner", "by"), RESULTS)
def test_deciding(holds: list[Any], events: list[Any], winner: str | None, by: str) -> None:
    result = ruled(holds, events).result
    assert result is not None
    assert (result.winner, result.by) == (winner, by)


LADDER = [(0, (0, 0)), (1, (0, 0)), (2, (0, 1)), (3, (2, 1)), (4, (2, 1))]


@pytest.mark.parametrize(("penalties", "opponent"), LADDER)  # 6 [mem]
def test_penalty_ladder(penalties: int, opponent: tuple[int, int]) -> None:
    ruling = ruled([(0, 9, "standing")], [(t, "penalty", "B") for t in range(1, penalties + 1)])
    assert tally(ruling)[:2] == opponent
    assert tally(ruling, "B") == (0, 0, penalties)


def test_serious_and_fleeing_count_in_one_ladder() -> None:  # 6 [mem]
    ruling = ruled([(0, 9, "standing")], [(1, "penalty", "B"), (5, "fled", "B")])
    assert tally(ruling) == (2, 1, 0)  # two points for the flight, an advantage: second penalty


def test_a_disqualification_ends_the_match() -> None:  # deciding
    ruling = ruled([(10, 19, "mount", "B")], [(t, "penalty", "B") for t in (1, 2, 3, 4)])
    assert tally(ruling, "B")[0] == 0
    assert ruling.result is not None
    assert ruling.result.winner is Athlete.A


def test_after_a_tap_nothing_counts() -> None:  # deciding
    ruling = ruled([(0, 9, "mount", "A")], [(2, "tap", "B")])
    assert awards(ruling) == []


@pytest.mark.parametrize(
    ("knees_down", "rules", "kind"),
    [
        (1, "sport-jiu-jitsu", ProposalKind.MOUNT),  # 4.4.1
        (1, "sport-jiu-jitsu-strict-mount", ProposalKind.NEAR),  # [practice]
        (2, "sport-jiu-jitsu-strict-mount", ProposalKind.MOUNT),
    ],
)
def test_both_knees_only_where_the_rule_set_asks(
    knees_down: int, rules: str, kind: ProposalKind
) -> None:
    holds = [(0, 5, "mount", "A", {"knees_down": knees_down})]
    (proposal,) = ruled(holds, rules=rules).proposals
    assert proposal.kind is kind


def test_a_locked_submission_is_left_to_a_person() -> None:  # 5
    locked = [(2, "submission_locked", "A"), (6, "submission_released", "A")]
    (explained,) = nones(ruled([(0, 9, "closed_guard", "B")], locked))
    assert explained.would_be is ProposalKind.NEAR
    marked = ruled([(0, 9, "closed_guard", "B")], [*locked, (6.5, "advantage", "A")])
    assert tally(marked) == (0, 1, 0)
    assert nones(marked) == []


def sentences(proposal: Proposal) -> str:
    path = map(state_words, proposal.path)
    return " ".join([proposal.why, *path, *(c.seen for c in proposal.criteria)])


def test_words_are_for_people() -> None:
    for _, holds, events, _ in FACTS:
        for proposal in ruled(holds, events).proposals:
            assert "_" not in sentences(proposal)
            assert proposal.why.endswith(".")
            assert proposal.athlete is not None
            assert name_field(proposal.athlete) in proposal.why
            assert not re.search(r"(?<!\{)\b[AB]\b(?!\})", sentences(proposal)), "a bare letter"
