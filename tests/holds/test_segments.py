"""The segmental model against brute force and against textbook results."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from posescore.holds.decoding.segments import _REFERENCE_S, Floats, SegmentModel

SEEDS = st.integers(0, 2**32 - 1)


def random_model(random: np.random.Generator, n_labels: int) -> SegmentModel:
    follow = random.dirichlet(np.ones(n_labels), n_labels)
    np.fill_diagonal(follow, 0.0)
    with np.errstate(divide="ignore"):
        return SegmentModel(
            random.uniform(0.05, 0.5, n_labels),
            random.uniform(0.2, 3.0, n_labels),
            np.log(random.dirichlet(np.ones(n_labels))),
            np.log(follow / follow.sum(axis=1, keepdims=True)),
        )


def random_case(seed: int) -> tuple[SegmentModel, Floats, Floats]:
    random = np.random.default_rng(seed)
    n_labels, n_edges = int(random.integers(2, 4)), int(random.integers(2, 8))
    edges_s = np.cumsum(random.uniform(0.03, 0.4, n_edges))
    gained = random.normal(0.0, 1.0, (n_edges - 1, n_labels))
    evidence = np.vstack([np.zeros(n_labels), np.cumsum(gained, axis=0)])
    return random_model(random, n_labels), edges_s, evidence


def every_segmentation(n_edges: int, n_labels: int) -> Iterator[list[tuple[int, int, int]]]:
    for n_cuts in range(n_edges - 1):
        for cuts in combinations(range(1, n_edges - 1), n_cuts):
            bounds = list(pairwise((0, *cuts, n_edges - 1)))
            for labels in product(range(n_labels), repeat=len(bounds)):
                if all(a != b for a, b in pairwise(labels)):
                    yield [(i, j, s) for (i, j), s in zip(bounds, labels, strict=True)]


def log_weight(
    model: SegmentModel, edges_s: Floats, evidence: Floats, path: list[tuple[int, int, int]],
    widths: Floats,
) -> float:  # fmt: skip
    """The definition, written out: duration density, order, evidence; the last one is cut off."""
    total = float(model.log_start[path[0][2]])
    for at, (i, j, label) in enumerate(path):
        beyond = edges_s[j] - edges_s[i] - model.minimum_s[label]
        if beyond < -1e-9:
            return -np.inf
        total += evidence[j, label] - evidence[i, label] - beyond / model.mean_s[label]
        if at + 1 < len(path):
            density = 1.0 / model.mean_s[label]
            total += np.log(density * widths[j]) + model.log_follow[label, path[at + 1][2]]
    return float(total)


@settings(deadline=None)
@given(SEEDS)
def test_best_is_the_best_of_all_segmentations(seed: int) -> None:
    model, edges_s, evidence = random_case(seed)
    widths = np.full(len(edges_s), _REFERENCE_S)
    weights = [
        log_weight(model, edges_s, evidence, path, widths)
        for path in every_segmentation(len(edges_s), len(model.mean_s))
    ]
    found = [(s.first_edge, s.last_edge, s.label) for s in model.best(edges_s, evidence)]
    if np.isneginf(max(weights)):
        assert len(found) == 1
    else:
        weight = log_weight(model, edges_s, evidence, found, widths)
        assert weight == pytest.approx(max(weights))


@settings(deadline=None)
@given(SEEDS)
def test_occupancy_sums_over_all_segmentations(seed: int) -> None:
    model, edges_s, evidence = random_case(seed)
    widths = np.diff(edges_s, append=edges_s[-1] + _REFERENCE_S)
    expected = np.zeros((len(edges_s) - 1, len(model.mean_s)))
    for path in every_segmentation(len(edges_s), len(model.mean_s)):
        share = np.exp(log_weight(model, edges_s, evidence, path, widths))
        for i, j, label in path:
            expected[i:j, label] += share
    if not expected.any():
        return
    expected /= expected.sum(axis=1, keepdims=True)
    assert model.occupancy(edges_s, evidence) == pytest.approx(expected, abs=1e-9)


def test_with_short_minima_it_is_a_hidden_markov_model() -> None:
    """The textbook forward-backward posterior (Rabiner 1989, III.A) in the limit of no minimum.

    Mean durations are long against the cell, so that staying ``exp(-d / mean)`` and leaving
    ``d / mean`` make a transition matrix up to a normalisation common to both labels.
    """
    random = np.random.default_rng(5)
    cell_s, mean_s, n_cells = 0.1, 0.8, 60
    observed = random.dirichlet([1.0, 1.0], n_cells)
    stay, leave = np.exp(-cell_s / mean_s), cell_s / mean_s
    transition = np.array([[stay, stay * leave], [stay * leave, stay]])
    forward = np.zeros((n_cells, 2))
    backward = np.ones((n_cells, 2))
    forward[0] = observed[0] / 2
    for cell in range(1, n_cells):
        forward[cell] = (forward[cell - 1] @ transition) * observed[cell]
        forward[cell] /= forward[cell].sum()
    for cell in range(n_cells - 2, -1, -1):
        backward[cell] = transition @ (observed[cell + 1] * backward[cell + 1])
        backward[cell] /= backward[cell].sum()
    expected = forward * backward
    expected /= expected.sum(axis=1, keepdims=True)
    other = np.array([[-np.inf, 0.0], [0.0, -np.inf]])
    model = SegmentModel(np.full(2, 1e-6), np.full(2, mean_s), np.log([0.5, 0.5]), other)
    edges_s = np.arange(n_cells + 1) * cell_s
    evidence = np.vstack([np.zeros(2), np.cumsum(np.log(observed), axis=0)])
    assert model.occupancy(edges_s, evidence) == pytest.approx(expected, abs=1e-6)


def test_a_label_never_follows_itself() -> None:
    with pytest.raises(ValueError, match="follow itself"):
        SegmentModel(np.ones(2), np.ones(2), np.zeros(2), np.zeros((2, 2)))


def test_durations_must_be_positive() -> None:
    follow = np.array([[-np.inf, 0.0], [0.0, -np.inf]])
    with pytest.raises(ValueError, match="above 0 s"):
        SegmentModel(np.zeros(2), np.ones(2), np.zeros(2), follow)
