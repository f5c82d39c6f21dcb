"""Footage: damaged containers, cut files, and faults while it is read."""

from __future__ import annotations

import os
import random
import time
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path

import av
import numpy as np

from posescore.analysis.pipeline import pose_pass
from posescore.errors import StorageError
from posescore.footage.encoding import write_film
from posescore.footage.reading import Footage
from posescore.pose.estimators.estimator import Box, PairEstimate, Picture
from posescore.terms import Step
from tests.faults.files import damaged
from tests.faults.running import FaultError, sentence_or_result
from tests.footage.clips import HEIGHT_PX, WIDTH_PX, coded_picture
from tests.pose.scenes import STANDING

CONTAINERS = (
    ("mp4", "libx264"), ("mov", "libx264"), ("m4v", "mpeg4"), ("3gp", "mpeg4"), ("mkv", "libx264"),
    ("webm", "libvpx-vp9"), ("avi", "mpeg4"), ("ts", "libx264"), ("m2ts", "mpeg2video"),
    ("mpg", "mpeg2video"), ("wmv", "msmpeg4"), ("flv", "libx264"), ("gif", "gif"),
)  # fmt: skip
N_FRAMES = 24


@cache
def whole(suffix: str, codec: str, folder: str) -> bytes:
    """A sound file of that kind."""
    path = Path(folder) / f"whole.{suffix}"
    muxer = {"m2ts": "mpegts", "m4v": "mp4"}.get(suffix)
    with av.open(str(path), "w", format=muxer) as container:
        stream = container.add_stream(codec, rate=25)
        stream.width, stream.height = WIDTH_PX, HEIGHT_PX
        if suffix == "3gp":
            stream.width, stream.height = 176, 144
        stream.pix_fmt = "rgb8" if codec == "gif" else "yuv420p"
        stream.time_base = stream.codec_context.time_base = Fraction(1, 25)
        for number in range(N_FRAMES):
            frame = av.VideoFrame.from_ndarray(coded_picture(number), format="rgb24")
            frame = frame.reformat(stream.width, stream.height, stream.pix_fmt)
            frame.pts, frame.time_base = number, Fraction(1, 25)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path.read_bytes()


def read_all(path: Path) -> int:
    """Everything that is asked of footage; how many frames came."""
    footage = Footage(path)
    clock = footage.clock()
    footage.damage()
    count = 0
    for frame in footage.frames(longest_px=96):
        assert frame.index < len(clock)
        assert max(frame.picture.shape[:2]) <= 96
        count += 1
        if count > 500:
            break
    return count


def containers(rng: random.Random, place: Path) -> str:
    """A file of one of thirteen containers after accidents."""
    suffix, codec = rng.choice(CONTAINERS)
    path = place / f"match.{suffix}"
    path.write_bytes(damaged(rng, whole(suffix, codec, str(place))))
    return sentence_or_result(lambda: read_all(path))


def cuts(rng: random.Random, place: Path) -> str:
    """A file cut anywhere: no frame of it may be another than it was."""
    suffix, codec = rng.choice(CONTAINERS)
    data = whole(suffix, codec, str(place))
    path = place / f"match.{suffix}"
    path.write_bytes(data[: rng.randrange(len(data))])
    return sentence_or_result(lambda: read_all(path))


class Steady:
    """Sees the same pair in every picture, quickly."""

    step = Step("faults.steady")

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        """Two people, wherever one looks."""
        points = np.stack([np.add(STANDING, (60, 90)), np.add(STANDING, (160, 90))])
        return PairEstimate(points.astype(np.float32), np.full((2, 21), 0.9, np.float32))

    def close(self) -> None:
        """Nothing is open."""


@cache
def film(folder: str) -> bytes:
    """Four seconds of two people who stand."""
    path = Path(folder) / "film.mp4"
    shade = np.random.default_rng(0).integers(0, 255, (120, 220, 3)).astype(np.uint8)
    write_film(path, [(i / 25, np.roll(shade, i, 1)) for i in range(100)], 4.0, (220, 120))
    return path.read_bytes()


def faults_while_read(rng: random.Random, place: Path) -> str:
    """Cut, zeroed, slow, exchanged or gone while it is read: nothing is kept as whole that is not.

    Afterwards the footage is whole again, and the next run must give what a run without any fault
    gives.
    """
    data, path, poses = film(str(place)), place / "match.mp4", place / "poses"
    path.write_bytes(data)
    (place / "film.mp4").unlink(missing_ok=True)
    true = pose_pass(Footage(path), Steady())
    end = "read whole"
    try:
        pose_pass(_Failing(path, data, rng), Steady(), poses=poses)
    except StorageError:
        end = "broke off in a sentence"
        if list(poses.glob("*.parquet")):
            raise FaultError("what broke off was kept as whole") from None
    path.write_bytes(data)
    again = pose_pass(Footage(path), Steady(), poses=poses)
    if not np.array_equal(again.keypoints_px, true.keypoints_px, equal_nan=True):
        raise FaultError(f"after a run that {end} the footage reads otherwise")
    return end


class _Failing(Footage):
    """Footage that something happens to after some frames."""

    def __init__(self, path: Path, data: bytes, rng: random.Random) -> None:
        super().__init__(path)
        self._data, self._rng = data, rng
        self._at, self._back = rng.randrange(0, 95), rng.random() < 0.3

    def decoded(self, start: int = 0) -> Iterator[object]:  # type: ignore[override]
        """Frames, and the accident on the way."""
        for count, frame in enumerate(super().decoded(start)):
            if count == self._at:
                self._happens()
            if self._back and count == self._at + 3:
                self.path.write_bytes(self._data)
            yield frame

    def _happens(self) -> None:
        size = len(self._data)
        match self._rng.randrange(6):
            case 0:
                os.truncate(self.path, self._rng.randrange(size))
            case 1:
                with self.path.open("r+b") as file:
                    file.seek(self._rng.randrange(size))
                    file.write(bytes(self._rng.randrange(1, size)))
            case 2:
                self.path.unlink()
            case 3:
                self.path.write_bytes(damaged(self._rng, self._data))
            case 4:
                self.path.rename(self.path.with_name("away.mp4"))
            case _:
                time.sleep(0.2)
