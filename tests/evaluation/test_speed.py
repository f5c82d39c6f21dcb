"""What the benchmark measures with, on things whose size is known."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from posescore.cli.evaluate import PARTS
from posescore.errors import OwnFailureError
from posescore.evaluation import speed as benchmark
from posescore.evaluation.film_speed import Camera, write_grainy
from posescore.footage.reading import Footage


def allocating(megabytes: int) -> list[str]:
    return [sys.executable, "-c", f"b = bytearray({megabytes}_000_000); b[::4096] = b[1::4096]"]


def test_peak_memory_is_that_of_the_program_that_was_run(tmp_path: Path) -> None:
    small_mb = benchmark._peak_mb(tmp_path, 1.0, lambda video, library: allocating(10))
    large_mb = benchmark._peak_mb(tmp_path, 1.0, lambda video, library: allocating(210))
    assert large_mb - small_mb == pytest.approx(200, abs=20)


def test_a_run_that_failed_is_no_figure(tmp_path: Path) -> None:
    with pytest.raises(OwnFailureError, match="failed"):
        benchmark._peak_mb(tmp_path, 1.0, lambda video, library: [sys.executable, "-c", "1/0"])


def test_the_long_track_is_the_short_one_again_and_again() -> None:
    track = benchmark.long_track(100.0)
    assert track.end_s == 100.0
    assert np.all(np.diff(track.time_s) > 0)
    assert track.time_s[-1] == pytest.approx(100 - 1 / 30)
    once = benchmark.long_track(60.0)
    np.testing.assert_array_equal(track.keypoints_px[: len(once)], once.keypoints_px)


def test_every_part_can_be_named() -> None:
    assert tuple(benchmark.MEASURES) == PARTS
    assert set(benchmark.USUAL) < set(PARTS)
    assert benchmark.Figure("a", 3.0, "ms", 2.0).held is False
    assert benchmark.Figure("a", 3.0, "ms").held is True


@pytest.mark.parametrize(("rate", "frames"), [(60, 30), (30, 15), (50, 25)])
def test_the_film_of_a_camera_is_what_it_says(tmp_path: Path, rate: int, frames: int) -> None:
    camera = Camera("small", (640, 360), rate, "libx264", 30, 1.0)
    write_grainy(tmp_path / "film.mov", camera, 0.5)
    footage = Footage(tmp_path / "film.mov")
    assert footage.size_px == (640, 360)
    np.testing.assert_allclose(footage.clock().pts_s, np.arange(frames) / rate, atol=1e-4)
    assert footage.clock().end_s == pytest.approx(0.5, abs=1e-3)
