"""An invented match, filmed at a variable rate; every frame carries its number in the pixels."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from posescore.footage.clock import FrameClock
from posescore.footage.encoding import write_film
from posescore.library.library import Library
from posescore.library.match import Footage, Match
from posescore.pose.track import PairTrack
from posescore.pose.track_file import write_track
from posescore.terms import Provenance
from tests.footage.clips import HEIGHT_PX, WIDTH_PX, coded_picture
from tests.library.samples import INFO, analysis

SIZE_PX = (2 * WIDTH_PX, 2 * HEIGHT_PX)
N_FRAMES = 300

_BODY = np.array(
    [(0, -22), (1, -23), (-1, -23), (2, -22), (-2, -22), (5, -16), (-5, -16), (7, -9), (-7, -9),
     (8, -2), (-8, -2), (4, 0), (-4, 0), (4, 10), (-4, 10), (4, 20), (-4, 20), (3, 22), (-3, 22),
     (7, 22), (-7, 22)], float)  # fmt: skip


def variable_clock() -> FrameClock:
    """About 5 frames a second for 60 seconds, no two steps alike, in whole ticks of 1/90000 s."""
    steps = np.random.default_rng(3).integers(12_000, 24_000, N_FRAMES)
    ticks = np.concatenate([[0], np.cumsum(steps * 60 * 90_000 // steps.sum())])
    return FrameClock(ticks[:-1] / 90_000, float(ticks[-1]) / 90_000)


def picture(number: int) -> NDArray[np.uint8]:
    """The number above, fine stripes below."""
    made = np.ascontiguousarray(coded_picture(number).repeat(2, axis=0).repeat(2, axis=1))
    made[HEIGHT_PX:, ::4] = 130
    return made


def pair_track(clock: FrameClock) -> PairTrack:
    """A sways on the left, B on the right, both in the lower half."""
    keypoints_px = np.empty((len(clock), 2, 21, 2), np.float32)
    for slot, x in enumerate((110.0, 270.0)):
        sway = x + 20 * np.sin(clock.pts_s / (2 + slot))
        keypoints_px[:, slot] = _BODY + np.stack([sway, np.full(len(clock), 100.0)], 1)[:, None]
    confidence = np.full(keypoints_px.shape[:3], 0.9, np.float32)
    return PairTrack(
        keypoints_px, confidence, np.arange(len(clock)), clock.pts_s, clock.end_s, SIZE_PX,
        Provenance("test"),
    )  # fmt: skip


def film(folder: Path) -> Path:
    """The footage of the match."""
    clock, path = variable_clock(), folder / "second round.mp4"
    pictures = ((float(at_s), picture(number)) for number, at_s in enumerate(clock.pts_s))
    write_film(path, pictures, clock.end_s, SIZE_PX)
    return path


def filmed_match(library: Library, footage: Path) -> Match:
    """The match of the samples, with that footage, keypoints and holds."""
    clock = variable_clock()
    known = Footage(str(footage), "cd" * 32, footage.stat().st_size, clock.end_s)
    match = library.add_match(replace(INFO, footage=known))
    track = footage.with_suffix(".parquet")
    if not track.exists():
        write_track(pair_track(clock), track)
    made = replace(analysis(track=track), clock=clock)
    library.save_analysis(match.id, made)
    return library.match(match.id)
