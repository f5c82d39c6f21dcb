"""Pictures in, an H.264 file out: for footage that the program makes itself."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray


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
