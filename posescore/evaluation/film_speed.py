"""The whole program on films as cameras make them, beside bare decoding in the same run.

``posescore benchmark phone full-hd``. The films are made here, of the rendered sample match.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from posescore.evaluation.measuring import Figure, analyse_command, run_of
from posescore.footage.encoding import write_film
from posescore.footage.reading import Footage
from posescore.pose.estimators.estimator import Picture
from posescore.resources import shipped


@dataclass(frozen=True, slots=True)
class Camera:
    """What a film is like that some camera makes."""

    name: str
    size_px: tuple[int, int]
    frames_per_s: int
    encoder: str
    quality: int
    limit: float


PHONE: Final = Camera("4K at 60 frames in HEVC", (3840, 2160), 60, "libx265", 21, 1.2)
CAMERA: Final = Camera("1080p at 30 frames in H.264", (1920, 1080), 30, "libx264", 21, 0.6)
FILM_S: Final = 15.0
GRAIN: Final = 3.0
"""Standard deviation of the noise laid over the sample match, of 255: rendered pictures alone are
so clean that decoding them costs a third of what a camera's cost."""


def phone_film() -> Iterator[Figure]:
    """``posescore analyze`` on what a phone films at its best, copy for the browser and all."""
    yield from _whole_program(PHONE, "mp4")


def camera_film() -> Iterator[Figure]:
    """The same on full HD: as a browser plays it, and in a container that it does not play."""
    yield from _whole_program(CAMERA, "mp4")
    yield from _whole_program(CAMERA, "mov")


def _whole_program(camera: Camera, suffix: str) -> Iterator[Figure]:
    """Analyse a film from nothing, and decode it bare before and after, for the machine's mood."""
    with tempfile.TemporaryDirectory() as folder:
        video = Path(folder) / f"film.{suffix}"
        write_grainy(video, camera, FILM_S)
        bare = [_bare(video)]
        taken = run_of(analyse_command(video, Path(folder) / "library"))
        bare.append(_bare(video))
    bare_s, bare_processor_s = (float(np.mean(times)) for times in zip(*bare, strict=True))
    name = f"{camera.name}, .{suffix}"
    yield Figure(f"{name}, bare decoding over its length", bare_s / FILM_S, "x")
    yield Figure(f"{name}, whole program over its length", taken.wall_s / FILM_S, "x", camera.limit)
    yield Figure(f"{name}, whole program over bare decoding", taken.wall_s / bare_s, "x")
    processor = taken.processor_s / bare_processor_s
    yield Figure(f"{name}, whole program over bare decoding, processor time", processor, "x")
    yield Figure(f"{name}, processor time over its length", taken.processor_s / FILM_S, "x")
    yield Figure(f"{name}, peak memory", taken.peak_mb, "MB")


def write_grainy(video: Path, camera: Camera, duration_s: float) -> None:
    """The first seconds of the sample match as a camera would give them: larger, and with noise."""
    noise = np.random.default_rng(0).normal(0, GRAIN, (8, 720, 1280, 3)).round().astype(np.int16)
    count = round(duration_s * camera.frames_per_s)

    def pictures() -> Iterator[tuple[float, Picture]]:
        done = 0
        for frame in Footage(shipped("sample_video", "match.mp4")).frames():
            while done < count and done / camera.frames_per_s < frame.time_s + 1 / 30 - 1e-6:
                grainy = np.clip(frame.picture + noise[done % len(noise)], 0, 255)
                yield done / camera.frames_per_s, grainy.astype(np.uint8)
                done += 1
            if done >= count:
                return

    write_film(
        video, pictures(), duration_s, camera.size_px, quality=camera.quality,
        key_every=camera.frames_per_s, preset="ultrafast", encoder=camera.encoder,
    )  # fmt: skip


def _bare(video: Path) -> tuple[float, float]:
    """Seconds and processor seconds of decoding every frame, with nothing done to it."""
    footage = Footage(video)
    footage.clock()
    started, began = time.perf_counter(), time.process_time()
    for _ in footage.decoded():
        pass
    return time.perf_counter() - started, time.process_time() - began
