"""Keypoints for the overlay, packed small (214 bytes a frame) and read in chunks; frame times."""

from __future__ import annotations

from pathlib import Path
from threading import Lock
from typing import Final

import numpy as np
from fastapi import APIRouter
from fastapi.responses import Response

from posescore.errors import NotFoundError
from posescore.library.analysis import Analysis
from posescore.library.library import Library
from posescore.library.store.recent import Recent
from posescore.library.tracks import kept_track
from posescore.pose.track import PairTrack

CHUNK_ROWS: Final = 900
"""Half a minute at 30 frames a second: about 190 kB, there before playing reaches it."""

MISSING: Final = -32768
_FULL: Final = 32767
_TRACKS_KEPT: Final = 2
"""Decoded tracks held in memory: the match on the page and one more (9 MB for ten minutes)."""


class Tracks:
    """Reads tracks and keeps the last few decoded. Safe from several threads."""

    def __init__(self) -> None:
        self._kept: Recent[tuple[Path, str], PairTrack] = Recent(_TRACKS_KEPT)
        self._lock = Lock()

    def of(self, analysis: Analysis) -> PairTrack | None:
        """The track of an analysis; None where it came without."""
        if analysis.track_path is None:
            return None
        key = (analysis.track_path, analysis.track_sha256)
        with self._lock:  # pages ask for several chunks at once: it is read once
            known = self._kept.get(key) or kept_track(analysis)
            return None if known is None else self._kept.put(key, known)


def track_router(library: Library, tracks: Tracks) -> APIRouter:
    """The endpoints for frame times and keypoints."""
    router = APIRouter(prefix="/matches/{match_id}")

    @router.get("/clock", response_class=Response, summary="When every frame is shown")
    def clock(match_id: int) -> Response:
        """Presentation times: float64, little-endian, one per frame, then the footage's end."""
        clock = library.analysis(match_id).clock
        return _binary(np.append(clock.pts_s, clock.end_s).astype("<f8").tobytes())

    @router.get("/track/{chunk}", response_class=Response, summary="One chunk of keypoints")
    def track(match_id: int, chunk: int) -> Response:
        """One chunk of keypoints.

        Little-endian: uint32 number of rows n; int32 frame index (n); int16 x, y (n, 2 athletes, 21
        keypoints, 2) where c stands for (c / 32767 + 0.5) of the picture's width or height and
        -32768 for a missing keypoint; uint8 confidence (n, 2, 21), 255 being 1.
        """
        found = tracks.of(library.analysis(match_id))
        if found is None or not 0 <= chunk < len(chunk_firsts(found)):
            raise NotFoundError(f"match {match_id} has no keypoints in chunk {chunk}.")
        return _binary(pack_chunk(found, chunk))

    return router


def _binary(content: bytes) -> Response:
    headers = {"Cache-Control": "no-store"}
    return Response(content, media_type="application/octet-stream", headers=headers)


def chunk_firsts(track: PairTrack) -> list[int]:
    """The first frame index of every chunk."""
    return [int(index) for index in track.frame_index[::CHUNK_ROWS]]


def pack_chunk(track: PairTrack, number: int) -> bytes:
    """One chunk, little-endian, for the page's own reader.

    Layout: uint32 number of rows n; int32 frame index ``(n,)``; int16 x and y ``(n, 2, 21, 2)``;
    uint8 confidence ``(n, 2, 21)`` (255 is 1). A coordinate ``c`` lies at ``c / 32767 + 0.5`` of
    the picture's width or height, so half a picture outside each edge has room and a step is
    0.04 px at 1280 px; what lies farther out stands at that bound. A missing keypoint is -32768.

    Parameters
    ----------
    track
        The whole track.
    number
        Which chunk, from 0.
    """
    rows = slice(number * CHUNK_ROWS, (number + 1) * CHUNK_ROWS)
    size_px = np.asarray(track.picture_size_px, dtype=np.float64)
    fraction = track.keypoints_px[rows] / size_px - 0.5
    missing = ~np.isfinite(fraction).all(axis=-1, keepdims=True)
    places = np.where(missing, 0.0, np.clip(fraction, -1.0, 1.0)) * _FULL
    packed = np.where(missing, MISSING, np.rint(places)).astype("<i2")
    confidence = np.nan_to_num(track.keypoint_confidence[rows], nan=0.0)
    confidence_255 = np.rint(np.clip(confidence, 0.0, 1.0) * 255).astype(np.uint8)
    frames = track.frame_index[rows].astype("<i4")
    head = np.uint32(len(frames)).astype("<u4").tobytes()
    return b"".join((head, frames.tobytes(), packed.tobytes(), confidence_255.tobytes()))
