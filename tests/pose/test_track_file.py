from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from posescore.errors import KeypointFileError
from posescore.pose.track import PairTrack
from posescore.pose.track_cache import cache_key, cached_track
from posescore.pose.track_file import read_track, write_track
from posescore.terms import Step
from tests.pose.test_coco import some_track


def same(one: PairTrack, two: PairTrack) -> bool:
    return (
        np.array_equal(one.keypoints_px, two.keypoints_px, equal_nan=True)
        and np.array_equal(one.keypoint_confidence, two.keypoint_confidence, equal_nan=True)
        and np.array_equal(one.frame_index, two.frame_index)
        and np.array_equal(one.time_s, two.time_s)
        and (one.end_s, one.picture_size_px) == (two.end_s, two.picture_size_px)
        and (one.provenance, one.findings) == (two.provenance, two.findings)
    )


def test_a_track_comes_back_bit_by_bit(tmp_path: Path) -> None:
    track = some_track()
    write_track(track, tmp_path / "track.parquet")
    assert same(read_track(tmp_path / "track.parquet"), track)
    assert [p.name for p in tmp_path.iterdir()] == ["track.parquet"]


def test_missing_keypoints_are_null_for_other_readers(tmp_path: Path) -> None:
    track = some_track()
    write_track(track, tmp_path / "track.parquet")
    table = pq.read_table(tmp_path / "track.parquet")
    assert table.column_names[:3] == ["frame_index", "time_s", "A_nose_x"]
    assert table["B_nose_x"].null_count == np.isnan(track.keypoints_px[:, 1, 0, 0]).sum()


def test_what_is_no_track_is_one_sentence(tmp_path: Path) -> None:
    pq.write_table(pa.table({"a": [1]}), tmp_path / "other.parquet")
    (tmp_path / "text.parquet").write_text("no")
    write_track(some_track(), tmp_path / "whole.parquet")
    data = (tmp_path / "whole.parquet").read_bytes()
    (tmp_path / "half.parquet").write_bytes(data[: len(data) // 2])
    table = pq.read_table(tmp_path / "whole.parquet")
    pq.write_table(table.drop_columns(["B_nose_x"]), tmp_path / "less.parquet")
    for name in ("other", "text", "half", "less", "none"):
        with pytest.raises(KeypointFileError, match=rf"{name}\.parquet"):
            read_track(tmp_path / f"{name}.parquet")


def test_the_cache_makes_a_track_once_and_again_when_broken(tmp_path: Path) -> None:
    made: list[int] = []

    def make() -> PairTrack:
        made.append(1)
        return some_track()

    key = cache_key("ab" * 32, Step("someone", {"a": 1}), {"every": 2})
    folder = tmp_path / "poses"
    assert cached_track(folder, key, make)[1] is False
    track, from_cache = cached_track(folder, key, make)
    assert from_cache
    assert same(track, some_track())
    next(folder.iterdir()).write_bytes(b"broken")
    assert cached_track(folder, key, make)[1] is False
    assert cached_track(folder, key, make)[1] is True
    assert len(made) == 2
    assert cached_track(None, key, make)[1] is False


def test_a_cache_that_cannot_be_written_costs_nothing_else(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    track, _ = cached_track(tmp_path / "file", "key", some_track)
    assert same(track, some_track())


def test_everything_a_track_depends_on_is_in_its_key() -> None:
    step = Step("e", {"a": 1}, {"m": "00"})
    keys = {
        cache_key("f", step, {"every": 2}),
        cache_key("g", step, {"every": 2}),
        cache_key("f", step, {"every": 1}),
        cache_key("f", Step("e", {"a": 2}, {"m": "00"}), {"every": 2}),
        cache_key("f", Step("e", {"a": 1}, {"m": "01"}), {"every": 2}),
    }
    assert len(keys) == 5
