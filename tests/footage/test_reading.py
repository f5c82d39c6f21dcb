from __future__ import annotations

import random
import shutil
import subprocess
from fractions import Fraction
from itertools import accumulate, pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from posescore.errors import FootageError
from posescore.footage.reading import Footage
from posescore.footage.times import clock_of_ticks, rising
from tests.footage.clips import HEIGHT_PX, WIDTH_PX, read_number, write_clip, write_sound


def uneven_ticks(n_frames: int) -> list[int]:
    chosen = random.Random(5).choices((1500, 3000, 3003, 4500, 9000), k=n_frames - 1)
    return [sum(chosen[:i]) for i in range(n_frames)]


CLIPS = {
    "24.mp4": (range(72), Fraction(1, 24), "libx264"),
    "29.97.mp4": (range(0, 90 * 1001, 1001), Fraction(1, 30000), "libx264"),
    "60.mov": (range(120), Fraction(1, 60), "libx264"),
    "60.mkv": (range(120), Fraction(1, 60), "libx264"),
    "uneven.mp4": (uneven_ticks(90), Fraction(1, 90000), "libx264"),
    "late.mov": ([t + 7000 for t in uneven_ticks(60)], Fraction(1, 90000), "libx264"),
    "uneven.mkv": (uneven_ticks(90), Fraction(1, 90000), "libx264"),
    "phone.mp4": (uneven_ticks(60), Fraction(1, 90000), "libx265"),
    "vp9.webm": (range(50), Fraction(1, 25), "libvpx-vp9"),
    "vp8.webm": (range(50), Fraction(1, 25), "libvpx"),
    "mpeg4.avi": (range(50), Fraction(1, 25), "mpeg4"),
    "h264.avi": (range(50), Fraction(1, 25), "libx264"),
    "motion.avi": (range(50), Fraction(1, 25), "mjpeg"),
    "broadcast.ts": (uneven_ticks(60), Fraction(1, 90000), "libx264"),
}


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("clips")


@pytest.mark.parametrize("name", CLIPS)
def test_number_in_the_pixels_is_the_index_and_the_clock_is_exact(clips: Path, name: str) -> None:
    ticks, time_base, codec = CLIPS[name]
    path = write_clip(clips / name, list(ticks), time_base, codec, options=_quiet(codec))
    footage = Footage(path)
    clock = footage.clock()
    frames = list(footage.frames())

    assert [read_number(frame.picture) for frame in frames] == list(range(len(ticks)))
    assert [frame.index for frame in frames] == list(range(len(clock)))
    assert [frame.time_s for frame in frames] == clock.pts_s.tolist()
    expected_s = (np.array(ticks) - ticks[0]) * float(time_base)
    coarse = path.suffix in (".mkv", ".webm")  # Matroska counts in milliseconds
    np.testing.assert_allclose(clock.pts_s, expected_s, atol=0.00101 if coarse else 1e-9)
    assert clock.end_s > clock.pts_s[-1]
    assert footage.damage() is None
    middle = len(ticks) // 2
    assert read_number(footage.frame(middle).picture) == middle
    assert read_number(footage.frame_at(clock.middle_s(middle)).picture) == middle
    assert [read_number(f.picture) for f in footage.frames(3, 7)] == list(range(3, len(ticks), 7))


def _quiet(codec: str) -> dict[str, str]:
    return {"x265-params": "log-level=none"} if codec == "libx265" else {}


@pytest.mark.skipif(not shutil.which("ffprobe"), reason="ffprobe is not installed")
@pytest.mark.parametrize("name", ["29.97.mp4", "uneven.mp4", "uneven.mkv", "phone.mp4"])
def test_clock_agrees_with_ffprobe(tmp_path: Path, name: str) -> None:
    ticks, time_base, codec = CLIPS[name]
    path = write_clip(tmp_path / name, list(ticks), time_base, codec, options=_quiet(codec))
    command = ["ffprobe", "-v", "error", "-select_streams", "v", "-show_entries"]
    command += ["frame=best_effort_timestamp_time", "-of", "csv=p=0", str(path)]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    times_s = np.array([float(line.strip(",")) for line in told if line.strip(",")])
    np.testing.assert_allclose(Footage(path).clock().pts_s, times_s - times_s[0], atol=2e-6)


@pytest.mark.skipif(not shutil.which("ffmpeg"), reason="ffmpeg is not installed")
@pytest.mark.parametrize("rotation_deg", [90, 180, 270])
def test_phones_are_shown_upright_as_ffmpeg_does(tmp_path: Path, rotation_deg: int) -> None:
    path = write_clip(tmp_path / "phone.mov", range(5), Fraction(1, 25), rotation_deg=rotation_deg)
    footage = Footage(path)
    width, height = footage.size_px
    command = ["ffmpeg", "-v", "error", "-i", str(path), "-f", "rawvideo", "-pix_fmt", "rgb24", "-"]
    shown = np.frombuffer(subprocess.run(command, capture_output=True, check=True).stdout, np.uint8)
    expected = shown.reshape(5, height, width, 3)
    assert {width, height} == {WIDTH_PX, HEIGHT_PX}
    assert (width < height) == (rotation_deg != 180)
    for frame in footage.frames():
        apart = np.abs(frame.picture.astype(int) - expected[frame.index].astype(int))
        assert apart.mean() < 3


def test_one_frame_is_a_video(tmp_path: Path) -> None:
    footage = Footage(write_clip(tmp_path / "one.mp4", [0], Fraction(1, 25)))
    assert len(footage.clock()) == 1
    assert [frame.time_s for frame in footage.frames()] == [0.0]


def test_truncated_matroska_is_used_up_to_the_damage(tmp_path: Path) -> None:
    whole = write_clip(tmp_path / "whole.mkv", range(200), Fraction(1, 25), key_every=10)
    data = whole.read_bytes()
    half = tmp_path / "half.mkv"
    half.write_bytes(data[: len(data) * 6 // 10])
    footage = Footage(half)
    frames = list(footage.frames())
    numbers = [read_number(frame.picture) for frame in frames]
    # What the last frames lean on may be cut off: they are left out, and times stay true.
    assert numbers == [round(frame.time_s * 25) for frame in frames]
    assert [frame.index for frame in frames] == list(range(len(footage.clock())))
    assert 50 < len(numbers) < 200
    assert "half.mkv is damaged or half-written" in (footage.damage() or "")
    assert Footage(whole).damage() is None


def test_truncated_mp4_with_its_index_in_front_says_what_is_lost(tmp_path: Path) -> None:
    whole = write_clip(
        tmp_path / "whole.mp4",
        range(200),
        Fraction(1, 25),
        key_every=10,
        movflags="faststart",
    )
    data = whole.read_bytes()
    half = tmp_path / "half.mp4"
    half.write_bytes(data[: len(data) * 7 // 10])
    footage = Footage(half)
    frames = list(footage.frames())
    numbers = [read_number(frame.picture) for frame in frames]
    # What the last frames lean on may be cut off: they are left out, and times stay true.
    assert numbers == [round(frame.time_s * 25) for frame in frames]
    assert [frame.index for frame in frames] == list(range(len(footage.clock())))
    assert 50 < len(numbers) < 200
    damage = footage.damage()
    assert damage is not None
    assert "half.mp4" in damage
    assert "of 200 frames" in damage


def test_bad_input_is_one_sentence_that_names_the_file(tmp_path: Path) -> None:
    (tmp_path / "empty.mp4").touch()
    (tmp_path / "notes.txt").write_text("no video\n" * 50)
    (tmp_path / "letter.mp4").write_text("no video either\n" * 50)
    whole = write_clip(tmp_path / "whole.mp4", range(50), Fraction(1, 25)).read_bytes()
    (tmp_path / "half.mp4").write_bytes(whole[: len(whole) // 2])
    write_sound(tmp_path / "sound.mp4")
    write_clip(tmp_path / "picture.png", [0], Fraction(1, 25), codec="png")
    expected = {
        "missing.mp4": "does not exist",
        "empty.mp4": "empty",
        "": "folder",
        "notes.txt": "text",
        "letter.mp4": "not a video",
        "half.mp4": "half-written",
        "sound.mp4": "only sound",
        "picture.png": "picture",
    }
    for name, words in expected.items():
        with pytest.raises(FootageError, match=words) as caught:
            Footage(tmp_path / name)
        message = str(caught.value)
        assert str(tmp_path / name) in message
        assert "\n" not in message
        assert message.endswith(".")


def test_missing_and_double_stamps_are_repaired() -> None:
    repair = rising(Fraction(1, 1000), Fraction(25))
    ticks = [repair.next(stamp) for stamp in (0, 40, 40, None, 160, 150, 200)]
    assert ticks == [0, 40, 41, 81, 160, 161, 200]
    repair = rising(Fraction(1, 1000), Fraction(25))
    assert [repair.next(s) for s in (9000, 9040, 0, 40)] == [9000, 9040, 9080, 9120]


def test_end_of_the_last_frame() -> None:
    assert clock_of_ticks([0, 1, 2], Fraction(1, 25)).end_s == pytest.approx(0.12)
    assert clock_of_ticks([7], Fraction(1, 25)).end_s == pytest.approx(0.04)
    assert clock_of_ticks([0, 1], Fraction(1, 25), last_duration=5).end_s == pytest.approx(0.24)


@given(
    stamps=st.lists(st.none() | st.integers(-(10**6), 10**6), min_size=1, max_size=60),
    frames_per_s=st.none() | st.fractions(1, 240),
)
def test_repaired_times_always_rise(
    stamps: list[int | None], frames_per_s: Fraction | None
) -> None:
    repair = rising(Fraction(1, 1000), frames_per_s)
    ticks = [repair.next(stamp) for stamp in stamps]
    assert all(before < after for before, after in pairwise(ticks))
    clock = clock_of_ticks(ticks, Fraction(1, 1000))
    assert len(clock) == len(stamps)
    assert clock.pts_s[0] == 0


@given(st.lists(st.integers(1, 900), min_size=1, max_size=60))
def test_good_stamps_are_left_alone(steps: list[int]) -> None:
    stamps = list(accumulate(steps))
    repair = rising(Fraction(1, 1000), Fraction(25))
    assert [repair.next(stamp) for stamp in stamps] == stamps
    assert repair.repaired == 0


def test_a_title_in_another_encoding_does_not_keep_footage_from_being_read(
    tmp_path: Path,
) -> None:
    path = tmp_path / "titled.mkv"
    write_clip(path, range(20), Fraction(1, 20), codec="mpeg4", title="QQQQQQQQ")
    content = path.read_bytes()
    assert b"QQQQQQQQ" in content
    path.write_bytes(content.replace(b"QQQQQQQQ", "Größe él".encode("latin-1")))
    assert [read_number(f.picture) for f in Footage(path).frames()] == list(range(20))
