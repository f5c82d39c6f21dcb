"""Pictures in, an H.264 file out: for all films that the program makes itself."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Final

import av
import numpy as np
from av.container import OutputContainer
from av.video import VideoStream
from av.video.frame import VideoFrame
from numpy.typing import NDArray

TICKS_PER_S: Final = 90_000
"""Any presentation time is kept to 6 microseconds; the common frame rates are whole ticks."""
H264: Final = "libx264"


class Film:
    """An MP4 that is being written; every frame is shown from its own instant to the next."""

    def __init__(self, container: OutputContainer, stream: VideoStream) -> None:
        self.count = 0
        self._container = container
        self._stream = stream
        self._waiting: av.Packet[VideoStream] | None = None

    def add(self, frame: VideoFrame, time_s: float) -> None:
        """One frame more; instants rise, the first is 0."""
        frame.pts, frame.time_base = round(time_s * TICKS_PER_S), Fraction(1, TICKS_PER_S)
        frame.pict_type = 0  # else the encoder copies the source's kinds
        self._write(self._stream.encode(frame))
        self.count += 1

    def end(self, end_s: float) -> None:
        """The instant at which the last frame stops being shown."""
        self._write(self._stream.encode(None))
        self._mux(round(end_s * TICKS_PER_S))

    def _write(self, packets: Iterable[av.Packet[VideoStream]]) -> None:
        for packet in packets:
            self._mux(packet.pts or 0)
            self._waiting = packet

    def _mux(self, until: int) -> None:
        """Write the packet before, whose duration is known only now."""
        if self._waiting is not None:
            self._waiting.duration = max(1, until - (self._waiting.pts or 0))
            self._container.mux(self._waiting)


@contextlib.contextmanager
def film_of(
    path: Path,
    size_px: tuple[int, int],
    frames_per_s: float,
    *,
    quality: int,
    key_every: int,
    preset: str = "veryfast",
    encoder: str = H264,
    matrix: int = 2,
) -> Iterator[Film]:
    """A film to write frames into; its index stands in front, so that it plays while it comes.

    Parameters
    ----------
    size_px
        Width and height; an odd last row or column is scaled away, as H.264 asks.
    frames_per_s
        About how many; the encoder shares out its bits by it.
    quality
        The encoder's constant rate factor: 18 is nearly lossless, 28 is poor.
    key_every
        Frames between key frames: as many are decoded at most to show a frame that was sought.
    matrix
        How the frames' colours are coded, by ISO/IEC 23091-2 (1 is BT.709, 2 unknown).
    """
    rate = max(Fraction(1), Fraction(frames_per_s).limit_denominator(1001))
    with av.open(str(path), "w", format="mp4", options={"movflags": "faststart"}) as container:
        stream = container.add_stream(encoder, rate=rate)
        assert isinstance(stream, VideoStream), f"{encoder} codes no pictures"
        stream.width, stream.height = (max(2, side // 2 * 2) for side in size_px)
        stream.pix_fmt = "yuv420p"
        # Without B-frames decoding and showing have one order, and the first frame is at 0.
        stream.options = {
            "crf": str(quality), "preset": preset, "g": str(key_every), "bf": "0",
            "x265-params": "log-level=none",
        }  # fmt: skip
        stream.codec_context.time_base = stream.time_base = Fraction(1, TICKS_PER_S)
        stream.codec_context.colorspace = matrix
        yield Film(container, stream)


def write_film(
    path: Path,
    pictures: Iterable[tuple[float, NDArray[np.uint8]]],
    end_s: float,
    size_px: tuple[int, int],
    *,
    quality: int = 21,
    key_every: int = 15,
    preset: str = "veryfast",
    encoder: str = H264,
) -> int:
    """Write pictures that are shown at given instants; how many there were.

    ``pictures`` come as an instant in seconds, rising, the first at 0, and ``(height, width, 3)``
    uint8 RGB, scaled to ``size_px``; the last is shown until ``end_s``. The rest is as in
    :func:`film_of`.
    """
    with film_of(
        path, size_px, 30, quality=quality, key_every=key_every, preset=preset, encoder=encoder
    ) as writing:
        for time_s, picture in pictures:
            writing.add(VideoFrame.from_ndarray(picture, format="rgb24"), time_s)
        writing.end(end_s)
    return writing.count
