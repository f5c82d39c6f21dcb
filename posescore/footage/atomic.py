"""Files that are either written wholly or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import shutil
import stat
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

from posescore.errors import StorageError


def storage_error(path: Path, error: OSError) -> StorageError:
    """One sentence for a failed write: the file, what is wrong and what to do."""
    said = next((why for numbers, why in _WHY if error.errno in numbers), None)
    said = said or f" ({error.strerror or error}): try another place."
    return StorageError(f"{path} cannot be written{said}")


_WHY: Final = (
    ((errno.ENOSPC, errno.EDQUOT), ", the disk is full: free some space."),
    ((errno.EACCES, errno.EPERM, errno.EROFS), ", the folder is read-only: choose another."),
    ((errno.ENOENT, errno.ENOTDIR), ", its folder does not exist: make it first."),
    ((errno.EISDIR,), ", it is a folder: name a file."),
)


@contextlib.contextmanager
def replacing(path: Path, named: Callable[[Path], str] | None = None) -> Iterator[Path]:
    """Give a temporary file beside ``path`` that takes its place when the block succeeds.

    Whatever stood at ``path`` before stays untouched until then, and for good when the block
    fails. What was written is on the disk before it gets its name. A file that was there keeps its
    permissions, a new one has those that the person's umask leaves; a link stays a link, and the
    file behind it is replaced. What is no regular file, such as ``/dev/stdout``, is written into.

    Parameters
    ----------
    path
        The file. The temporary name keeps its suffix, since writers choose formats by it.
    named
        Gives the file's name from its finished contents, in place of that of ``path``.

    Raises
    ------
    StorageError
        When the disk is full, read-only or the folder is missing.
    """
    try:
        if path.is_dir():
            raise OSError(errno.EISDIR, "is a folder")
        if _is_no_file(path):
            with _poured_into(path) as unfinished:
                yield unfinished
            return
        target = path.resolve()
        unfinished = target.with_name(f".{target.stem[:40]}.{secrets.token_hex(4)}{target.suffix}")
        os.close(os.open(unfinished, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        try:
            yield unfinished
            if named is not None:
                target = target.with_name(named(unfinished))
            _settle(unfinished, target)
        finally:
            unfinished.unlink(missing_ok=True)
    except OSError as error:
        raise storage_error(path, error) from error


def write_whole(path: Path, data: bytes) -> None:
    """Write bytes as :func:`replacing` does."""
    with replacing(path) as unfinished:
        unfinished.write_bytes(data)


def _settle(unfinished: Path, target: Path) -> None:
    """Bring a file to the disk, then give it its name there."""
    with contextlib.suppress(FileNotFoundError):
        unfinished.chmod(stat.S_IMODE(target.stat().st_mode))
    with unfinished.open("r+b") as file:
        os.fsync(file.fileno())
    unfinished.replace(target)
    if os.name == "posix":  # Windows keeps names by itself and knows no such call
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _is_no_file(path: Path) -> bool:
    """True for devices, pipes and what stands for this program's own output."""
    own = str(path.absolute()).startswith(("/dev/std", "/dev/fd/", "/proc/"))
    return own or (path.exists() and not path.is_file())


@contextlib.contextmanager
def _poured_into(path: Path) -> Iterator[Path]:
    """A temporary file whose contents go to a device or a pipe at the end: writers seek."""
    with tempfile.TemporaryDirectory() as folder:
        unfinished = Path(folder) / f"part{path.suffix}"
        unfinished.touch()
        yield unfinished
        with unfinished.open("rb") as made, path.open("ab", buffering=0) as out:
            shutil.copyfileobj(made, out)


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
        if not _is_no_file(path):
            with tempfile.NamedTemporaryFile(dir=path.resolve().parent):
                pass
    except OSError as error:
        raise storage_error(path, error) from error
