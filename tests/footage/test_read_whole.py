"""Footage that cannot be read to its end this time is never taken for shorter footage."""

from __future__ import annotations

import errno
import itertools
import os
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from unittest.mock import Mock

import av
import pytest
from av.container import InputContainer
from av.video import VideoStream

from posescore.errors import StorageError
from posescore.footage import decoding
from posescore.footage.reading import Footage, Frame
from posescore.pose.track_cache import cached_track
from tests.footage.clips import read_number, write_clip

N_FRAMES = 400


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    ticks = range(0, N_FRAMES * 512, 512)
    return write_clip(tmp_path / "match.mp4", ticks, Fraction(1, 15360), movflags="faststart")


def cut_while_read(clip: Path, back: bool) -> Iterator[Frame]:
    """Frames of a file that loses its second half after a few, and gets it back if asked."""
    whole = clip.read_bytes()
    footage = Footage(clip)
    footage.clock()
    for frame in footage.frames():
        if frame.index == 3:
            os.truncate(clip, len(whole) // 2)
        yield frame
        if back and frame.index == 9:
            clip.write_bytes(whole)


@pytest.mark.parametrize("back", [False, True])
def test_a_file_cut_while_it_is_read_is_a_sentence(clip: Path, back: bool) -> None:
    with pytest.raises(StorageError, match=r"match\.mp4 could not be read to its end"):
        list(cut_while_read(clip, back))


def test_nothing_incomplete_is_kept_and_the_next_run_reads_all(clip: Path, tmp_path: Path) -> None:
    whole = clip.read_bytes()

    def make() -> None:
        list(cut_while_read(clip, back=False))

    with pytest.raises(StorageError):
        cached_track(tmp_path / "kept", "key", make)  # type: ignore[arg-type]
    assert not list(tmp_path.glob("kept/*.parquet"))
    clip.write_bytes(whole)
    numbers = [read_number(frame.picture) for frame in Footage(clip).frames()]
    assert numbers == list(range(N_FRAMES))


def test_zeroed_sectors_while_it_is_read_are_a_sentence(clip: Path) -> None:
    half = clip.stat().st_size // 2

    def read() -> None:
        for frame in Footage(clip).frames():
            if frame.index == 3:
                with clip.open("r+b") as file:
                    file.seek(half)
                    file.write(bytes(half))

    with pytest.raises(StorageError, match="could not be read to its end"):
        read()


def test_other_bytes_under_the_same_date_are_a_sentence(clip: Path) -> None:
    """Shares with coarse dates, sectors that go bad: only the bytes say that it is not the same."""
    dated, half = clip.stat().st_mtime_ns, clip.stat().st_size // 2
    footage = Footage(clip)
    assert footage.sha256
    assert len(footage.clock()) == N_FRAMES
    with clip.open("r+b") as file:
        file.seek(half)
        file.write(bytes(half // 2))
    os.utime(clip, ns=(dated, dated))
    with pytest.raises(StorageError, match="could not be read to its end"):
        list(footage.frames())


def test_too_little_memory_is_no_damage(clip: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """FFmpeg says ENOMEM of a piece that a decoder has no memory for; the piece is sound."""
    sound = decoding.packets

    def starved(
        container: InputContainer, stream: VideoStream, damage: decoding.Damage
    ) -> Iterator[object]:
        yield from itertools.islice(sound(container, stream, damage), N_FRAMES // 2)
        yield Mock(decode=Mock(side_effect=av.error.MemoryError(errno.ENOMEM, "no memory")))

    footage = Footage(clip)
    assert len(footage.clock()) == N_FRAMES
    monkeypatch.setattr(decoding, "packets", starved)
    with pytest.raises(MemoryError):
        list(footage.frames())


def test_damage_that_was_there_before_is_still_read_up_to(clip: Path) -> None:
    with clip.open("r+b") as file:
        file.truncate(clip.stat().st_size * 2 // 3)
    footage = Footage(clip)
    assert footage.damage() is not None
    numbers = [read_number(frame.picture) for frame in footage.frames()]
    assert numbers[:100] == list(range(100))
    assert len(numbers) < N_FRAMES


def test_who_stops_early_is_told_nothing(clip: Path) -> None:
    footage = Footage(clip)
    frames = footage.frames()
    next(frames)
    os.truncate(clip, 1000)
    frames.close()
