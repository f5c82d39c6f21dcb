from __future__ import annotations

import errno
import os
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from posescore.errors import StorageError
from posescore.evaluation.joining import repeated
from posescore.footage.decoding import Upright
from posescore.footage.proxy import LONGEST_PX, make_proxy, plays_in_browsers
from posescore.footage.reading import Footage
from tests.footage.clips import HEIGHT_PX, WIDTH_PX, read_number, write_clip
from tests.footage.test_reading import uneven_ticks

QUIET = {"x265-params": "log-level=none"}


def test_the_proxy_of_a_phones_clip_keeps_every_frame_at_its_time(tmp_path: Path) -> None:
    ticks = uneven_ticks(80)
    phone = write_clip(
        tmp_path / "phone.mov", ticks, Fraction(1, 90000), "libx265", rotation_deg=90, options=QUIET
    )
    footage = Footage(phone)
    told: list[tuple[int, int]] = []
    out = tmp_path / "proxy.mp4"
    make_proxy(footage, out, lambda stage, done, total: told.append((done, total)))

    proxy = Footage(out)
    assert plays_in_browsers(proxy.info)
    assert not plays_in_browsers(footage.info)
    assert proxy.size_px == (HEIGHT_PX, WIDTH_PX)
    assert proxy.upright.rotation_deg == 0
    np.testing.assert_allclose(proxy.clock().pts_s, footage.clock().pts_s, atol=6e-6)
    for mine, theirs in zip(proxy.frames(), footage.frames(), strict=True):
        assert read_number(np.rot90(mine.picture, -1)) == mine.index == theirs.index
    assert told[-1] == (80, 80)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["phone.mov", "proxy.mp4"]


def test_the_proxy_has_key_frames_often_and_its_index_in_front(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "clip.mkv", range(100), Fraction(1, 25), key_every=250)
    make_proxy(Footage(clip), tmp_path / "proxy.mp4")
    data = (tmp_path / "proxy.mp4").read_bytes()
    assert 0 < data.find(b"moov") < data.find(b"mdat")
    with av.open(str(tmp_path / "proxy.mp4")) as container:
        keys = [i for i, p in enumerate(container.demux(video=0)) if p.size and p.is_keyframe]
    assert keys[0] == 0
    assert max(np.diff(keys)) <= 15


def test_what_browsers_play(tmp_path: Path) -> None:
    info = Footage(write_clip(tmp_path / "a.mp4", range(10), Fraction(1, 25))).info
    assert plays_in_browsers(info)
    assert not plays_in_browsers(replace(info, codec="hevc"))
    assert not plays_in_browsers(replace(info, pixel_format="yuv422p10le"))
    assert not plays_in_browsers(replace(info, suffix=".avi"))
    assert not plays_in_browsers(replace(info, starts_at_s=0.2))


def test_the_proxy_is_never_larger_and_has_even_sides() -> None:
    sizes = {(3840, 2160): (1280, 720), (1080, 1920): (720, 1280), (641, 359): (640, 358)}
    for size, copied in sizes.items():
        assert Upright(*size).within(LONGEST_PX, multiple=2).size_px == copied


def test_a_proxy_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    footage = Footage(write_clip(tmp_path / "clip.mp4", range(10), Fraction(1, 25)))
    with pytest.raises(StorageError, match="its folder does not exist"):
        make_proxy(footage, tmp_path / "nowhere" / "proxy.mp4")
    with pytest.raises(StorageError, match="is a folder"):
        make_proxy(footage, tmp_path)

    def stop(stage: str, done: int, total: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        make_proxy(footage, tmp_path / "proxy.mp4", progress=stop)
    assert [p.name for p in tmp_path.iterdir()] == ["clip.mp4"]


def test_a_full_disk_is_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    clip = write_clip(tmp_path / "clip.mp4", range(10), Fraction(1, 25))
    monkeypatch.setattr("posescore.footage.encoding.Film.add", full)
    with pytest.raises(StorageError, match=r"proxy\.mp4 cannot be written, the disk is full"):
        make_proxy(Footage(clip), tmp_path / "proxy.mp4")
    assert [p.name for p in tmp_path.iterdir()] == ["clip.mp4"]


def test_repeating_copies_pictures_until_the_length_is_full(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "clip.mp4", range(50), Fraction(1, 25))
    repeated(clip, tmp_path / "long.mp4", 5.0)
    numbers = [read_number(f.picture) for f in Footage(tmp_path / "long.mp4").frames()]
    assert numbers[:100] == [*range(50), *range(50)]
    assert abs(len(numbers) - 125) <= 4
    repeated(clip, tmp_path / "short.mp4", 1.0)
    assert abs(len(Footage(tmp_path / "short.mp4").clock()) - 25) <= 4
