"""The sound of footage stands on the clock of its pictures."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from av.audio.frame import AudioFrame

from posescore.footage.reading import Footage
from posescore.footage.sound import write_sound
from tests.footage.clips import write_clip

RATE_HZ = 48_000
CLICK_S = 1.5
"""In the file's own time, a short burst."""


def clip_with_sound(path: Path, video_from_s: float, audio_from_s: float) -> Path:
    """Pictures from one instant on and sound from another, silent but for a burst."""
    with av.open(str(path), "w") as box:
        video = box.add_stream("libx264", rate=25)
        video.width, video.height, video.pix_fmt = 64, 64, "yuv420p"
        sound = box.add_stream("aac", rate=RATE_HZ, layout="mono")
        for number in range(75):
            frame = av.VideoFrame.from_ndarray(np.full((64, 64, 3), 90, np.uint8), format="rgb24")
            frame.pts, frame.time_base = (
                round((number / 25 + video_from_s) * 90_000),
                Fraction(1, 90_000),
            )
            box.mux(video.encode(frame))
        box.mux(video.encode(None))
        at_s = audio_from_s + np.arange(3 * RATE_HZ) / RATE_HZ
        burst = (at_s >= CLICK_S) & (at_s < CLICK_S + 0.05)
        wave = np.where(burst, 0.8 * np.sin(2 * np.pi * 880 * at_s), 0).astype(np.float32)
        for start in range(0, len(wave) - 1024, 1024):
            part = AudioFrame.from_ndarray(wave[None, start : start + 1024], "fltp", "mono")
            part.sample_rate, part.time_base = RATE_HZ, Fraction(1, RATE_HZ)
            part.pts = start + round(audio_from_s * RATE_HZ)
            box.mux(sound.encode(part))
        box.mux(sound.encode(None))
    return path


def heard_at_s(path: Path) -> float:
    """When the burst begins in a file."""
    with av.open(str(path)) as source:
        parts = [
            (float((f.pts or 0) * (f.time_base or 0)), f.to_ndarray()[0])
            for f in source.decode(audio=0)
        ]
    for begins_s, samples in parts:
        loud = np.flatnonzero(np.abs(samples) > 0.2)
        if len(loud):
            return begins_s + float(loud[0]) / 44_100
    raise AssertionError("nothing is heard")


@pytest.mark.parametrize(("video_s", "audio_s"), [(0.0, 0.0), (0.4, 0.0), (0.0, 0.3)])
def test_a_sound_is_heard_at_the_instant_of_its_picture(
    tmp_path: Path, video_s: float, audio_s: float
) -> None:
    clip = clip_with_sound(tmp_path / "clip.mov", video_s, audio_s)
    starts_at_s = Footage(clip).info.starts_at_s
    assert starts_at_s == pytest.approx(video_s, abs=0.001)
    out = tmp_path / "sound.m4a"
    assert write_sound(clip, starts_at_s, out)
    assert heard_at_s(out) == pytest.approx(CLICK_S - video_s, abs=0.04)  # within one picture


def test_a_silent_clip_leaves_no_file(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "silent.mp4", [0, 1, 2], Fraction(1, 25))
    assert not write_sound(clip, 0.0, tmp_path / "sound.m4a")
    assert not (tmp_path / "sound.m4a").exists()
