"""Files that are either written wholly or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from posescore.errors import StorageError


def storage_error(path: Path, error: OSError) -> StorageError:
    """One sentence for a failed write: the file, what is wrong and what to do."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return StorageError(f"{path} cannot be written, the disk is full: free some space.")
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return StorageError(f"{path} cannot be written, the folder is read-only: choose another.")
    if error.errno in (errno.ENOENT, errno.ENOTDIR):
        return StorageError(f"{path} cannot be written, its folder does not exist: make it first.")
    if error.errno == errno.EISDIR:
        return StorageError(f"{path} cannot be written, it is a folder: name a file.")
    return StorageError(f"{path} cannot be written ({error.strerror or error}): try another place.")


@contextlib.contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Give a temporary file beside ``path`` that takes its place when the block succeeds.

    Whatever stood at ``path`` before stays untouched until then, and for good when the block
    fails. The temporary name keeps the suffix, since writers choose formats by it.

    Raises
    ------
    StorageError
        When the disk is full, read-only or the folder is missing.
    """
    unfinished: Path | None = None
    try:
        if path.is_dir():
            raise OSError(errno.EISDIR, "is a folder")
        handle, name = tempfile.mkstemp(
            suffix=path.suffix, prefix=f".{path.stem}.", dir=path.parent
        )
        unfinished = Path(name)
        os.close(handle)
        yield unfinished
        unfinished.chmod(0o644)
        unfinished.replace(path)
    except OSError as error:
        raise storage_error(path, error) from error
    finally:
        if unfinished is not None:
            unfinished.unlink(missing_ok=True)


def check_writable(path: Path) -> None:
    """Refuse a place that cannot be written, before anything slow is done for it.

    Raises
    ------
    StorageError
        When the folder is missing or read-only, or ``path`` is a folder.
    """
    try:
        if path.is_dir():
            raise OSError(errno.EISDIR, "is a folder")
        with tempfile.NamedTemporaryFile(dir=path.parent):
            pass
    except OSError as error:
        raise storage_error(path, error) from error
