"""What the pose pass read in films, beside the truth: the pass's own recorded errors."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.errors import MissingPartError
from posescore.pose.track import PairTrack
from posescore.pose.track_file import read_track

FRAMES_PER_S: Final = 30.0
"""Recordings of any frame rate are compared at this one, that of walked matches."""
Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Recorded:
    """One film as it was and as it was read, :data:`FRAMES_PER_S` frames a second.

    Parameters
    ----------
    true_px, read_px
        ``(n, 2, 21, 2)`` float32; ``read_px`` is NaN where nothing was read.
    confidence
        ``(n, 2, 21)`` float32; NaN where nothing was read.
    visible
        ``(n, 2, 21)`` bool: neither behind flesh nor beyond the picture's edge.
    """

    true_px: Floats
    read_px: Floats
    confidence: Floats
    visible: NDArray[np.bool_]

    @property
    def size_px(self) -> Floats:
        """``(n,)``: the longer side of the box around both athletes' true keypoints."""
        points = self.true_px.reshape(len(self.true_px), -1, 2)
        longer = (points.max(1) - points.min(1)).max(1)
        return np.asarray(np.maximum(longer, 1.0), np.float32)

    @property
    def end_s(self) -> float:
        """Seconds."""
        return len(self.true_px) / FRAMES_PER_S


def save(
    path: Path, true_px: Floats, flags: NDArray[np.float64], time_s: NDArray[np.float64]
) -> None:
    """Keep the truth that a film's track is compared with, small.

    ``true_px (n, 2, 21, 2)`` is kept to a sixteenth of a pixel; ``flags (n, 2, 21)`` are COCO's
    visibility.
    """
    steps = np.clip(np.round(true_px * 16), -32000, 32000).astype(np.int16)
    np.savez_compressed(path, true_q=steps, visible=flags.astype(np.uint8), time_s=time_s)


def load(folder: Path, track_name: str = "track.parquet") -> Recorded:
    """Read a film's truth (``true.npz``) and the track that the pass made of it.

    Raises
    ------
    MissingPartError
        When one of the files is absent.
    """
    truth, track = folder / "true.npz", folder / track_name
    if not (truth.is_file() and track.is_file()):
        raise MissingPartError(f"{folder} holds no true.npz and {track_name}: film it again.")
    with np.load(truth) as data:
        true_px = data["true_q"].astype(np.float32) / 16
        return at_common_rate(true_px, data["visible"] == 2, data["time_s"], read_track(track))


def at_common_rate(
    true_px: Floats, visible: NDArray[np.bool_], time_s: NDArray[np.float64], track: PairTrack
) -> Recorded:
    """Truth and track brought to :data:`FRAMES_PER_S`: pixels in between, flags of the nearest."""
    n = min(len(track), len(true_px))
    at = np.arange(0, time_s[n - 1], 1 / FRAMES_PER_S)
    place = np.interp(at, time_s[:n], np.arange(n))
    below = np.minimum(place.astype(int), n - 2)
    share = (place - below).astype(np.float32)
    near = np.rint(place).astype(int)

    def between(values: Floats) -> Floats:
        part = share.reshape(-1, *[1] * (values.ndim - 1))
        return np.asarray((1 - part) * values[below] + part * values[below + 1], np.float32)

    return Recorded(
        between(true_px),
        between(track.keypoints_px),
        between(track.keypoint_confidence),
        visible[near],
    )


def load_all(folders: Iterable[Path]) -> list[Recorded]:
    """Every recorded film of some folders."""
    return [load(folder) for folder in sorted(folders) if (folder / "true.npz").is_file()]
