"""Who runs a job right now: a lock that the operating system takes back when its holder dies."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from filelock import FileLock, Timeout

from posescore.errors import ConflictError

_PATIENCE_S: Final = 2.0
"""Somebody who only looks whether a job is claimed holds its lock for a moment."""


def _lock(folder: Path, job_id: int) -> FileLock:
    folder.mkdir(parents=True, exist_ok=True)
    return FileLock(folder / f"{job_id}.lock")


@contextmanager
def claimed(folder: Path, job_id: int) -> Iterator[None]:
    """Hold a job, so that nobody else runs it.

    Raises
    ------
    ConflictError
        When another program runs it.
    """
    lock = _lock(folder, job_id)
    try:
        lock.acquire(timeout=_PATIENCE_S)
    except Timeout as error:
        raise ConflictError(f"job {job_id} is being run by another program.") from error
    try:
        yield
    finally:
        lock.release()


def is_claimed(folder: Path, job_id: int) -> bool:
    """True while a living program runs that job."""
    lock = _lock(folder, job_id)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        return True
    lock.release()
    return False


def forget_claims(folder: Path, still_open: set[int]) -> None:
    """Remove the lock files of jobs that ended."""
    for path in folder.glob("*.lock"):
        if path.stem.isdecimal() and int(path.stem) not in still_open:
            path.unlink(missing_ok=True)
