"""Answers of an estimator kept while they are given, so that a killed pose pass can go on.

Following asks one question after the other, each built on the answers before, and some ahead of
time in a second thread. Asked again from the start, with the answers kept so far, it comes to the
same place without the estimator.
"""

from __future__ import annotations

import contextlib
import hashlib
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.estimators.estimator import Box, PairEstimate, PairEstimator, Picture

_RECORD: Final = np.dtype(
    [
        ("asked", "V16"),
        ("keypoints_px", "<f4", (2, 21, 2)),
        ("keypoint_confidence", "<f4", (2, 21)),
    ]
)
_EVERY_PX: Final = 4
"""Every so many rows and columns of a picture stand for it: two frames of one film that agree in
all of these, and were searched in the same place, have the same answer."""


@contextlib.contextmanager
def cached_estimates(estimator: PairEstimator, path: Path | None) -> Iterator[PairEstimator]:
    """The estimator, with what it was asked and said before kept in a file.

    A file that cannot be written costs the next run its shortcut and nothing else.

    Parameters
    ----------
    path
        The file; its folder is made. None keeps nothing.
    """
    if path is None:
        yield estimator
        return
    keeping = _CachedEstimator(estimator, path)
    try:
        yield keeping
    finally:
        keeping.let_go()


class _CachedEstimator:
    """A pair estimator that answers from a file where it can.

    May be asked from several threads if the estimator may.
    """

    def __init__(self, estimator: PairEstimator, path: Path) -> None:
        self._estimator, self.step = estimator, estimator.step
        records = _read(path)
        self._kept = {record["asked"].tobytes(): record for record in records}
        self._written = len(records)
        self._writing = threading.Lock()
        self._file = None
        with contextlib.suppress(OSError):
            path.parent.mkdir(parents=True, exist_ok=True)
            self._file = path.open("r+b" if path.exists() else "w+b", buffering=0)

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        """The kept answer to this question, or a new one that is kept."""
        asked = _digest(picture, boxes)
        kept = self._kept.get(asked)
        if kept is not None:
            return PairEstimate(kept["keypoints_px"].copy(), kept["keypoint_confidence"].copy())
        made = self._estimator.estimate(picture, boxes)
        with self._writing:
            self._keep(asked, made)
        return made

    def _keep(self, asked: bytes, made: PairEstimate) -> None:
        if self._file is None:
            return
        record = np.zeros((), _RECORD)
        record["asked"] = np.void(asked)
        record["keypoints_px"] = made.keypoints_px
        record["keypoint_confidence"] = made.keypoint_confidence
        try:
            self._file.seek(self._written * _RECORD.itemsize)
            self._file.write(record.tobytes())
            self._file.truncate()
            self._written += 1
        except OSError:
            self.let_go()

    def let_go(self) -> None:
        """Close the file."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def close(self) -> None:
        """Release what the estimator holds."""
        self.let_go()
        self._estimator.close()


def _read(path: Path) -> NDArray[np.void]:
    """All whole records of a file; what a crash cut off is left out."""
    try:
        content = path.read_bytes()
    except OSError:
        content = b""
    whole = len(content) // _RECORD.itemsize
    return np.frombuffer(content, _RECORD, whole)


def _digest(picture: Picture, boxes: tuple[Box, ...]) -> bytes:
    told = hashlib.blake2b(repr((picture.shape, boxes)).encode(), digest_size=16)
    told.update(np.ascontiguousarray(picture[::_EVERY_PX, ::_EVERY_PX]).tobytes())
    return told.digest()
