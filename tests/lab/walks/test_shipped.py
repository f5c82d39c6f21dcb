"""The shipped way on matches walked through entries that no training saw.

The open pose set: public domain by its authors. Floors lie below what `docs/accuracy.md` says of a
hundred such matches, wide enough for ten.
"""

from __future__ import annotations

from posescore.lab.walks.measure import Outcome, outcome_of
from tests.evaluation.pose_sets import needs_pose_set

COUNT = 10


@needs_pose_set
def test_most_awards_of_walked_matches_are_found_and_most_found_are_true() -> None:
    found: list[Outcome] = [outcome_of(seed, "test") for seed in range(COUNT)]
    awards = [ok for one in found for _, ok in one.awards]
    proposed = [ok for one in found for _, _, ok in one.proposed]
    brought = [ok for one in found for _, ok in one.brought]
    held, right = (sum(one.held[k] for one in found) for k in (0, 1))
    assert sum(awards) / len(awards) >= 0.85
    assert sum(proposed) / len(proposed) >= 0.85
    assert sum(brought) / len(brought) >= 0.9
    assert right / held >= 0.9
