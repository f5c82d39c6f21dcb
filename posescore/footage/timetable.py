"""The ticks of all frames of a file: from its packets where they can be trusted, else by decoding.

Reading packets takes a hundredth of the time of decoding. They are trusted when the container
stamps every frame (MP4, MOV, Matroska, WebM), when no stamp is missing or given twice, when
nothing is damaged, and when decoding the first and the last group of frames gives the very
stamps that the packets promised. Everything else is decoded once from end to end.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Final

import numpy as np
from av.container import InputContainer
from av.video import VideoStream
from numpy.typing import NDArray

from posescore.errors import FootageError
from posescore.footage.clock import FrameClock
from posescore.footage.decoding import Damage, decoded, packets
from posescore.footage.opening import opened
from posescore.footage.times import clock_of_ticks, rising

_STAMPING_FORMATS: Final = frozenset({"mov", "matroska"})
_ONE_PACKET_A_FRAME: Final = frozenset(
    {"h264", "hevc", "vp9", "av1", "libdav1d", "mjpeg", "mpeg4", "prores", "ffv1"}
)
"""Codecs whose packets hold exactly one shown frame each; VP8, say, has packets that show none."""
CROWDED: Final = 1.5
"""Frames a second, as a multiple of what the file states, from which its times do not add up."""
_SHORT_S: Final = 1.0
"""A file that ends so much before the end it states was cut off."""
_MATROSKA_DURATION: Final = re.compile(r"(\d+):(\d+):([\d.]+)$")


@dataclass(frozen=True, slots=True, eq=False)
class Timetable:
    """Ticks of all frames, and the clock made of them.

    Parameters
    ----------
    ticks
        ``(n_frames,)`` int64, strictly rising, in the stream's time base.
    clock
        The same in seconds from the first frame.
    from_packets
        True when every decoded frame carries its own tick and seeking by tick is exact.
    damage
        A sentence on what was lost, or None.
    """

    ticks: NDArray[np.int64]
    clock: FrameClock
    from_packets: bool
    damage: str | None

    def index_of(self, tick: int | None) -> int | None:
        """Index of the frame with this very tick, or None."""
        if tick is None:
            return None
        found = int(np.searchsorted(self.ticks, tick))
        return found if found < len(self.ticks) and self.ticks[found] == tick else None


def timetable_of(path: Path) -> Timetable:
    """The timetable of a video file.

    Raises
    ------
    FootageError
        When not one frame can be decoded.
    """
    with opened(path) as (container, stream):
        table = _from_packets(container, stream)
    if table is not None and _confirmed(path, table):
        return table
    with opened(path) as (container, stream):
        return _from_frames(path, container, stream)


def _from_packets(container: InputContainer, stream: VideoStream) -> Timetable | None:
    trusted = _STAMPING_FORMATS & set(container.format.name.split(","))
    if not trusted or stream.codec_context.name not in _ONE_PACKET_A_FRAME:
        return None
    damage = Damage()
    stamps: list[int] = []
    first_key: int | None = None
    last_shown = (-(2**62), 0)
    for packet in packets(container, stream, damage):
        if packet.pts is None or packet.time_base != stream.time_base:
            return None
        if packet.is_discard:
            continue
        if first_key is None and packet.is_keyframe:
            first_key = packet.pts
        stamps.append(packet.pts)
        last_shown = max(last_shown, (packet.pts, packet.duration or 0))
    ticks = np.unique(np.asarray(stamps, dtype=np.int64))
    doubtful = damage.found or len(ticks) != len(stamps) or first_key != min(stamps, default=None)
    if doubtful or stream.time_base is None or len(ticks) < stream.frames:
        return None
    clock = clock_of_ticks(ticks, stream.time_base, last_shown[1])
    if _stated_s(stream) - clock.end_s > _SHORT_S:
        return None  # cut off between two packets; decoding says what is left
    return Timetable(ticks, clock, True, None)


def _confirmed(path: Path, table: Timetable) -> bool:
    """Decode the last group of frames and compare: the last ticks, all of them, nothing else."""
    with opened(path) as (container, stream):
        container.seek(int(table.ticks[-1]), stream=stream)
        damage = Damage()
        stamps = [frame.pts for frame in decoded(container, stream, damage)]
    if damage.found or not stamps or None in stamps:
        return False
    return len(stamps) <= len(table.ticks) and stamps == table.ticks[-len(stamps) :].tolist()


def _from_frames(path: Path, container: InputContainer, stream: VideoStream) -> Timetable:
    damage = Damage()
    time_base = stream.time_base or Fraction(1, 1000)
    shown: list[int | None] = []
    sent: list[int | None] = []
    last_duration = 0
    for frame in decoded(container, stream, damage):
        shown.append(frame.pts)
        sent.append(frame.dts)
        last_duration = frame.duration or 0
    stamps = min(shown, sent, key=_faults)
    repair = rising(time_base, stream.average_rate)
    ticks = [repair.next(stamp) for stamp in stamps]
    if not ticks:
        raise FootageError(
            f"{path} holds no frame that can be decoded: copy it again from the camera."
        )
    clock = clock_of_ticks(ticks, time_base, last_duration)
    sentence = _damage_sentence(path, clock, damage, stream.frames, _stated_s(stream))
    rate = float(stream.average_rate or 0)
    if sentence is None and repair.repaired and 0 < rate * CROWDED < clock.mean_frames_per_s:
        sentence = (
            f"{path} has {len(clock)} frames in {clock.end_s:.1f} s, "
            f"{clock.mean_frames_per_s:.0f} a second instead of {rate:.0f}: its parts were joined "
            "wrongly, so times are wrong."
        )
    return Timetable(np.asarray(ticks, dtype=np.int64), clock, False, sentence)


def _stated_s(stream: VideoStream) -> float:
    """How long the picture lasts by the file's own head; 0 where it does not say."""
    if stream.duration and stream.time_base:
        return float(stream.duration * stream.time_base)
    stated = _MATROSKA_DURATION.match(stream.metadata.get("DURATION", ""))
    if stated is None:
        return 0.0
    hours, minutes, seconds = stated.groups()
    return int(hours) * 3600 + int(minutes) * 60 + float(seconds)


def _damage_sentence(
    path: Path, clock: FrameClock, damage: Damage, stated_frames: int, stated_s: float
) -> str | None:
    """None for a sound file: frames that a camera dropped are counted in AVI and take no time."""
    short_s = stated_s - clock.end_s
    lost = stated_frames > len(clock) and (not stated_s or short_s > clock.end_s / len(clock))
    if not damage.found and not lost and short_s <= _SHORT_S:
        return None
    of: Iterable[str] = (f" of {stated_frames}",) if stated_frames > len(clock) else ()
    return (
        f"{path} is damaged or half-written: {len(clock)}{''.join(of)} frames up to "
        f"{clock.end_s:.1f} s are used; copy it again from the camera for the rest."
    )


def _faults(stamps: list[int | None]) -> int:
    """How many stamps are missing or do not rise.

    Where a container stores no presentation times (H.264 in AVI), the decoding times of frames in
    the order of presentation are right up to one constant, which a clock leaves out anyway.
    """
    faults, last = 0, None
    for stamp in stamps:
        if stamp is None or (last is not None and stamp <= last):
            faults += 1
        if stamp is not None:
            last = stamp
    return faults
