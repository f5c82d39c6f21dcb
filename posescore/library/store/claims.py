"""Who analyses a match right now: a lock that the operating system takes back from the dead."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from filelock import FileLock, Timeout

from posescore.library.jobs import in_analysis
from posescore.library.store.storage import sentences

QUEUE: Final = 0
"""Claimed by the program that works the jobs off, one at a time; no match has that number."""
_PATIENCE_S: Final = 2.0
"""Somebody who only looks whether a match is claimed holds its lock for a moment."""


def _lock(folder: Path, match_id: int) -> FileLock:
    folder.mkdir(parents=True, exist_ok=True)
    return FileLock(folder / f"{match_id}.lock")


@contextmanager
def claimed(folder: Path, match_id: int) -> Iterator[None]:
    """Hold a match, so that nobody else analyses it.

    Raises
    ------
    ConflictError
        When another program analyses it.
    """
    with sentences(folder):
        lock = _lock(folder, match_id)
        try:
            lock.acquire(timeout=_PATIENCE_S)
        except Timeout as error:
            raise in_analysis(match_id) from error
    try:
        yield
    finally:
        lock.release()


def is_claimed(folder: Path, match_id: int) -> bool:
    """True while a living program analyses that match."""
    with sentences(folder):
        if not (folder / f"{match_id}.lock").exists():
            return False
        lock = _lock(folder, match_id)
        try:
            lock.acquire(timeout=0)
        except Timeout:
            return True
        lock.release()
        return False


def forget(folder: Path, match_id: int) -> None:
    """Remove the lock of a match that is no more; a system that cannot now leaves it."""
    with suppress(OSError):
        (folder / f"{match_id}.lock").unlink(missing_ok=True)
