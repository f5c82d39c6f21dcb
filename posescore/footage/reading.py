"""A video file: what it is, when its frames are shown, and the frames themselves in order."""

from __future__ import annotations

import copy
import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from posescore.errors import FootageError, StorageError
from posescore.footage.clock import FrameClock
from posescore.footage.decoding import Damage, Decoded, Upright, decoded
from posescore.footage.opening import opened
from posescore.footage.timetable import Timetable, timetable_of


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One decoded frame: index and presentation time together, and the upright picture."""

    index: int
    time_s: float
    picture: NDArray[np.uint8]
    """``(height, width, 3)`` uint8, RGB; smaller than the footage where a limit was given."""


@dataclass(frozen=True, slots=True)
class FootageInfo:
    """What a video file says of itself, read from its head and first frame.

    Parameters
    ----------
    codec, pixel_format
        FFmpeg's names.
    suffix
        The file's, lower case with its dot: FFmpeg has one name for MP4 and MOV, browsers do not.
    starts_at_s
        The stamp that the first frame carries in the file; frame times count from there.
    matrix
        How colours are coded, by ISO/IEC 23091-2: 0 is RGB, 2 unknown.
    """

    codec: str
    pixel_format: str
    suffix: str
    starts_at_s: float
    matrix: int


class Footage:
    """A video file, read in order and in constant memory.

    Nothing stays open between calls, so one object may serve several readers at once.

    Raises
    ------
    FootageError
        When the file cannot be used; the sentence says why and what to do.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self._opened_as = _identity(self.path)
        self._by_way_of: Callable[[Iterator[Decoded]], Iterator[Decoded]] | None = None
        with opened(self.path) as (container, stream):
            first = next(decoded(container, stream, Damage()), None)
            if first is None:
                raise FootageError(
                    f"{path} holds no frame that can be decoded: copy it again from the camera."
                )
            self.upright = Upright.of(first, stream, str(path))
            coded = stream.codec_context
            self.info = FootageInfo(
                codec=coded.name,
                pixel_format=coded.pix_fmt or "",
                suffix=self.path.suffix.lower(),
                starts_at_s=float((first.pts or 0) * (stream.time_base or 0)),
                matrix=coded.colorspace,
            )

    @cached_property
    def _timetable(self) -> Timetable:
        return timetable_of(self.path)

    def clock(self) -> FrameClock:
        """The presentation time of every frame; found once."""
        return self._timetable.clock

    @property
    def size_px(self) -> tuple[int, int]:
        """``(width, height)`` of the upright picture."""
        return self.upright.size_px

    @cached_property
    def sha256(self) -> str:
        """SHA-256 of the file's bytes, read in pieces; computed once."""
        return _sha256_of(self.path)

    def damage(self) -> str | None:
        """One sentence on what of the file cannot be used, or None for a sound file."""
        return self._timetable.damage

    def by_way_of(self, way: Callable[[Iterator[Decoded]], Iterator[Decoded]]) -> Footage:
        """The same footage, whose frames, read from the first on, pass through ``way``.

        So one decoding serves several: ``way`` does something with every frame and hands it on.
        """
        other = copy.copy(self)
        other._by_way_of = way
        return other

    def decoded(self, start: int = 0) -> Iterator[Decoded]:
        """Every frame from ``start`` on, in order, not made a picture yet.

        Frames behind damage keep the index and the time they have in :meth:`clock`; frames lost to
        damage are left out. Read to the end, what came is compared with what the file holds, so
        that a disk or share that failed on the way is never taken for the end of the footage.

        Raises
        ------
        StorageError
            At the end, when the file changed or could not be read whole this time.
        """
        if self._by_way_of is None or start:
            return self._read(start)
        return self._by_way_of(self._read(start))

    def _read(self, start: int) -> Iterator[Decoded]:
        table, damage, came = self._timetable, Damage(), 0
        with opened(self.path) as (container, stream):
            if table.from_packets and 0 < start < len(table.ticks):
                container.seek(int(table.ticks[start]), stream=stream)
            for frame in self._shown(decoded(container, stream, damage)):
                if frame.index >= start:
                    came += 1
                    yield frame
        self._check_whole(start, came, damage)

    def frames(
        self, start: int = 0, step: int = 1, longest_px: int | None = None
    ) -> Iterator[Frame]:
        """Every ``step``-th frame from ``start`` on, decoded in order.

        Parameters
        ----------
        start, step
            Frame indices ``start, start + step, ...`` are given; the others are decoded but not
            converted to pictures.
        longest_px
            Pictures whose longer side would be more are scaled down to it while they are
            converted.

        Raises
        ------
        StorageError
            As in :meth:`decoded`.
        """
        if start < 0 or step < 1:
            raise ValueError("frames are counted from 0 upwards")
        upright, clock = self.upright.within(longest_px), self.clock()
        for frame in self.decoded(start):
            if (frame.index - start) % step == 0:
                yield Frame(frame.index, clock.time_s(frame.index), upright.picture(frame.raw))

    def _shown(self, frames: Iterator[VideoFrame]) -> Iterator[Decoded]:
        """Decoded frames with their index in the timetable; others are left out."""
        table = self._timetable
        for count, frame in enumerate(frames):
            index = table.index_of(frame.pts) if table.from_packets else count
            if index is not None and index < len(table.ticks):
                yield Decoded(index, frame)

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
