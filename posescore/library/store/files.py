"""Files that are there whole or not at all."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import IO


def sha256_of(path: Path) -> str:
    """Hash of a file, lower-case hex."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def write_whole(
    folder: Path, write: Callable[[IO[bytes]], object], named: Callable[[Path], str]
) -> Path:
    """Write a file beside its place, flush it to the disk, then give it its name.

    Parameters
    ----------
    folder
        Where the file goes.
    write
        Writes the contents.
    named
        The file's name, given the finished file under its passing name.

    Raises
    ------
    OSError
        When it cannot be written; then a file that was there before is still there.
    """
    handle, passing = tempfile.mkstemp(dir=folder, prefix=".part-")
    part = Path(passing)
    try:
        with os.fdopen(handle, "wb") as file:
            write(file)
            file.flush()
            os.fsync(file.fileno())
        part.chmod(0o644)
        whole = part.replace(folder / named(part))
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    _flush_folder(folder)
    return whole


def _flush_folder(folder: Path) -> None:
    """Put the name on the disk, too; Windows does so by itself and knows no such call."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
