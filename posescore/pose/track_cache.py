"""Poses kept by what they depend on, so that nothing slow is done twice."""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from posescore.errors import PoseScoreError, StorageError
from posescore.pose.track import PairTrack
from posescore.pose.track_file import read_track, write_track
from posescore.terms import Step


def cache_key(footage_sha256: str, estimator: Step, settings: dict[str, Any]) -> str:
    """What a track depends on, as one hash: the file's bytes, the estimator, how it is followed."""
    parts = {
        "footage": footage_sha256,
        "estimator": [estimator.name, dict(estimator.settings), dict(estimator.model_sha256)],
        "settings": settings,
    }
    return hashlib.sha256(json.dumps(parts, sort_keys=True, default=str).encode()).hexdigest()


def cached_track(
    folder: Path | None, key: str, make: Callable[[], PairTrack]
) -> tuple[PairTrack, bool]:
    """The track of a key from the folder, or newly made and put there.

    Returns the track and whether it came from the cache. A broken file in the cache is made again;
    a full disk costs the next run its shortcut and nothing else.

    Parameters
    ----------
    folder
        Where tracks are kept; made when missing. None keeps nothing.
    key
        Of :func:`cache_key`.
    make
        Makes the track.
    """
    if folder is None:
        return make(), False
    path = folder / f"{key}.parquet"
    if path.exists():
        with contextlib.suppress(PoseScoreError):
            return read_track(path), True
    track = make()
    with contextlib.suppress(StorageError, OSError):
        folder.mkdir(parents=True, exist_ok=True)
        write_track(track, path)
    return track, False
