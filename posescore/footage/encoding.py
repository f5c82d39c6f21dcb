"""Pictures in, an H.264 file out: for footage that the program makes itself."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Final

import av
import numpy as np
from av.video import VideoStream
from numpy.typing import NDArray

TICKS_PER_S: Final = 90_000
"""Any presentation time is kept to 6 microseconds; the common frame rates are whole ticks."""


def write_h264(
    path: Path,
    pictures: Iterable[NDArray[np.uint8]],
    size_px: tuple[int, int],
    frames_per_s: int,
    quality: int = 21,
) -> int:
    """Write pictures as MP4 that every browser plays, and return how many there were.

    Parameters
    ----------
    path
        The file to write.
    pictures
        ``(height, width, 3)`` uint8, RGB.
    size_px
        Width and height, both even.
    frames_per_s
        Constant frame rate; a key frame stands every second.
    quality
        The encoder's constant rate factor: 18 is nearly lossless, 28 is poor.
    """
    count = 0
    with av.open(str(path), "w", format="mp4", options={"movflags": "faststart"}) as container:
        stream = container.add_stream("libx264", rate=frames_per_s)
        stream.width, stream.height = size_px
        stream.pix_fmt = "yuv420p"
        stream.options = {"crf": str(quality), "preset": "medium", "g": str(frames_per_s)}
        for picture in pictures:
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            frame.pts = count
            count += 1
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return count


def write_h264_timed(
    path: Path,
    pictures: Iterable[tuple[float, NDArray[np.uint8]]],
    end_s: float,
    size_px: tuple[int, int],
    quality: int = 21,
    key_every: int = 15,
) -> int:
    """Write pictures that are shown at given instants, and return how many there were.

    Parameters
    ----------
    path
        The MP4 file to write.
    pictures
        Instant in seconds, rising, the first at 0; and the picture (RGB).
    end_s
        When the last picture stops being shown.
    size_px
        Width and height; an odd last row or column is scaled away, as H.264 asks.
    quality
        As in :func:`write_h264`.
    key_every
        Frames between key frames; half a second keeps every seek quick.
    """
    count = 0
    with av.open(str(path), "w", format="mp4", options={"movflags": "faststart"}) as container:
        stream = container.add_stream("libx264", rate=30)
        stream.width, stream.height = (max(2, side // 2 * 2) for side in size_px)
        stream.pix_fmt = "yuv420p"
        # Without B-frames decoding and showing have one order, and the first frame is at 0.
        stream.options = {"crf": str(quality), "preset": "veryfast", "g": str(key_every), "bf": "0"}
        stream.codec_context.time_base = stream.time_base = Fraction(1, TICKS_PER_S)
        coded = _coded(stream, pictures)
        waiting = next(coded, None)
        while waiting is not None:
            following = next(coded, None)
            shown = waiting.pts or 0
            until = following.pts if following is not None else round(end_s * TICKS_PER_S)
            waiting.duration = max(1, (until or 0) - shown)
            container.mux(waiting)
            count += 1
            waiting = following
    return count


def _coded(
    stream: VideoStream, pictures: Iterable[tuple[float, NDArray[np.uint8]]]
) -> Iterator[av.Packet[VideoStream]]:
    for time_s, picture in pictures:
        frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
        frame.pts, frame.time_base = round(time_s * TICKS_PER_S), Fraction(1, TICKS_PER_S)
        yield from stream.encode(frame)
    yield from stream.encode()
