"""Copies of a database that may only be looked at, made anew once others have written to it."""

from __future__ import annotations

import shutil
import tempfile
import time
from pathlib import Path
from typing import Final

LOOKED_EVERY_S: Final = 1.0
"""So often at most it is looked at whether somebody wrote: it costs requests on a share."""
MOST_TRIES: Final = 5


class Copies:
    """Whole copies of one SQLite database and of its write-ahead log, in a passing folder.

    Parameters
    ----------
    path
        The database; it is only ever read.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._folder = tempfile.TemporaryDirectory(prefix="posescore-", ignore_cleanup_errors=True)
        self._made = 0
        self._state: tuple[object, ...] = ()
        self._looked_at = 0.0

    def outdated(self) -> bool:
        """True where the database is another than when it was copied, as far as was looked."""
        now = time.monotonic()
        if now < self._looked_at + LOOKED_EVERY_S:
            return False
        self._looked_at = now
        return self._state_now() != self._state

    def newest(self) -> Path:
        """Make a copy; older ones go.

        While it is copied others may write: then it is copied again, a few times.

        Raises
        ------
        OSError
            When it cannot be read, or the passing folder cannot be written.
        """
        place = Path(self._folder.name) / str(self._made)
        for _ in range(MOST_TRIES):
            shutil.rmtree(place, ignore_errors=True)
            place.mkdir()
            before = self._state_now()
            for each in self._parts():
                if each.is_file():
                    shutil.copyfile(each, place / each.name)
            if self._state_now() == before:
                break
        self._state = before
        self._looked_at = time.monotonic()
        if self._made:
            shutil.rmtree(place.with_name(str(self._made - 1)), ignore_errors=True)
        self._made += 1
        return place / self._path.name

    def close(self) -> None:
        """Remove all copies."""
        self._folder.cleanup()

    def _parts(self) -> tuple[Path, Path]:
        return self._path, self._path.with_name(f"{self._path.name}-wal")

    def _state_now(self) -> tuple[object, ...]:
        known = [each.stat() if each.is_file() else None for each in self._parts()]
        return tuple(one and (one.st_mtime_ns, one.st_size, one.st_ino) for one in known)
