"""Several reads of one picture told as one: slots matched, the majority of the sure followed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from posescore.pose.estimators.heat_maps import CELLS, HeatMaps
from posescore.pose.estimators.pair_prediction import (
    NOBODY_BELOW,
    PairPrediction,
    PairRead,
    combined,
)
from posescore.terms import N_KEYPOINTS

SIDE_PX = 320.0
GRID = ((np.arange(CELLS) + 0.5) * SIDE_PX / CELLS).astype(np.float32)


def pair(seed: int = 0) -> NDArray[np.float32]:
    random = np.random.default_rng(seed)
    body = random.uniform(-60, 60, (2, N_KEYPOINTS, 2))
    return np.asarray(body + np.array([[[120.0, 130]], [[200.0, 180]]]), np.float32)


def read_of(points: NDArray[np.float32], sure: float = 0.8, shift_px: float = 0.0) -> PairRead:
    """A read that sees a small hill at each point, in a square that begins at ``shift_px``."""
    cells = GRID + np.float32(shift_px)
    across = np.exp(-((cells - points[..., :1]) ** 2) / (2 * 5.0**2))
    down = np.exp(-((cells - points[..., 1:]) ** 2) / (2 * 5.0**2))
    share = down[..., :, None] * across[..., None, :]
    share /= np.maximum(share.sum(axis=(2, 3), keepdims=True), 1e-9)
    told = np.full((2, N_KEYPOINTS), sure, np.float32)
    return PairRead(HeatMaps(share.astype(np.float32), cells, cells), told)


def with_sure(read: PairRead, slot: int, keypoint: int, sure: float) -> PairRead:
    read.confidence[slot, keypoint] = sure
    return read


def apart_px(look: PairPrediction, points: NDArray[np.float32]) -> float:
    return float(np.linalg.norm(look.keypoints_px - points, axis=-1).max())


def test_one_read_is_its_own_answer() -> None:
    look = combined([read_of(pair(), 0.7)])
    assert apart_px(look, pair()) < 2
    assert np.allclose(look.confidence, 0.7)


@settings(deadline=None, max_examples=12)
@given(st.integers(0, 1000), st.lists(st.booleans(), min_size=1, max_size=3))
def test_slots_of_later_reads_may_be_the_other_way_round(seed: int, turned: list[bool]) -> None:
    reads: Sequence[PairRead] = [
        read_of(pair(seed)),
        *(read_of(pair(seed)[::-1] if other else pair(seed)) for other in turned),
    ]
    assert apart_px(combined(reads), pair(seed)) < 2


@settings(deadline=None, max_examples=8)
@given(st.floats(-40, 40))
def test_reads_of_alternative_crops_meet_in_the_picture(shift_px: float) -> None:
    reads = [read_of(pair()), read_of(pair(), shift_px=shift_px)]
    assert apart_px(combined(reads), pair()) < 2


def test_a_limb_goes_where_most_reads_see_it_not_between() -> None:
    wrong = pair()
    wrong[0, 9] = [290, 20]  # one read takes another's wrist
    look = combined([read_of(wrong), read_of(pair()), read_of(pair())])
    assert apart_px(look, pair()) < 2


def test_one_sure_read_outweighs_two_that_guess() -> None:
    wrong = pair()
    wrong[1, 13] = [20, 300]
    guesses = [with_sure(read_of(wrong), 1, 13, 0.1) for _ in range(2)]
    look = combined([read_of(pair()), *guesses])
    assert apart_px(look, pair()) < 2
    assert look.confidence[1, 13] == pytest.approx((0.8 + 0.1 + 0.1) / 3, abs=1e-5)


def test_sureness_asks_for_both_athletes() -> None:
    one_sided = read_of(pair(), 0.9)
    one_sided.confidence[1] = 0.2
    assert read_of(pair(), 0.6).confidence_product() > one_sided.confidence_product()


def test_an_athlete_who_is_nobody_is_missing() -> None:
    read = read_of(pair())
    read.confidence[1] = NOBODY_BELOW / 2
    estimate = combined([read]).estimate()
    assert np.isfinite(estimate.keypoints_px[0]).all()
    assert np.isnan(estimate.keypoints_px[1]).all()
    assert np.isnan(estimate.keypoint_confidence[1]).all()
