"""From how sure the engine is to how often its like was right."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from posescore.scoring.observed import Observed, shipped_observed
from posescore.scoring.proposal import Proposal, ProposalKind, Ruling
from posescore.terms import Athlete, Interval

chances = st.floats(0.0, 1.0)
lines = st.builds(Observed, st.floats(-4, 4), st.floats(0, 3))


@given(lines, chances, chances)
def test_a_surer_proposal_is_never_called_less_likely(line: Observed, p: float, q: float) -> None:
    low, high = sorted((p, q))
    assert 0.0 <= line.of(low) <= line.of(high) + 1e-12 <= 1.0 + 1e-12


@given(chances)
def test_the_plain_line_changes_nothing(p: float) -> None:
    assert Observed(0.0, 1.0).of(p) == pytest.approx(p, abs=1e-9)


@given(lines)
def test_what_people_said_alone_stays_certain(line: Observed) -> None:
    assert line.of(1.0) == 1.0
    assert line.of(0.0) == 0.0


@pytest.mark.parametrize("line", [Observed(0.8, 0.6), Observed(-1.0, 1.2), Observed(1.5, 0.2)])
def test_the_line_behind_many_proposals_is_found(line: Observed) -> None:
    random = np.random.default_rng(5)
    said = random.uniform(0.05, 0.97, 6000)
    came = random.random(6000) < [line.of(p) for p in said]
    found = Observed.fitted(list(said), list(came), [1.0] * 6000)
    assert found.constant == pytest.approx(line.constant, abs=0.15)
    assert found.share == pytest.approx(line.share, abs=0.15)


def test_nothing_seen_changes_nothing_and_little_seen_changes_little() -> None:
    assert Observed.fitted([], [], []) == Observed(0.0, 1.0)
    little = Observed.fitted([0.9], [False], [1.0])
    assert 0.5 < little.of(0.9) < 0.9


def test_the_same_proposals_read_twice_count_once() -> None:
    said, came = [0.6, 0.7, 0.8, 0.55], [True, True, False, True]
    once = Observed.fitted(said, came, [1.0] * 4)
    twice = Observed.fitted(said * 2, came * 2, [0.5] * 8)
    assert twice.of(0.7) == pytest.approx(once.of(0.7))


def test_a_ruling_keeps_everything_but_how_sure() -> None:
    made = Proposal(3.0, Athlete.A, ProposalKind.MOUNT, 4, 0, "4.4.1", "why", 0.6, Interval(0, 3))
    changed = Observed(1.0, 1.0).ruling(Ruling((made,)))
    assert changed.proposals[0].confidence == pytest.approx(0.8030, abs=1e-3)
    assert Observed(-1.0, 1.0).ruling(changed).proposals[0].confidence == pytest.approx(0.6)
    assert (changed.proposals[0].points, changed.score) == (4, {})


def test_the_line_that_ships_is_one() -> None:
    assert shipped_observed().share >= 0.0
