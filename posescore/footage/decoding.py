"""Demuxing and decoding in order, going on behind damage and counting it.

Too little memory is no damage of the file: it ends the reading.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Final

import av
import numpy as np
from av.container import InputContainer
from av.video import VideoStream
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from posescore.errors import FootageError
from posescore.footage.opening import check_size

MOST_STRETCHED: Final = 8
"""Pixels at most so many times as wide as high, or as high as wide. A judgement: the formats of
the trade stay within 2; a file that says more is wrong about itself."""
_SHRINK: Final = "AREA"
"""Means over areas: of what the library offers for shrinking, the quickest without flicker."""


@dataclass(frozen=True, slots=True, eq=False)
class Decoded:
    """A frame as it was decoded, and its index in the footage's clock."""

    index: int
    raw: VideoFrame


@dataclass(slots=True)
class Damage:
    """What of a file could not be used."""

    packets: int = 0
    """Pieces that did not decode."""
    cut_off: bool = False
    """The container ended in the middle of a piece."""

    @property
    def found(self) -> bool:
        """True when anything was lost."""
        return bool(self.packets) or self.cut_off


def packets(
    container: InputContainer, stream: VideoStream, damage: Damage
) -> Iterator[av.Packet[VideoStream]]:
    """The stream's packets in the file's order, without the empty one at the end."""
    source = container.demux(stream)
    while True:
        try:
            packet = next(source, None)
        except av.error.MemoryError:
            if _memory_is_short():
                raise
            damage.cut_off = True  # a damaged table asks for a piece larger than any
            return
        except av.error.FFmpegError:
            damage.cut_off = True
            return
        if packet is None:
            return
        if packet.is_corrupt:
            damage.cut_off = True
        elif packet.size:
            yield packet


def decoded(container: InputContainer, stream: VideoStream, damage: Damage) -> Iterator[VideoFrame]:
    """The stream's frames in the order they are shown."""
    for packet in packets(container, stream, damage):
        try:
            frames = packet.decode()
        except av.error.MemoryError:
            raise
        except av.error.FFmpegError:
            damage.packets += 1
            continue
        yield from frames
    try:
        yield from stream.decode(None)
    except av.error.MemoryError:
        raise
    except av.error.FFmpegError:
        damage.packets += 1


@dataclass(frozen=True, slots=True)
class Upright:
    """How decoded frames become pictures as they are meant to be shown, of one size.

    Parameters
    ----------
    width_px, height_px
        Of the frame before turning, with square pixels.
    rotation_deg
        0, 90, 180 or 270: how far the frame is turned anticlockwise to be shown.
    """

    width_px: int
    height_px: int
    rotation_deg: int = 0

    @classmethod
    def of(cls, frame: VideoFrame, stream: VideoStream, name: str) -> Upright:
        """Read size, pixel shape and display matrix from a stream and its first frame.

        Raises
        ------
        FootageError
            When the pixels have an impossible shape or the picture is too large.
        """
        ratio = stream.sample_aspect_ratio or 1
        if not 1 / MOST_STRETCHED <= ratio <= MOST_STRETCHED:
            raise FootageError(
                f"{name} says that its pixels are {float(ratio):.3g} times as wide as high, which "
                "cannot be: convert it to MP4 with square pixels first."
            )
        width_px = round(frame.width * ratio)
        check_size(name, width_px, frame.height)
        return cls(width_px, frame.height, round(frame.rotation / 90) * 90 % 360)

    @property
    def size_px(self) -> tuple[int, int]:
        """``(width, height)`` of the upright picture."""
        size = (self.width_px, self.height_px)
        return size if self.rotation_deg % 180 == 0 else size[::-1]

    def within(self, longest_px: int | None, multiple: int = 1) -> Upright:
        """The same with no side above ``longest_px``, both whole multiples; never larger."""
        longest = max(self.width_px, self.height_px)
        by = 1.0 if longest_px is None else min(1.0, longest_px / longest)
        if by == 1.0 and multiple == 1:
            return self
        width_px, height_px = (
            max(multiple, round(side * by) // multiple * multiple)
            for side in (self.width_px, self.height_px)
        )
        return Upright(width_px, height_px, self.rotation_deg)

    def picture(self, frame: VideoFrame) -> NDArray[np.uint8]:
        """``(height, width, 3)`` uint8 RGB, upright, contiguous.

        A frame that becomes smaller is scaled first and only then given its colours: half the
        work, for there are fewer pixels to convert.
        """
        width, height = self.width_px, self.height_px
        with _memory():
            if width < frame.width and frame.format.name.startswith("yuv"):
                frame = frame.reformat(width, height, interpolation=_SHRINK, threads=1)
            raw = frame.to_ndarray(format="rgb24", width=width, height=height)
        if self.rotation_deg:
            raw = np.rot90(raw, self.rotation_deg // 90)
        return np.ascontiguousarray(raw, dtype=np.uint8)

    def coded(self, frame: VideoFrame) -> VideoFrame:
        """The frame upright in the pixels that encoders take, without a detour over RGB.

        Both sides must be even.
        """
        with _memory():
            small = frame.reformat(
                self.width_px, self.height_px, "yuv420p", dst_color_range="MPEG",
                interpolation=_SHRINK, threads=1,
            )  # fmt: skip
        return _turned(small, self.rotation_deg // 90) if self.rotation_deg else small


_LARGEST_PIECE_BYTES: Final = 64 * 2**20
"""Many times what a coded picture of the largest cameras takes. A judgement."""


def _memory_is_short() -> bool:
    """True where there is no room for the largest piece of any footage."""
    try:
        bytearray(_LARGEST_PIECE_BYTES)
    except MemoryError:
        return True
    return False


@contextmanager
def _memory() -> Iterator[None]:
    """Scaling that finds no room for itself, or for a thread, says so as a resource that is away.

    Raises
    ------
    MemoryError
        In its place.
    """
    try:
        yield
    except av.error.BlockingIOError as error:
        raise MemoryError from error


def _turned(frame: VideoFrame, quarters: int) -> VideoFrame:
    """A yuv420p frame turned anticlockwise, plane by plane."""
    width, height = frame.width, frame.height
    flat, size = frame.to_ndarray().ravel(), width * height
    planes = (
        flat[:size].reshape(height, width),
        flat[size : size * 5 // 4].reshape(height // 2, width // 2),
        flat[size * 5 // 4 :].reshape(height // 2, width // 2),
    )
    turned = [np.rot90(plane, quarters) for plane in planes]
    whole = np.concatenate([plane.ravel() for plane in turned])
    return VideoFrame.from_ndarray(whole.reshape(-1, turned[0].shape[1]), format="yuv420p")
