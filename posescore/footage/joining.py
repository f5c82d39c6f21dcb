"""A video once more: cut off or repeated to a length, without coding it again."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
from av.container import OutputContainer
from av.error import FFmpegError
from av.video import VideoStream

from posescore.errors import FootageError
from posescore.footage.atomic import replacing
from posescore.footage.decoding import Damage, packets
from posescore.footage.opening import opened
from posescore.footage.reading import Footage


def repeated(source: Path, out: Path, duration_s: float) -> None:
    """Write the pictures of ``source``, over and over, until ``duration_s`` seconds are full.

    The coded pictures are copied as they are, so this takes no longer than copying a file. The
    end is cut at the first picture that is stored behind it: exact for video without B-frames, a
    few frames early or late otherwise.

    Raises
    ------
    FootageError
        When the source cannot be read.
    StorageError
        When the result cannot be written.
    """
    length_s = Footage(source).clock().end_s
    with replacing(out) as unfinished:
        try:
            with av.open(str(unfinished), "w") as container:
                _copy(source, container, length_s, duration_s)
        except FFmpegError as error:
            raise OSError(error.errno, error.strerror) from error


def _copy(source: Path, container: OutputContainer, length_s: float, duration_s: float) -> None:
    copy: VideoStream | None = None
    starts_s = 0.0
    while starts_s < duration_s:
        with opened(source) as (given, stream):
            if stream.time_base is None:
                raise FootageError(f"{source} has no time base: convert it to MP4 first.")
            if copy is None:
                copy = container.add_stream_from_template(stream)
            if not _copy_once(given, stream, container, copy, (starts_s, duration_s)):
                return
        starts_s += length_s


def _copy_once(
    given: av.container.InputContainer,
    stream: VideoStream,
    container: OutputContainer,
    copy: VideoStream,
    span_s: tuple[float, float],
) -> bool:
    """Copy one round; False once the end is reached."""
    time_base = stream.time_base or Fraction(1, 1000)
    shift = round(span_s[0] / float(time_base))
    for packet in packets(given, stream, Damage()):
        if packet.pts is None or packet.dts is None:
            continue
        if packet.dts * float(time_base) + span_s[0] >= span_s[1]:
            return False
        packet.pts += shift
        packet.dts += shift
        packet.stream = copy
        container.mux(packet)
    return True
