"""Answers of an estimator kept while they are given, so that a killed pose pass can go on.

Following asks one question after the other, each built on the answers before. Asked again from the
start, with the answers kept so far, it comes to the same place without the estimator.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.estimator import Box, PairEstimate, PairEstimator, Picture
from posescore.pose.people import PeopleFinder
from posescore.terms import Step

_RECORD: Final = np.dtype(
    [
        ("asked", "V16"),
        ("keypoints_px", "<f4", (2, 21, 2)),
        ("keypoint_confidence", "<f4", (2, 21)),
    ]
)
_EVERY_PX: Final = 8
"""Every so many rows and columns of a picture stand for it: a question is the same only where all
before it were, so little is enough to notice another one."""


@contextlib.contextmanager
def remembered(estimator: PairEstimator, path: Path | None) -> Iterator[PairEstimator]:
    """The estimator, with what it was asked and said before kept in a file.

    A file that cannot be written costs the next run its shortcut and nothing else.

    Parameters
    ----------
    estimator
        What is asked where the file has no answer. One that offers all people it sees is given
        back as it is.
    path
        The file; its folder is made. None keeps nothing.
    """
    if path is None or isinstance(estimator, PeopleFinder):
        yield estimator
        return
    keeping = _Remembering(estimator, path)
    try:
        yield keeping
    finally:
        keeping.let_go()


class _Remembering:
    """A :class:`~posescore.pose.estimator.PairEstimator` that answers from a file while it can."""

    def __init__(self, estimator: PairEstimator, path: Path) -> None:
        self._estimator = estimator
        self._kept = _read(path)
        self._calls = 0
        self._file = None
        with contextlib.suppress(OSError):
            path.parent.mkdir(parents=True, exist_ok=True)
            self._file = path.open("r+b" if path.exists() else "w+b", buffering=0)

    @property
    def step(self) -> Step:
        """That of the estimator."""
        return self._estimator.step

    def estimate(self, picture: Picture, boxes: tuple[Box, ...] = ()) -> PairEstimate:
        """The kept answer to this question, or a new one that is kept."""
        asked = _digest(picture, boxes)
        if self._calls < len(self._kept):
            record = self._kept[self._calls]
            if record["asked"].tobytes() == asked:
                self._calls += 1
                return PairEstimate(
                    record["keypoints_px"].copy(), record["keypoint_confidence"].copy()
                )
            self._kept = self._kept[: self._calls]  # another question: what follows is void
        made = self._estimator.estimate(picture, boxes)
        self._keep(asked, made)
        self._calls += 1
        return made

    def _keep(self, asked: bytes, made: PairEstimate) -> None:
        if self._file is None:
            return
        record = np.zeros((), _RECORD)
        record["asked"] = np.void(asked)
        record["keypoints_px"] = made.keypoints_px
        record["keypoint_confidence"] = made.keypoint_confidence
        try:
            self._file.seek(self._calls * _RECORD.itemsize)
            self._file.write(record.tobytes())
            self._file.truncate()
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
