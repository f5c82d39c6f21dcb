"""Small clips whose frames carry their own number as a bar code in the pixels."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

N_BITS = 12
CELL_PX = 16
WIDTH_PX, HEIGHT_PX = N_BITS * CELL_PX, 64


def coded_picture(number: int) -> NDArray[np.uint8]:
    """``(64, 192, 3)``: the upper half is the number in black and white cells, high bit first."""
    picture = np.full((HEIGHT_PX, WIDTH_PX, 3), 90, np.uint8)
    for bit in range(N_BITS):
        value = 255 if number >> (N_BITS - 1 - bit) & 1 else 0
        picture[: HEIGHT_PX // 2, bit * CELL_PX : (bit + 1) * CELL_PX] = value
    return picture


def read_number(picture: NDArray[np.uint8]) -> int:
    """The number drawn into a picture of any size."""
    height, width = picture.shape[:2]
    cells = (np.arange(N_BITS) + 0.5) * width / N_BITS
    bits = picture[height // 4, cells.astype(int)].mean(axis=-1) > 127
    return int("".join("1" if bit else "0" for bit in bits), 2)


def write_clip(
    path: Path,
    ticks: Sequence[int],
    time_base: Fraction,
    codec: str = "libx264",
    rotation_deg: int = 0,
    options: dict[str, str] | None = None,
    key_every: int = 30,
    movflags: str = "",
    title: str = "",
) -> Path:
    """Encode one coded picture per tick; the stamps in the file are exactly these ticks."""
    muxer = {"movflags": movflags} if movflags else {}
    with av.open(str(path), "w", options=muxer) as container:
        if title:
            container.metadata["title"] = title
        rate = Fraction(len(ticks) - 1, max(1, ticks[-1] - ticks[0])) / time_base or Fraction(25)
        stream = container.add_stream(codec, rate=rate.limit_denominator(1001))
        stream.width, stream.height = WIDTH_PX, HEIGHT_PX
        stream.pix_fmt = {"mjpeg": "yuvj420p", "png": "rgb24"}.get(codec, "yuv420p")
        stream.options = {"g": str(key_every), **(options or {})}
        stream.codec_context.time_base = time_base
        stream.time_base = time_base
        if rotation_deg:
            stream.set_display_rotation(rotation_deg)
        for number, tick in enumerate(ticks):
            frame = av.VideoFrame.from_ndarray(coded_picture(number), format="rgb24")
            frame.pts, frame.time_base = tick, time_base
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def write_sound(path: Path) -> Path:
    """One second of silence in a container that could hold a picture."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=48000)
        for start in range(0, 48000, 1024):
            sound = av.AudioFrame.from_ndarray(
                np.zeros((1, 1024), np.float32), format="fltp", layout="mono"
            )
            sound.sample_rate, sound.pts = 48000, start
            container.mux(stream.encode(sound))
        container.mux(stream.encode(None))
    return path
