"""Several reads of one picture: slots matched, the majority of the sure followed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from posescore.pose.several_reads import agreed
from posescore.terms import N_KEYPOINTS


def pair(seed: int = 0) -> NDArray[np.float32]:
    random = np.random.default_rng(seed)
    body = random.uniform(-60, 60, (2, N_KEYPOINTS, 2))
    middle = np.array([[[200.0, 200]], [[320.0, 260]]])
    return np.asarray(body + middle, np.float32)


def sure(reads: int, value: float = 0.8) -> NDArray[np.float32]:
    return np.full((reads, 2, N_KEYPOINTS), value, np.float32)


def test_one_read_is_its_own_answer() -> None:
    points, confidence, crossed = agreed(pair()[None], sure(1))
    assert np.allclose(points, pair(), atol=1e-3)
    assert np.allclose(confidence, 0.8)
    assert not crossed.any()


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 1000), st.lists(st.booleans(), min_size=1, max_size=4))
def test_slots_of_later_reads_may_be_the_other_way_round(seed: int, other: list[bool]) -> None:
    true = pair(seed)
    reads = np.stack([true, *(true[::-1] if turned else true for turned in other)])
    points, _, crossed = agreed(reads, sure(len(reads)))
    assert np.allclose(points, true, atol=1e-2)
    assert crossed.tolist() == [False, *other]


def test_a_limb_goes_where_most_reads_see_it_not_between() -> None:
    reads = np.stack([pair()] * 3)
    reads[0, 0, 9] += 150  # one read takes another's wrist
    points, _, _ = agreed(reads, sure(3))
    assert np.linalg.norm(points[0, 9] - pair()[0, 9]) < 2


def test_one_sure_read_outweighs_two_that_guess() -> None:
    reads, confidence = np.stack([pair()] * 3), sure(3)
    reads[1:, 1, 13] += 200
    confidence[1:, 1, 13] = 0.1
    points, told, _ = agreed(reads, confidence)
    assert np.linalg.norm(points[1, 13] - pair()[1, 13]) < 2
    assert told[1, 13] == pytest.approx((0.8 + 0.1 + 0.1) / 3, abs=1e-5)
