"""Parts of a hold judged side by side, against all answers of all parts written out."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from posescore.holds.criteria.parts import CHANGE, VISIBLE, yes_of_parts

parts = st.lists(st.tuples(st.floats(-6, 6), st.floats(0, 1.2)), min_size=1, max_size=6)


def by_enumeration(odds: np.ndarray, counted: np.ndarray, before: float) -> np.ndarray:
    total, yes = 0.0, np.zeros(len(odds))
    for answer in product((False, True), repeat=len(odds)):
        weight = 1.0
        for said, x, n in zip(answer, odds, counted, strict=True):
            weight *= before * np.exp(x * n) if said else 1.0 - before
        for i in range(1, len(odds)):
            visible = abs(odds[i] - odds[i - 1]) >= VISIBLE
            weight *= CHANGE if visible and answer[i] != answer[i - 1] else 1.0
        total += weight
        yes += weight * np.array(answer)
    return yes / total


@given(parts, st.floats(0.05, 0.95))
def test_the_chain_is_the_sum_over_all_answers(
    said: list[tuple[float, float]], before: float
) -> None:
    odds, counted = np.array(said).T
    found = yes_of_parts(odds, counted, before)
    np.testing.assert_allclose(found, by_enumeration(odds, counted, before), atol=1e-9)


def test_one_part_alone_is_judged_by_itself() -> None:
    (yes,) = yes_of_parts(np.array([1.0]), np.array([1.2]), 0.75)
    assert yes == pytest.approx(1 / (1 + np.exp(-(1.2 + np.log(3)))))


def test_a_doubtful_part_beside_a_clear_one_is_the_other_answer() -> None:
    counted = np.array([1.2, 1.2])
    alone = yes_of_parts(np.array([-0.4]), counted[:1], 0.75)[0]
    beside = yes_of_parts(np.array([-0.4, 3.0]), counted, 0.75)[0]
    assert alone > 0.6
    assert beside < 0.5


def test_parts_without_a_visible_step_do_not_touch_each_other() -> None:
    odds, counted = np.array([0.5, 1.4, 0.2]), np.full(3, 1.2)
    together = yes_of_parts(odds, counted, 0.4)
    alone = [yes_of_parts(odds[i : i + 1], counted[:1], 0.4)[0] for i in range(3)]
    np.testing.assert_allclose(together, alone)
