"""A video file: what it is, when its frames are shown, and the frames themselves in order."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Self

import av
import numpy as np
from av.container import InputContainer
from av.video import VideoStream
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from posescore.errors import FootageError, StorageError
from posescore.footage.clock import FrameClock
from posescore.footage.decoding import Damage, Upright, decoded
from posescore.footage.opening import opened
from posescore.footage.timetable import Timetable, timetable_of


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One decoded frame: index and presentation time together, and the upright picture."""

    index: int
    time_s: float
    picture: NDArray[np.uint8]
    """``(height, width, 3)`` uint8, RGB."""


@dataclass(frozen=True, slots=True)
class FootageInfo:
    """What a video file says of itself, read from its head and first frame.

    ``width_px`` and ``height_px`` are those of the upright picture; ``rotation_deg`` is how far
    (anticlockwise) the stored frames are turned to be shown. ``starts_at_s`` is the stamp that the
    first frame carries in the file; frame times count from there. ``duration_s`` is what the
    container states, None where it does not; :meth:`Footage.clock` has the exact end. ``suffix``
    is the file's, lower case with its dot: FFmpeg has one name for MP4 and MOV, browsers do not.
    """

    width_px: int
    height_px: int
    rotation_deg: int
    codec: str
    pixel_format: str
    container: str
    suffix: str
    duration_s: float | None
    mean_frames_per_s: float | None
    starts_at_s: float
    has_audio: bool


class Footage:
    """A video file, read in order and in constant memory.

    Nothing stays open between calls, so one object may serve several readers at once.

    Parameters
    ----------
    path
        The video file.

    Raises
    ------
    FootageError
        When the file cannot be used; the sentence says why and what to do.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._damage = Damage()
        self._sha256: str | None = None
        self._opened_as = _identity(path)
        with opened(path) as (container, stream):
            first = next(decoded(container, stream, self._damage), None)
            if first is None:
                raise FootageError(
                    f"{path} holds no frame that can be decoded: copy it again from the camera."
                )
            self._upright = Upright.of(first, stream)
            self.info = _info(container, stream, self._upright, first.pts)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        return None

    @cached_property
    def _timetable(self) -> Timetable:
        return timetable_of(self.path)

    def clock(self) -> FrameClock:
        """The presentation time of every frame; found once."""
        return self._timetable.clock

    @property
    def size_px(self) -> tuple[int, int]:
        """``(width, height)`` of the upright picture."""
        return self._upright.size_px

    @property
    def sha256(self) -> str:
        """SHA-256 of the file's bytes, read in pieces; computed once."""
        if self._sha256 is None:
            self._sha256 = _sha256_of(self.path)
        return self._sha256

    def damage(self) -> str | None:
        """One sentence on what of the file cannot be used, or None for a sound file."""
        return self._timetable.damage

    def frames(self, start: int = 0, step: int = 1) -> Iterator[Frame]:
        """Every ``step``-th frame from ``start`` on, decoded in order.

        Frames behind damage keep the index and the time they have in :meth:`clock`; frames lost to
        damage are left out. Read to the end, what came is compared with what the file holds, so
        that a disk or share that failed on the way is never taken for the end of the footage.

        Parameters
        ----------
        start, step
            Frame indices ``start, start + step, ...`` are given; the others are decoded but not
            converted to pictures.

        Raises
        ------
        StorageError
            At the end, when the file changed or could not be read whole this time.
        """
        if start < 0 or step < 1:
            raise ValueError("frames are counted from 0 upwards")
        table, damage, came = self._timetable, Damage(), 0
        with opened(self.path) as (container, stream):
            if table.from_packets and 0 < start < len(table.ticks):
                container.seek(int(table.ticks[start]), stream=stream)
            for index, frame in self._shown(decoded(container, stream, damage)):
                came += index >= start
                if index >= start and (index - start) % step == 0:
                    yield Frame(index, table.clock.time_s(index), self._upright.picture(frame))
        self._check_whole(start, came, damage)

    def _shown(self, frames: Iterator[VideoFrame]) -> Iterator[tuple[int, VideoFrame]]:
        """Decoded frames with their index in the timetable; others are left out."""
        table = self._timetable
        for count, frame in enumerate(frames):
            index = table.index_of(frame.pts) if table.from_packets else count
            if index is not None and index < len(table.ticks):
                yield index, frame

    def _check_whole(self, start: int, came: int, damage: Damage) -> None:
        """Tell footage that is damaged for good from a reading that failed this time."""
        if _identity(self.path) != self._opened_as:
            raise self._not_whole()
        missing = max(0, len(self._timetable.ticks) - start) - came
        complete = missing <= 0 and not damage.found
        if (not complete or self.damage()) and not self._has_its_bytes():
            raise self._not_whole()
        if complete:
            return
        again = Damage()
        with opened(self.path) as (container, stream):
            all_of_it = sum(1 for _ in self._shown(decoded(container, stream, again)))
        lasting = len(self._timetable.ticks) - all_of_it
        if missing > lasting or (damage.found and not again.found):
            raise self._not_whole()

    def _has_its_bytes(self) -> bool:
        """Whether every byte can be read and is what it was: then the damage is the file's own."""
        try:
            return self.sha256 == _sha256_of(self.path)
        except OSError:
            return False

    def _not_whole(self) -> StorageError:
        return StorageError(
            f"{self.path} could not be read to its end: see that the file is whole and its disk or "
            "share is connected, then run this again; it goes on from what was found."
        )

    def frame(self, frame_index: int) -> Frame:
        """The frame of an index.

        Raises
        ------
        FootageError
            When the footage has no such frame, or it is damaged.
        """
        if 0 <= frame_index < len(self.clock()):
            found = next(self.frames(frame_index, len(self.clock())), None)
            if found is not None and found.index == frame_index:
                return found
        raise FootageError(
            f"{self.path} has no frame {frame_index}: choose one from 0 to {len(self.clock()) - 1}."
        )

    def frame_at(self, time_s: float) -> Frame:
        """The frame shown at an instant."""
        return self.frame(self.clock().frame_index(time_s))


def _identity(path: Path) -> tuple[int, int] | None:
    """Size and time of change of a file; None where it is gone."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_size, status.st_mtime_ns


def _sha256_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def open_footage(path: str | Path) -> Footage:
    """Open a video file; may be used in a ``with`` statement.

    Raises
    ------
    FootageError
        When the file cannot be used.
    """
    return Footage(Path(path))


def _info(
    container: InputContainer, stream: VideoStream, upright: Upright, first_pts: int | None
) -> FootageInfo:
    rate = stream.average_rate
    time_base = stream.time_base or Fraction(1, 1000)
    width_px, height_px = upright.size_px
    return FootageInfo(
        width_px=width_px,
        height_px=height_px,
        rotation_deg=upright.rotation_deg,
        codec=stream.codec_context.name,
        pixel_format=stream.codec_context.pix_fmt or "",
        container=container.format.name,
        suffix=Path(container.name).suffix.lower(),
        duration_s=container.duration / av.time_base if container.duration else None,
        mean_frames_per_s=float(rate) if rate else None,
        starts_at_s=float((first_pts or 0) * time_base),
        has_audio=bool(container.streams.audio),
    )
