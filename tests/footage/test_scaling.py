"""Pictures and the copy come out of one decoding, scaled while they are converted."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from posescore.footage.decoding import Upright
from posescore.footage.encoding import write_film
from posescore.footage.proxy import LONGEST_PX, copying
from posescore.footage.reading import Footage
from tests.footage.clips import read_number, write_clip

WIDTH_PX, HEIGHT_PX = 2560, 1440
COLOURS = ((200, 30, 30), (30, 160, 40), (30, 50, 190), (230, 230, 225))


def bars() -> np.ndarray:
    """Four upright bars of plain colours under a gentle slope of brightness."""
    columns = np.repeat(np.array(COLOURS, np.float64), WIDTH_PX // 4, axis=0)[None]
    slope = np.linspace(0.7, 1.0, HEIGHT_PX)[:, None, None]
    return np.asarray(columns * slope, np.uint8)


def film(path: Path, pixels: str, **tags: int) -> Path:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("ffv1", rate=25)
        stream.width, stream.height, stream.pix_fmt = WIDTH_PX, HEIGHT_PX, pixels
        for name, value in tags.items():
            setattr(stream.codec_context, name, value)
        frame = av.VideoFrame.from_ndarray(bars(), format="rgb24")
        if pixels.startswith("yuv"):
            colours = {f"dst_{name}": value for name, value in tags.items()}
            frame = frame.reformat(format=pixels, **colours)
        for index in range(3):
            frame.pts = index
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


@pytest.mark.parametrize(
    ("pixels", "tags"),
    [
        ("yuv420p", {}),
        ("yuv420p", {"colorspace": 1}),
        ("yuv422p10le", {"colorspace": 1}),
        ("yuv420p", {"color_range": 2}),
        ("bgr0", {}),
    ],
)
def test_small_pictures_and_the_copy_have_the_colours_of_the_original(
    tmp_path: Path, pixels: str, tags: dict[str, int]
) -> None:
    # Reference: OpenCV's means over areas of the picture converted at its full size.
    footage = Footage(film(tmp_path / "film.mkv", pixels, **tags))
    whole = footage.frame(0).picture
    small = [f.picture for f in copying(footage, tmp_path / "c.mp4").frames(longest_px=640)].pop()
    reference = cv2.resize(whole, (640, 360), interpolation=cv2.INTER_AREA)
    assert small.shape == (360, 640, 3)
    assert np.abs(small.astype(int) - reference).mean() < 2
    copied = Footage(tmp_path / "c.mp4").frame(0).picture
    assert copied.shape == (720, 1280, 3)
    inside = np.arange(80, 640, 160)
    far = copied[::2, ::2][:, inside].astype(int) - reference[:, inside]
    assert np.abs(far).mean() < 6


def test_a_limit_leaves_smaller_pictures_as_they_are(tmp_path: Path) -> None:
    footage = Footage(write_clip(tmp_path / "clip.mp4", range(10), Fraction(1, 25)))
    for plain, limited in zip(footage.frames(), footage.frames(longest_px=1920), strict=True):
        np.testing.assert_array_equal(plain.picture, limited.picture)
    assert next(footage.frames(longest_px=96)).picture.shape == (32, 96, 3)
    assert Upright(5, 3).within(1, multiple=2).size_px == (2, 2)


@pytest.mark.parametrize("turned", [0, 90, 180, 270])
def test_who_reads_writes_the_copy_on_the_way(tmp_path: Path, turned: int) -> None:
    clip = write_clip(tmp_path / "clip.mov", range(20), Fraction(1, 25), rotation_deg=turned)
    footage, out = Footage(clip), tmp_path / "copy.mp4"
    read = [frame.index for frame in copying(footage, out).frames(step=3)]
    assert read == list(range(0, 20, 3))
    mine, theirs = list(Footage(out).frames()), list(footage.frames())
    assert len(mine) == len(theirs) == 20
    for one, other in zip(mine, theirs, strict=True):
        assert one.picture.shape == other.picture.shape
        assert np.abs(one.picture.astype(int) - other.picture).mean() < 4
    assert [read_number(np.rot90(f.picture, -turned // 90)) for f in mine] == list(range(20))


def test_who_stops_early_leaves_no_copy(tmp_path: Path) -> None:
    footage = Footage(write_clip(tmp_path / "clip.mkv", range(20), Fraction(1, 25)))
    frames = copying(footage, tmp_path / "copy.mp4").frames()
    assert [next(frames).index for _ in range(5)] == list(range(5))
    frames.close()
    assert [path.name for path in tmp_path.iterdir()] == ["clip.mkv"]


def test_the_last_frame_is_shown_until_the_end(tmp_path: Path) -> None:
    pictures = ((t, np.full((64, 64, 3), 90, np.uint8)) for t in (0.0, 0.04, 0.5))
    assert write_film(tmp_path / "a.mp4", pictures, 1.25, (64, 65)) == 3
    footage = Footage(tmp_path / "a.mp4")
    np.testing.assert_allclose(footage.clock().pts_s, [0.0, 0.04, 0.5], atol=1e-5)
    assert footage.clock().end_s == pytest.approx(1.25, abs=1e-4)
    assert footage.size_px == (64, 64)
    copied = [frame.index for frame in copying(footage, tmp_path / "b.mp4").frames()]
    assert copied == [0, 1, 2]
    assert Footage(tmp_path / "b.mp4").clock().end_s == pytest.approx(1.25, abs=1e-4)
    assert LONGEST_PX % 2 == 0
