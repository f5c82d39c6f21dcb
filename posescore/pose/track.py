"""Keypoints of both athletes through a video: the artefact every later room reads."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from posescore.terms import N_KEYPOINTS, Interval, Provenance
from posescore.words import sentence


class FindingKind(StrEnum):
    """What may be wrong with a track, found without knowing the truth."""

    POSSIBLE_SWAP = "possible_swap"
    """A and B may have been exchanged at this place."""
    MERGED = "merged"
    """Both slots may lie on one athlete in this stretch."""
    ATHLETE_MISSING = "athlete_missing"
    """An athlete was not found for longer than a gap that is bridged."""
    CUT = "cut"
    """The camera cut to another view."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a person may want to look at: where, how sure, and a sentence with numbers."""

    kind: FindingKind
    interval: Interval
    confidence: float
    message: str

    @classmethod
    def named(
        cls, kind: FindingKind, interval: Interval, confidence: float, name: str, **fields: object
    ) -> Finding:
        """A finding by the name of its sentence, which is told the interval and the fields."""
        told = sentence(name, start_s=interval.start_s, end_s=interval.end_s, **fields)
        return cls(kind, interval, confidence, told)


@dataclass(frozen=True, slots=True, eq=False)
class PairTrack:
    """Keypoints of athletes A and B, frame by frame.

    Parameters
    ----------
    keypoints_px
        ``(n_frames, 2, 21, 2)`` float32, pixels of the upright picture, x right, y down.
        Axis 1 is the slot (A, B); axis 2 follows :data:`posescore.terms.KEYPOINTS`.
        A missing keypoint is NaN, never 0.
    keypoint_confidence
        ``(n_frames, 2, 21)`` float32 in [0, 1]; NaN exactly where the keypoint is missing.
    frame_index
        ``(n_frames,)`` int64: the frame of the footage that each row belongs to.
    time_s
        ``(n_frames,)`` float64: presentation time of that frame.
    end_s
        Seconds at which the footage ends.
    picture_size_px
        ``(width, height)`` of the upright picture.
    findings
        Possible swaps, merges, gaps and cuts.
    """

    keypoints_px: NDArray[np.float32]
    keypoint_confidence: NDArray[np.float32]
    frame_index: NDArray[np.int64]
    time_s: NDArray[np.float64]
    end_s: float
    picture_size_px: tuple[int, int]
    provenance: Provenance
    findings: tuple[Finding, ...] = field(default=())

    def __post_init__(self) -> None:
        n_frames = len(self.frame_index)
        if self.keypoints_px.shape != (n_frames, 2, N_KEYPOINTS, 2):
            raise ValueError(f"keypoints must be ({n_frames}, 2, {N_KEYPOINTS}, 2)")
        if self.keypoint_confidence.shape != (n_frames, 2, N_KEYPOINTS):
            raise ValueError(f"confidence must be ({n_frames}, 2, {N_KEYPOINTS})")
        if len(self.time_s) != n_frames:
            raise ValueError("every frame of a track needs its time")

    def __len__(self) -> int:
        return len(self.frame_index)
