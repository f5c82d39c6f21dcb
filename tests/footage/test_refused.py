"""Footage that would end the whole program is refused in one sentence."""

from __future__ import annotations

import struct
from fractions import Fraction
from pathlib import Path

import cv2
import numpy as np
import pytest

from posescore.errors import FootageError
from posescore.footage.opening import LARGEST_PX
from posescore.footage.pictures import read_picture
from posescore.footage.reading import Footage
from tests.footage.clips import HEIGHT_PX, WIDTH_PX, write_clip


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    return write_clip(tmp_path / "clip.mp4", range(10), Fraction(1, 25))


def changed(clip: Path, offset_in: bytes, offset: int, data: bytes) -> Path:
    """The clip with some bytes behind a box's name changed."""
    content = bytearray(clip.read_bytes())
    at = content.index(offset_in) + offset
    content[at : at + len(data)] = data
    clip.write_bytes(content)
    return clip


def track_size(clip: Path, width_px: int, height_px: int) -> Path:
    """Shown size in the track's header, 16.16 fixed point: ISO/IEC 14496-12, 8.3.2."""
    data = struct.pack(">II", width_px << 16, height_px << 16)
    return changed(clip, b"tkhd", 4 + 76, data)


@pytest.mark.parametrize(("width_px", "height_px"), [(16384, 64), (64, 16384), (20000, 20)])
def test_pixels_of_an_impossible_shape(clip: Path, width_px: int, height_px: int) -> None:
    with pytest.raises(FootageError, match=r"clip\.mp4 says that its pixels are .* times as wide"):
        Footage(track_size(clip, width_px, height_px))


def test_pixels_of_a_shape_that_there_is(clip: Path) -> None:
    footage = Footage(track_size(clip, WIDTH_PX * 2, HEIGHT_PX))
    assert footage.size_px == (WIDTH_PX * 2, HEIGHT_PX)
    assert next(footage.frames()).picture.shape == (HEIGHT_PX, WIDTH_PX * 2, 3)


def test_a_picture_that_is_too_wide(tmp_path: Path) -> None:
    path = tmp_path / "wide.png"
    cv2.imwrite(str(path), np.zeros((2, LARGEST_PX + 1, 3), np.uint8))
    with pytest.raises(FootageError, match=r"wide\.png is 16385 x 2 pixels large"):
        read_picture(path)
    cv2.imwrite(str(path), np.zeros((2, LARGEST_PX, 3), np.uint8))
    assert read_picture(path).shape == (2, LARGEST_PX, 3)


def test_film_that_is_too_wide(tmp_path: Path) -> None:
    import av

    path = tmp_path / "wide.mkv"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("ffv1", rate=25)
        stream.width, stream.height, stream.pix_fmt = LARGEST_PX + 16, 16, "yuv420p"
        frame = av.VideoFrame(LARGEST_PX + 16, 16, "yuv420p")
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    with pytest.raises(FootageError, match=r"wide\.mkv is 16400 x 16 pixels large"):
        Footage(path)


def test_an_unknown_codec_is_named_as_that(clip: Path) -> None:
    with pytest.raises(FootageError, match="coded in a way that cannot be decoded"):
        Footage(changed(clip, b"avc1\x00\x00\x00\x00\x00\x00", 0, b"zzzz"))
