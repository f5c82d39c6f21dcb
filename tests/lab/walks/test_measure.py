"""A perfect reading measures as perfect, an empty one as empty."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from posescore.lab.walks import load_graph, ruling_of, walk
from posescore.lab.walks.measure import calibration_error, compared, interval, table
from tests.evaluation.pose_sets import needs_pose_set


@needs_pose_set
def test_the_truth_itself_is_found_whole() -> None:
    match = walk(load_graph("test"), np.random.default_rng(8), (80, 110))
    own = compared(0, match, match.holds, match.events, ruling_of(match).proposals)
    assert own.awards
    assert all(found for _, found in own.awards)
    assert all(right for _, _, right in own.proposed)
    assert len(own.proposed) == len(own.awards)
    assert all(named for _, named in own.misses)
    assert all(same for _, same in own.brought)
    assert own.held[0] == own.held[1] > 0
    nothing = compared(1, match, (), (), ())
    assert not any(found for _, found in nothing.awards)
    assert nothing.held[1] == 0
    late = [replace(p, time_s=p.time_s + 2.5) for p in ruling_of(match).proposals]
    assert not all(right for _, _, right in compared(2, match, (), (), late).proposed)
    assert "1.000" in table([own, own])


def test_calibration_error_is_the_gap_between_said_and_right() -> None:
    # Nine of ten right, said .9: none. All said 1 and half right: a half. (Definition of ECE.)
    good = [("mount", 0.9, k > 0) for k in range(10)]
    assert calibration_error(good) == pytest.approx(0.0, abs=1e-9)
    assert calibration_error([("mount", 1.0, k % 2 == 0) for k in range(10)]) == pytest.approx(0.5)
    assert np.isnan(calibration_error([]))


@needs_pose_set
def test_intervals_are_over_matches() -> None:
    match = walk(load_graph("test"), np.random.default_rng(8), (60, 70))
    own = compared(0, match, match.holds, match.events, ruling_of(match).proposals)
    none = compared(1, match, (), (), ())

    def held(outcomes) -> float:  # type: ignore[no-untyped-def]
        return float(np.mean([o.held[1] / o.held[0] for o in outcomes]))

    middle, low, high = interval([own, none] * 10, held)
    assert middle == 0.5
    assert 0.2 < low < 0.5 < high < 0.8
