"""Instants against plain medians, one instant at a time (numpy as reference)."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest

from posescore.holds.windows import INSTANT_S, LEAST_SURE, instants
from posescore.terms import N_KEYPOINTS, Athlete
from tests.holds.footage import track_of


@pytest.mark.parametrize("first", list(Athlete))
@pytest.mark.parametrize(("start_s", "end_s"), [(0.0, 120.0), (3.3, 99.9), (5.0, 5.1)])
def test_medians_of_what_is_sure(start_s: float, end_s: float, first: Athlete) -> None:
    """Over more instants than are gathered at a time; unsure and missing keypoints left out."""
    random = np.random.default_rng(3)
    points = random.normal(400, 100, (3600, 2, N_KEYPOINTS, 2))
    points[random.random(points.shape[:3]) < 0.2] = np.nan
    track = track_of(points, 30.0)
    sure = random.random(points.shape[:3]).astype(np.float32)
    sure[random.random(sure.shape) < 0.1] = np.nan
    track = replace(track, keypoint_confidence=sure)

    seen = instants(track, start_s, end_s, first)

    inside = (track.time_s >= start_s - 1e-9) & (track.time_s < end_s - 1e-9)
    cell = np.floor((track.time_s + 1e-6) / INSTANT_S)
    cells = np.unique(cell[inside])
    assert len(seen) == len(cells)
    known = np.where((sure >= LEAST_SURE)[..., None], track.keypoints_px.astype(float), np.nan)
    if first is Athlete.B:
        known = known[:, ::-1]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # all missing
        wanted = [np.nanmedian(known[inside & (cell == c)], axis=0) for c in cells]
    np.testing.assert_allclose(seen.pair_px, wanted)
