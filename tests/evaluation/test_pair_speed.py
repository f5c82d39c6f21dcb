"""How speed is measured, and how many threads compute."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from posescore.evaluation.pair_speed import Excerpt, processor_ms
from posescore.footage.reading import Footage
from posescore.pose.estimators.onnx_network import usual_threads
from posescore.resources import shipped


@pytest.mark.parametrize(
    ("cores", "threads"), [(None, 1), (1, 1), (2, 1), (3, 2), (4, 3), (8, 4), (64, 4)]
)
def test_a_core_is_left_to_decoding(cores: int | None, threads: int) -> None:
    assert usual_threads(cores) == threads


def test_an_excerpt_is_the_first_frames_with_their_own_times() -> None:
    footage = Footage(shipped("sample_video", "match.mp4"))
    excerpt = Excerpt(footage, 0.5)
    clock = excerpt.clock()
    np.testing.assert_array_equal(clock.pts_s, footage.clock().pts_s[: len(clock)])
    assert clock.pts_s[-1] < 0.5 <= footage.clock().pts_s[len(clock)]
    assert clock.end_s == 0.5
    frames = list(excerpt.frames(step=4))
    assert [frame.index for frame in frames] == list(range(0, len(clock), 4))
    assert excerpt.size_px == footage.size_px


def test_an_excerpt_longer_than_the_footage_is_the_footage() -> None:
    footage = Footage(shipped("sample_video", "match.mp4"))
    assert len(Excerpt(footage, 1e6).clock()) == len(footage.clock())
    assert Excerpt(footage, 1e6).clock().end_s == footage.clock().end_s


def test_processor_time_is_of_work_not_of_waiting() -> None:
    spent = itertools.count()

    def work() -> None:
        next(spent)
        sum(range(20_000))

    assert 0 < processor_ms(work, 5) < 200
    assert next(spent) == 7
