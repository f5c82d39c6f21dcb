"""Reading heat maps: the place whose expected similarity is highest."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from posescore.pose.estimators.heat_maps import (
    CELLS,
    HeatMaps,
    best_places,
    body_size_px,
    probabilities,
)
from posescore.pose.oks import SIGMAS
from posescore.terms import KEYPOINT_INDEX, N_KEYPOINTS

GRID = np.arange(CELLS, dtype=np.float32) + 0.5
SIZE = np.array([20.0, 14.0])


def maps(seed: int = 0, hills: int = 3) -> HeatMaps:
    """Maps of a few hills each, on cells of one pixel."""
    random = np.random.default_rng(seed)
    share = np.zeros((2, N_KEYPOINTS, CELLS, CELLS))
    for slot in range(2):
        for k in range(N_KEYPOINTS):
            for x, y, wide, high in random.uniform([8, 8, 0.5, 0.2], [56, 56, 5, 1], (hills, 4)):
                hill = np.exp(-((GRID - x) ** 2 + (GRID[:, None] - y) ** 2) / (2 * wide**2))
                share[slot, k] += high * hill / hill.sum()
    share /= share.sum(axis=(2, 3), keepdims=True)
    return HeatMaps(share.astype(np.float32), GRID, GRID)


def expected_similarity(
    read: HeatMaps, places: NDArray[np.floating], slot: int, k: int
) -> NDArray[np.float64]:
    """The expectation at places ``(n, 2)``, cell by cell, with COCO's published curve."""
    x, y = np.meshgrid(read.x_px, read.y_px)
    squared = (x - places[:, :1, None]) ** 2 + (y - places[:, 1:, None]) ** 2
    curve = np.exp(-squared / (2 * SIZE[slot] ** 2 * (2 * SIGMAS[k]) ** 2))
    return np.asarray((read.probability[slot, k] * curve).sum(axis=(1, 2)))


def ones(reads: int) -> NDArray[np.float32]:
    return np.ones((reads, 2, N_KEYPOINTS), np.float32)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2), st.integers(1, 62), st.integers(1, 62))
def test_one_sharp_peak_is_the_place(seed: int, row: int, column: int) -> None:
    heat = np.random.default_rng(seed).normal(size=(2, N_KEYPOINTS, CELLS**2)).astype(np.float32)
    heat[..., row * CELLS + column] = 60
    read = HeatMaps(probabilities(heat), GRID * 4, GRID * 4)
    assert np.allclose(read.peaks_px(), [(column + 0.5) * 4, (row + 0.5) * 4])
    assert np.allclose(best_places([read], ones(1), SIZE * 4), read.peaks_px(), atol=1e-3)


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 10_000))
def test_no_cell_expects_more_than_the_place_found(seed: int) -> None:
    read = maps(seed)
    places = best_places([read], ones(1), SIZE)
    cells = np.array([[x, y] for x in GRID[::3] for y in GRID[::3]])
    for slot, name in ((0, "left_hip"), (0, "right_wrist"), (1, "left_knee"), (1, "nose")):
        k = KEYPOINT_INDEX[name]
        found = expected_similarity(read, places[None, slot, k], slot, k)
        assert found >= 0.999 * expected_similarity(read, cells, slot, k).max()


def test_a_broad_hill_beats_a_lone_high_cell() -> None:
    share = np.zeros((2, N_KEYPOINTS, CELLS, CELLS))
    hill = np.exp(-((GRID - 20) ** 2 + (GRID[:, None] - 30) ** 2) / (2 * 2.0**2))
    share += 0.85 * hill / hill.sum()
    share[..., 50, 50] = 0.15
    assert share.argmax() % CELLS**2 == 50 * CELLS + 50
    places = best_places([HeatMaps(share.astype(np.float32), GRID, GRID)], ones(1), SIZE)
    assert np.allclose(places[:, KEYPOINT_INDEX["left_hip"]], [20, 30], atol=0.3)


@given(st.integers(0, 50), st.floats(0.3, 8), st.floats(-90, 400), st.floats(-90, 400))
@settings(max_examples=15, deadline=None)
def test_places_go_with_the_pixels(seed: int, scale: float, right: float, down: float) -> None:
    read = maps(seed)
    there = HeatMaps(
        read.probability, (read.x_px * scale + right).astype(np.float32),
        (read.y_px * scale + down).astype(np.float32),
    )  # fmt: skip
    here = best_places([read], ones(1), SIZE)
    moved = best_places([there], ones(1), SIZE * scale)
    assert np.allclose(moved, here * scale + [right, down], atol=0.02 * scale + 0.01)


def test_the_same_read_twice_is_as_once_and_no_weight_no_voice() -> None:
    one, other = maps(1), maps(2)
    once = best_places([one], ones(1), SIZE)
    assert np.allclose(best_places([one, one], ones(2), SIZE), once, atol=1e-3)
    weight = ones(2)
    weight[1] = 0
    assert np.allclose(best_places([one, other], weight, SIZE), once, atol=1e-3)


def test_two_reads_that_agree_outvote_a_surer_third() -> None:
    def at(x: float, y: float) -> HeatMaps:
        hill = np.exp(-((GRID - x) ** 2 + (GRID[:, None] - y) ** 2) / (2 * 1.5**2))
        share = np.broadcast_to(hill / hill.sum(), (2, N_KEYPOINTS, CELLS, CELLS))
        return HeatMaps(share.astype(np.float32), GRID, GRID)

    weight = ones(3)
    weight[2] = 1.5
    places = best_places([at(20, 20), at(20.5, 20), at(45, 45)], weight, SIZE)
    assert np.allclose(places, [20.25, 20], atol=0.5)


def test_shares_are_probabilities_even_of_large_logits() -> None:
    heat = np.random.default_rng(0).normal(0, 300, (2, N_KEYPOINTS, CELLS**2)).astype(np.float32)
    assert np.allclose(probabilities(heat).sum(axis=(2, 3)), 1, atol=1e-4)


@pytest.mark.parametrize("scale", [1.0, 7.5])
def test_a_body_is_larger_than_its_keypoints(scale: float) -> None:
    points = np.zeros((2, N_KEYPOINTS, 2))
    points[:, 0] = 10.0
    sizes = body_size_px(points * scale)
    assert np.allclose(sizes, 1.15 * scale * np.sqrt(50))
