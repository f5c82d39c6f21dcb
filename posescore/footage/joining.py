"""Making longer footage out of shorter: the same video again and again, without encoding it anew."""

from __future__ import annotations

from pathlib import Path

import av

from posescore.footage.opening import opened


def repeated(source: Path, out: Path, duration_s: float) -> None:
    """Write a video that shows ``source`` from its start, again and again, for a time.

    Packets are copied, so the pictures are bit-identical; the last showing is cut at a frame that
    others may depend on only if they come later.

    Parameters
    ----------
    duration_s
        At least this long, to the next whole frame.
    """
    with av.open(str(out), "w") as target:
        shift, copy = 0, None
        while True:
            with opened(source) as (container, stream):
                if copy is None:
                    copy = target.add_stream_from_template(stream)
                if stream.time_base is None:
                    raise ValueError(f"{source} has no time base")
                limit = int(duration_s / stream.time_base)
                end = shift
                for packet in container.demux(stream):
                    if packet.dts is None or packet.pts is None:
                        continue
                    packet.pts += shift
                    packet.dts += shift
                    if packet.dts >= limit:
                        return
                    end = max(end, packet.pts + (packet.duration or 1))
                    packet.stream = copy
                    target.mux(packet)
            shift = end
