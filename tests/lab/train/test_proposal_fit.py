"""What counts as a right proposal, and that a match never judges itself."""

from __future__ import annotations

from dataclasses import replace

import pytest

from posescore.lab.train.criteria.proposal_fit import (
    Case,
    fitted,
    is_right,
    left_out,
    table,
    worth_having,
)
from posescore.scoring.observed import Observed
from posescore.scoring.proposal import Proposal, ProposalKind
from posescore.terms import Athlete, Interval

TRUTH = {"awards": [{"time_s": 10.0, "athlete": "A", "kind": "mount", "points": 4}]}
MOUNT = Proposal(11.0, Athlete.A, ProposalKind.MOUNT, 4, 0, "", "", 0.7, Interval(8, 11))
NEAR = replace(MOUNT, kind=ProposalKind.NEAR, points=0, advantage=1, would_be=ProposalKind.MOUNT)


@pytest.mark.parametrize(
    ("proposal", "right"),
    [
        (MOUNT, True),
        (replace(MOUNT, time_s=12.5), False),
        (replace(MOUNT, athlete=Athlete.B), False),
        (replace(MOUNT, kind=ProposalKind.BACK_CONTROL), False),
        (NEAR, False),
        (replace(NEAR, evidence=Interval(13, 16)), True),
        (replace(NEAR, would_be=ProposalKind.KNEE_ON_BELLY), True),
        (replace(NEAR, athlete=Athlete.B), True),
    ],
)
def test_right_is_what_the_rules_gave(proposal: Proposal, right: bool) -> None:
    assert is_right(proposal, TRUTH) is right


def test_a_match_is_called_by_what_the_others_showed() -> None:
    others = [Case("one", 0.6, True, 1.0)] * 20
    own = [Case("other", 0.6, False, 1.0)] * 20
    called = left_out([*others, *own])
    assert called[0] == pytest.approx(fitted(own).of(0.6))
    assert called[-1] == pytest.approx(fitted(others).of(0.6))
    assert called[0] < 0.6 < called[-1]


def test_a_line_is_kept_only_where_it_is_better_on_matches_left_out() -> None:
    modest = [Case(name, 0.55, True, 1.0) for name in ("one", "two", "three") for _ in range(9)]
    assert worth_having(modest).of(0.55) > 0.7
    alike = [Case(n, 0.7, i < 7, 1.0) for n in ("one", "two") for i in range(10)]
    odd = [Case("three", 0.7, i < 3, 1.0) for i in range(10)]
    assert worth_having([*alike, *odd]) == Observed(0.0, 1.0)


def test_the_table_weighs_every_match_the_same() -> None:
    cases = [Case("one", 0.8, True, 0.5), Case("one", 0.8, False, 0.5), Case("two", 0.4, True, 1.0)]
    told = table(cases, [1.0, 0.0, 1.0])
    assert "as the engine says: Brier 0.350, mean 0.60 sure, 0.75 right, 2.0 proposals" in told
    assert "as observed: Brier 0.000" in told
