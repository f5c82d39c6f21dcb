"""Recorded errors: what is planted is found, and simulated errors are fitted to it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from posescore.evaluation.poses3d.estimator_errors import LEGS
from posescore.lab.films.error_figures import FilmErrors, correlation, figures_of, stretches
from posescore.lab.films.fit_errors import fitted, simulated
from posescore.lab.films.recorded import FRAMES_PER_S, Recorded, at_common_rate, load, save
from posescore.lab.walks.pass_errors import shipped_figures
from posescore.pose.track import PairTrack
from posescore.pose.track_file import write_track
from posescore.terms import KEYPOINT_INDEX, MIRRORED_KEYPOINTS, Provenance

SIZE = 300.0


def still(n: int = 1200) -> Recorded:
    """Two people who do not move, read without error; every third keypoint is hidden."""
    rng = np.random.default_rng(4)
    place = rng.uniform(100, 400, (1, 2, 21, 2))
    place[0, 0, 0], place[0, 1, 0] = (100, 100), (400, 400)
    true = np.repeat(place, n, 0).astype(np.float32)
    visible = np.ones((n, 2, 21), bool)
    visible[:, :, ::3] = False
    return Recorded(true, true.copy(), np.full((n, 2, 21), 0.9, np.float32), visible)


def test_size_is_the_longer_side_of_both() -> None:
    assert still().size_px[0] == pytest.approx(SIZE)


def test_stretches_are_runs_of_a_tenth_of_a_second_and_longer() -> None:
    mask = np.zeros(60, bool)
    mask[5:7] = mask[20:23] = mask[50:] = True
    assert list(stretches(mask)) == [(20, 23), (50, 60)]


def test_planted_gaps_and_exchanges_are_counted() -> None:
    film = still()
    legs = list(LEGS)
    film.read_px[300:390, 1, legs] = film.true_px[300:390, 1][
        :, [MIRRORED_KEYPOINTS[k] for k in legs]
    ]
    film.read_px[600:660, 0] = np.nan
    wrist = KEYPOINT_INDEX["left_eye"]
    film.read_px[900:960, 0, wrist] += np.float32(0.3 * SIZE)
    figures = figures_of([FilmErrors(film)])
    minutes = film.end_s
    assert figures["legs_swapped_per_s"] * 2 * minutes == pytest.approx(1)
    assert figures["legs_swapped_length_s"] == pytest.approx(3)
    assert figures["arms_swapped_per_s"] == 0
    assert figures["athlete_missing_length_s"] == pytest.approx(2)
    wrong = figures["wrong_share_seen"] * film.visible.sum()
    wrong += figures["wrong_share_hidden"] * (~film.visible).sum()
    assert wrong == pytest.approx(60)


def test_correlation_is_that_of_a_planted_process() -> None:
    """A first-order autoregressive process forgets as exp(-lag / time constant) (textbook)."""
    film, rng = still(6000), np.random.default_rng(0)
    constant_s = 0.5
    keep = np.exp(-1 / (constant_s * FRAMES_PER_S))
    stray = np.zeros_like(film.true_px)
    for k in range(1, len(stray)):
        stray[k] = keep * stray[k - 1] + np.sqrt(1 - keep**2) * rng.standard_normal((2, 21, 2))
    film.read_px[:] = film.true_px + 2 * stray
    for lag_s in (0.1, 0.3, 1.0):
        found = correlation([FilmErrors(film)], lag_s)
        assert found == pytest.approx(np.exp(-lag_s / constant_s), abs=0.04)


def test_fitting_finds_the_size_of_errors_it_was_not_told() -> None:
    told = {**shipped_figures(), "noise_seen": [0.03] * 21, "noise_hidden": [0.09] * 21}
    films = [simulated(still(300), told, seed) for seed in range(12)]
    begun = {**shipped_figures(), "noise_seen": [0.01] * 21, "noise_hidden": [0.03] * 21}
    found = fitted(films, rounds=6, draws=2, start=begun)
    wanted = figures_of([FilmErrors(film) for film in films])
    got = figures_of([FilmErrors(simulated(film, found, 90 + k)) for k, film in enumerate(films)])
    for name in ("error_seen_50", "error_hidden_50", "error_hidden_90"):
        assert got[name] == pytest.approx(wanted[name], rel=0.3)


def test_a_recording_comes_back_at_thirty_a_second(tmp_path: Path) -> None:
    n, rate = 50, 25.0
    true = np.zeros((n, 2, 21, 2), np.float32)
    true[..., 0] = np.arange(n, dtype=np.float32)[:, None, None] * 2 + 0.5
    time_s = np.arange(n) / rate
    track = PairTrack(
        true + 1, np.ones((n, 2, 21), np.float32), np.arange(n), time_s, n / rate, (640, 360),
        Provenance("0"),
    )  # fmt: skip
    write_track(track, tmp_path / "track.parquet")
    save(tmp_path / "true.npz", true, np.full((n, 2, 21), 2.0), time_s)
    film = load(tmp_path)
    straight = np.arange(0, time_s[-1], 1 / 30) * rate * 2 + 0.5
    np.testing.assert_allclose(film.true_px[:, 0, 0, 0], straight, atol=0.07)
    np.testing.assert_allclose(film.read_px - film.true_px, 1, atol=0.07)
    again = at_common_rate(true, np.ones((n, 2, 21), bool), time_s, track)
    assert again.visible.all()
