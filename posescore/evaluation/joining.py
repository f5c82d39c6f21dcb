"""A video once more: cut off or repeated to a length, without coding it again."""

from __future__ import annotations

import itertools
from fractions import Fraction
from pathlib import Path

import av
from av.container import OutputContainer
from av.error import FFmpegError
from av.video import VideoStream

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
    for round_number in itertools.count():
        starts_s = round_number * length_s
        with opened(source) as (given, stream):
            tick_s = float(stream.time_base or Fraction(1, 1000))
            copy = copy or container.add_stream_from_template(stream)
            for packet in packets(given, stream, Damage()):
                if packet.pts is None or packet.dts is None:
                    continue
                if packet.dts * tick_s + starts_s >= duration_s:
                    return
                packet.pts += round(starts_s / tick_s)
                packet.dts += round(starts_s / tick_s)
                packet.stream = copy
                container.mux(packet)
