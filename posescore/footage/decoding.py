"""Demuxing and decoding in order, going on behind damage and counting it.

Too little memory is no damage of the file: it ends the reading.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import av
import numpy as np
from av.container import InputContainer
from av.video import VideoStream
from av.video.frame import VideoFrame
from numpy.typing import NDArray


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
            raise
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
    """How decoded frames become pictures as they are meant to be shown.

    Parameters
    ----------
    width_px, height_px
        Of the frame before turning, with square pixels.
    rotation_deg
        0, 90, 180 or 270: how far the frame is turned anticlockwise to be shown.
    """

    width_px: int
    height_px: int
    rotation_deg: int

    @classmethod
    def of(cls, frame: VideoFrame, stream: VideoStream) -> Upright:
        """Read size, pixel shape and display matrix from a stream and its first frame."""
        ratio = stream.sample_aspect_ratio
        width = round(frame.width * ratio) if ratio else frame.width
        return cls(width, frame.height, round(frame.rotation / 90) * 90 % 360)

    @property
    def size_px(self) -> tuple[int, int]:
        """``(width, height)`` of the upright picture."""
        size = (self.width_px, self.height_px)
        return size if self.rotation_deg % 180 == 0 else size[::-1]

    def picture(self, frame: VideoFrame) -> NDArray[np.uint8]:
        """``(height, width, 3)`` uint8 RGB, upright, contiguous."""
        raw = frame.to_ndarray(format="rgb24", width=self.width_px, height=self.height_px)
        if self.rotation_deg:
            raw = np.rot90(raw, self.rotation_deg // 90)
        return np.ascontiguousarray(raw, dtype=np.uint8)
