"""A copy of the footage that browsers play: H.264 in MP4, upright, with the same clock."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Final

import av
from av.container import OutputContainer
from av.error import FFmpegError
from av.video import VideoStream
from av.video.frame import VideoFrame

from posescore.footage.ahead import ahead
from posescore.footage.atomic import replacing
from posescore.footage.reading import Footage, FootageInfo, Frame

MAX_WIDTH_PX: Final = 1280
KEY_FRAME_EVERY: Final = 15
"""Frames between key frames: a browser decodes at most these many to show a frame that was sought,
about half a second of footage, for a file larger by roughly a third."""
TICKS_PER_S: Final = 90_000
"""The time base of the proxy: 24, 25, 30, 50 and 60 frames a second are whole numbers of ticks, and
any other time is kept to 6 microseconds."""
_BROWSER_CODECS: Final = frozenset({"h264", "vp8", "vp9", "av1", "libdav1d"})
_BROWSER_PIXELS: Final = frozenset({"yuv420p", "yuvj420p"})
_BROWSER_SUFFIXES: Final = frozenset({".mp4", ".m4v", ".webm"})


def plays_in_browsers(info: FootageInfo) -> bool:
    """True when the original can be shown as it is: codec, pixels, container, and same clock.

    Notes
    -----
    A first frame that is not at 0 would shift the browser's clock against ours, so such footage
    gets a proxy too.
    """
    return (
        info.codec in _BROWSER_CODECS
        and info.pixel_format in _BROWSER_PIXELS
        and info.suffix in _BROWSER_SUFFIXES
        and abs(info.starts_at_s) < 0.001
    )


def make_proxy(
    footage: Footage | Path, out: Path, progress: Callable[[int, int], None] | None = None
) -> None:
    """Write the proxy, wholly or not at all.

    The picture is at most :data:`MAX_WIDTH_PX` wide; every frame keeps its presentation time;
    there is no sound. The index stands in front, so that playing starts before the file is read.

    Parameters
    ----------
    footage
        The video, or the path of one.
    out
        The proxy, an ``.mp4``; its folder must exist.
    progress
        Called with the number of frames done and the number of all frames.

    Raises
    ------
    StorageError
        When the file cannot be written.
    FootageError
        When the footage cannot be read.
    """
    source = footage if isinstance(footage, Footage) else Footage(footage)
    clock = source.clock()
    with replacing(out) as unfinished:
        try:
            with _writer(unfinished) as container:
                stream = _video_of(container, source)
                for frame in ahead(source.frames()):
                    container.mux(stream.encode(_coded(frame)))
                    if progress is not None:
                        progress(frame.index + 1, len(clock))
                container.mux(stream.encode(None))
        except FFmpegError as error:
            raise OSError(error.errno, error.strerror) from error


def proxy_size_px(size_px: tuple[int, int]) -> tuple[int, int]:
    """``(width, height)`` of the proxy: even numbers, as H.264 asks, and never larger."""
    width, height = size_px
    scale = min(1.0, MAX_WIDTH_PX / width)
    return max(2, int(width * scale / 2) * 2), max(2, int(height * scale / 2) * 2)


def _writer(path: Path) -> OutputContainer:
    return av.open(str(path), "w", format="mp4", options={"movflags": "faststart"})


def _video_of(container: OutputContainer, source: Footage) -> VideoStream:
    rate = Fraction(source.clock().mean_frames_per_s).limit_denominator(1001)
    stream = container.add_stream("libx264", rate=max(rate, Fraction(1)))
    stream.width, stream.height = proxy_size_px(source.size_px)
    stream.pix_fmt = "yuv420p"
    # Without B-frames decoding and showing have one order, and the first frame is at 0.
    stream.options = {"preset": "veryfast", "crf": "23", "g": str(KEY_FRAME_EVERY), "bf": "0"}
    stream.codec_context.time_base = stream.time_base = Fraction(1, TICKS_PER_S)
    return stream


def _coded(frame: Frame) -> VideoFrame:
    coded = VideoFrame.from_ndarray(frame.picture, format="rgb24")
    coded.pts = round(frame.time_s * TICKS_PER_S)
    coded.time_base = Fraction(1, TICKS_PER_S)
    return coded
