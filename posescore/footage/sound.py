"""The sound of footage as browsers play it, on the clock of its frames.

The referee's voice is evidence.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Final

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.container import InputContainer
from av.error import FFmpegError
from numpy.typing import NDArray

from posescore.footage.atomic import replacing

RATE_HZ: Final = 44_100
BIT_RATE: Final = 96_000
"""One voice in a hall, on one channel."""
BLOCK: Final = 1024
"""Samples of an AAC frame."""
SUFFIX: Final = ".m4a"


def write_sound(video: Path, starts_at_s: float, out: Path) -> bool:
    """Write the sound of a video, AAC in MP4, whole or not at all.

    Parameters
    ----------
    video
        The footage.
    starts_at_s
        When its first picture is shown, in the file's own time: there the sound begins.
    out
        The file to write.

    Returns
    -------
    bool
        False where the footage has no sound that can be read; then nothing is written.
    """
    try:
        with av.open(str(video)) as source:
            if not source.streams.audio:
                return False
            with replacing(out) as unfinished:
                _write(_samples(source, starts_at_s), unfinished)
    except FFmpegError:
        return False
    return True


def _samples(source: InputContainer, starts_at_s: float) -> Iterator[NDArray[np.float32]]:
    """``(1, n)`` float32 in [-1, 1], from the first picture on."""
    resampler = av.AudioResampler("fltp", "mono", RATE_HZ)
    skip: int | None = None  # samples that come before the first picture
    for frame in source.decode(audio=0):
        begins_s = float((frame.pts or 0) * (frame.time_base or Fraction(1, RATE_HZ)))
        if skip is None:
            skip = round((starts_at_s - begins_s) * RATE_HZ)
            yield np.zeros((1, max(0, -skip)), np.float32)
            skip = max(0, skip)
        for part in resampler.resample(frame):
            samples = np.asarray(part.to_ndarray(), np.float32)
            left_out = min(skip, samples.shape[1])
            skip -= left_out
            yield samples[:, left_out:]


def _write(samples: Iterator[NDArray[np.float32]], out: Path) -> None:
    with av.open(str(out), "w", format="mp4", options={"movflags": "+faststart"}) as box:
        stream = box.add_stream("aac", rate=RATE_HZ, layout="mono", bit_rate=BIT_RATE)
        written = 0
        rest = np.zeros((1, 0), np.float32)
        for each in samples:
            rest = np.concatenate([rest, each], axis=1)
            whole = rest.shape[1] // BLOCK * BLOCK
            for start in range(0, whole, BLOCK):
                box.mux(stream.encode(_frame(rest[:, start : start + BLOCK], written)))
                written += BLOCK
            rest = rest[:, whole:]
        if rest.shape[1]:
            box.mux(stream.encode(_frame(rest, written)))
        box.mux(stream.encode(None))


def _frame(samples: NDArray[np.float32], pts: int) -> AudioFrame:
    frame = AudioFrame.from_ndarray(np.ascontiguousarray(samples), format="fltp", layout="mono")
    frame.sample_rate, frame.pts, frame.time_base = RATE_HZ, pts, Fraction(1, RATE_HZ)
    return frame
