"""Keypoints for the overlay, packed small (214 bytes a frame) and read in chunks."""

from __future__ import annotations

from typing import Final

import numpy as np

from posescore.pose.track import PairTrack

CHUNK_ROWS: Final = 900
"""Half a minute at 30 frames a second: about 190 kB, there before playing reaches it."""

MISSING: Final = -32768
_FULL: Final = 32767


def chunk_firsts(track: PairTrack) -> list[int]:
    """The first frame index of every chunk."""
    return [int(index) for index in track.frame_index[::CHUNK_ROWS]]


def n_chunks(track: PairTrack) -> int:
    """How many chunks a track has."""
    return -(-len(track) // CHUNK_ROWS)


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
    share = track.keypoints_px[rows] / size_px - 0.5
    missing = ~np.isfinite(share).all(axis=-1, keepdims=True)
    places = np.where(missing, 0.0, np.clip(share, -1.0, 1.0)) * _FULL
    packed = np.where(missing, MISSING, np.rint(places)).astype("<i2")
    confidence = np.nan_to_num(track.keypoint_confidence[rows], nan=0.0)
    sure = np.rint(np.clip(confidence, 0.0, 1.0) * 255).astype(np.uint8)
    frames = track.frame_index[rows].astype("<i4")
    head = np.uint32(len(frames)).astype("<u4").tobytes()
    return b"".join((head, frames.tobytes(), packed.tobytes(), sure.tobytes()))
