"""A :class:`PairTrack` as a Parquet file: one row a frame, everything else in the metadata.

Columns: ``frame_index`` int64, ``time_s`` float64, and for each athlete and keypoint
``A_left_knee_x``, ``..._y`` (pixels) and ``..._confidence``, float32, null where missing. The
metadata key ``posescore`` holds JSON: format version, size of the picture, end of the footage,
provenance, findings.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from itertools import product
from pathlib import Path
from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from posescore.errors import KeypointFileError
from posescore.footage.atomic import replacing
from posescore.pose.track import Finding, FindingKind, PairTrack
from posescore.terms import KEYPOINTS, N_KEYPOINTS, Athlete, Interval, Provenance

FORMAT_VERSION: Final = 1
_KEY: Final = b"posescore"
_PARTS: Final = ("x", "y", "confidence")


def column_name(athlete: Athlete, keypoint: str, part: str) -> str:
    """Name of a column, say ``A_left_knee_x``."""
    return f"{athlete}_{keypoint}_{part}"


_COLUMNS: Final = [
    column_name(athlete, keypoint, part)
    for athlete in Athlete
    for keypoint in KEYPOINTS
    for part in _PARTS
]
_PLACES: Final = list(product(range(2), range(N_KEYPOINTS), range(len(_PARTS))))
"""Athlete, keypoint and part of every column."""


def _part_of(
    points: NDArray[np.floating], confidence: NDArray[np.floating], slot: int, index: int, part: int
) -> NDArray[np.floating]:
    """A view of what one column holds, ``(n_frames,)``."""
    return confidence[:, slot, index] if part == 2 else points[:, slot, index, part]


def write_track(track: PairTrack, path: Path) -> None:
    """Write a track, wholly or not at all.

    Raises
    ------
    StorageError
        When the file cannot be written.
    """
    arrays = [pa.array(track.frame_index), pa.array(track.time_s)]
    for slot, index, part in _PLACES:
        column = _part_of(track.keypoints_px, track.keypoint_confidence, slot, index, part)
        arrays.append(pa.array(column.astype(np.float32), from_pandas=True))
    table = pa.table(arrays, names=["frame_index", "time_s", *_COLUMNS])
    table = table.replace_schema_metadata({_KEY: json.dumps(_metadata(track)).encode()})
    with replacing(path) as unfinished:
        pq.write_table(table, unfinished, compression="zstd")


def _metadata(track: PairTrack) -> dict[str, Any]:
    return {
        "format_version": FORMAT_VERSION,
        "picture_size_px": list(track.picture_size_px),
        "end_s": track.end_s,
        "provenance": track.provenance.to_json(),
        "findings": [
            {
                "kind": finding.kind.value,
                **asdict(finding.interval),
                "confidence": finding.confidence,
                "message": finding.message,
            }
            for finding in track.findings
        ],
    }


def read_track(path: Path) -> PairTrack:
    """Read a track.

    Raises
    ------
    KeypointFileError
        When the file is missing, broken, no track, or of a later version of the program.
    """
    if not path.is_file():
        raise KeypointFileError(f"{path} does not exist: check the path.")
    try:
        table = pq.read_table(path, use_threads=False)
        metadata = json.loads((table.schema.metadata or {})[_KEY])
    except (pa.ArrowException, OSError, ValueError, KeyError) as error:
        raise KeypointFileError(f"{path} is no keypoint track: make it again.") from error
    if metadata.get("format_version", 0) > FORMAT_VERSION:
        raise KeypointFileError(f"{path} was written by a later PoseScore: update this one.")
    try:
        return _track_of(table, metadata)
    except (KeyError, TypeError, ValueError, pa.ArrowException) as error:
        raise KeypointFileError(
            f"{path} is a damaged keypoint track ({error}): make it again."
        ) from error
    finally:
        del table
        pa.default_memory_pool().release_unused()  # the track has its own copy


def _track_of(table: pa.Table, metadata: dict[str, Any]) -> PairTrack:
    points = np.empty((len(table), 2, N_KEYPOINTS, 2), np.float32)
    confidence = np.empty((len(table), 2, N_KEYPOINTS), np.float32)
    for name, (slot, index, part) in zip(_COLUMNS, _PLACES, strict=True):
        _part_of(points, confidence, slot, index, part)[:] = table[name].to_numpy()
    width, height = metadata["picture_size_px"]
    return PairTrack(
        keypoints_px=points,
        keypoint_confidence=confidence,
        frame_index=table["frame_index"].to_numpy().astype(np.int64),
        time_s=table["time_s"].to_numpy().astype(np.float64),
        end_s=float(metadata["end_s"]),
        picture_size_px=(int(width), int(height)),
        provenance=Provenance.from_json(metadata["provenance"]),
        findings=tuple(_finding(item) for item in metadata["findings"]),
    )


def _finding(item: dict[str, Any]) -> Finding:
    interval = Interval(float(item["start_s"]), float(item["end_s"]))
    kind = FindingKind(item["kind"])
    return Finding(kind, interval, float(item["confidence"]), str(item["message"]))
