"""A copy of the footage that browsers play: H.264 in MP4, upright, with the same clock."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from av.error import FFmpegError

from posescore.footage.atomic import replacing
from posescore.footage.decoding import Decoded
from posescore.footage.encoding import film_of
from posescore.footage.reading import Footage, FootageInfo
from posescore.terms import Progress, silent

LONGEST_PX: Final = 1280
"""Longer side of the copy. A judgement: a page shows it about so large."""
KEY_FRAME_EVERY: Final = 15
"""Frames between key frames: a browser decodes at most these many to show a frame that was sought,
half a second of footage at 30 frames a second, for a file larger by roughly a third."""
QUALITY: Final = 26
PRESET: Final = "ultrafast"
"""On 300 frames of the sample match with noise laid over it, at 1280 x 720: 46.4 dB of peak signal
to noise in 2.5 ms a frame; ``veryfast`` at 23 gives 45.9 dB in 6.0 ms, for a file half as large."""
BT_601: Final = 6
"""What RGB becomes when it is coded."""
_BROWSER_CODECS: Final = frozenset({"h264", "vp8", "vp9", "av1", "libdav1d"})
_BROWSER_PIXELS: Final = frozenset({"yuv420p", "yuvj420p"})
_BROWSER_SUFFIXES: Final = frozenset({".mp4", ".m4v", ".webm"})


def plays_in_browsers(info: FootageInfo) -> bool:
    """True when the original can be shown as it is: codec, pixels, container, and same clock.

    Notes
    -----
    A first frame that is not at 0 would shift the browser's clock against ours, so such footage
    gets a copy too.
    """
    return (
        info.codec in _BROWSER_CODECS
        and info.pixel_format in _BROWSER_PIXELS
        and info.suffix in _BROWSER_SUFFIXES
        and abs(info.starts_at_s) < 0.001
    )


def copying(footage: Footage, out: Path) -> Footage:
    """The same footage; whoever reads its frames from first to last writes the copy on the way.

    The copy is written wholly or not at all. No side is longer than :data:`LONGEST_PX`; every
    frame keeps its presentation time; there is no sound.

    Parameters
    ----------
    out
        The copy, an ``.mp4``; its folder must exist. Reading the frames raises StorageError when
        it cannot be written.
    """
    small = footage.upright.within(LONGEST_PX, multiple=2)
    clock = footage.clock()

    def copied(frames: Iterator[Decoded]) -> Iterator[Decoded]:
        with replacing(out) as unfinished:
            try:
                with film_of(
                    unfinished, small.size_px, clock.mean_frames_per_s,
                    quality=QUALITY, key_every=KEY_FRAME_EVERY, preset=PRESET,
                    matrix=footage.info.matrix or BT_601,
                ) as film:  # fmt: skip
                    for frame in frames:
                        film.add(small.coded(frame.raw), clock.time_s(frame.index))
                        yield frame
                    film.end(clock.end_s)
            except MemoryError:
                raise
            except FFmpegError as error:
                raise OSError(error.errno, error.strerror) from error

    return footage.by_way_of(copied)


def make_proxy(footage: Footage, out: Path, progress: Progress = silent) -> None:
    """Write the copy that :func:`copying` writes on the way, without anybody else reading.

    Raises
    ------
    StorageError
        When it cannot be written, or the footage cannot be read to its end.
    FootageError
        When the footage cannot be read.
    """
    frames = len(footage.clock())
    for frame in copying(footage, out).decoded():
        progress("making a copy for the browser", frame.index + 1, frames)
