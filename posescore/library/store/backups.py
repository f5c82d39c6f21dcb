"""Copies of the database that rotate beside it, and the refusal to begin anew where one was lost.

Decisions live in the database alone: what lies in the folders of the matches can be made again from
the footage, what people said cannot.
"""

from __future__ import annotations

import errno
import os
import re
import shutil
import sqlite3
import stat
import time
from contextlib import closing
from pathlib import Path
from typing import Final

from posescore.errors import InputError, StorageError
from posescore.footage.atomic import replacing

KEPT: Final = 7
"""A week of days on which somebody worked. A judgement."""
DUE_AFTER_S: Final = 86_400.0
BROKEN: Final = (sqlite3.Error, UnicodeDecodeError)
"""What reading a damaged database raises; its complaints may quote bytes that are no text."""
_NAME: Final = re.compile(r"library-(\d{6})\.sqlite3")


def match_folders(path: Path) -> list[Path]:
    """Folders of matches beside a database, by number."""
    found = [each for each in (path.parent / "matches").glob("*") if each.name.isdecimal()]
    return sorted((each for each in found if each.is_dir()), key=lambda each: int(each.name))


def refuse_lost(path: Path) -> None:
    """Refuse to begin a new library where the folders of another one lie.

    Raises
    ------
    StorageError
        When there are folders of matches beside a database that knows none.
    """
    folders = match_folders(path)
    if folders:
        what = "empty" if path.exists() else "gone"
        raise StorageError(
            f"{path} is {what}, but folders of {len(folders)} matches lie beside it: put back a "
            "copy with 'posescore library restore', or make what can be made from the folders with "
            "'posescore library repair'."
        )


def copies_of(path: Path) -> list[Path]:
    """Copies of a database, the newest first; numbers tell, whatever the clock said."""
    found = (path.parent / "backups").glob("library-*.sqlite3")
    return sorted((each for each in found if _NAME.fullmatch(each.name)), reverse=True)


def is_due(path: Path) -> bool:
    """True where the newest copy is not of the last day, by a clock that may have been set back."""
    newest = next(iter(copies_of(path)), None)
    return newest is None or not 0 <= time.time() - newest.stat().st_mtime < DUE_AFTER_S


def keep_copy(path: Path, *, when_due: bool = False) -> Path | None:
    """Copy a database while others use it; the newest :data:`KEPT` stay.

    Returns where the copy lies; None where the database never held a match, or is what the newest
    copy is, or, ``when_due``, where that is of the last day.

    Raises
    ------
    StorageError
        When it cannot be written, or the database is damaged: then older copies stay.
    """
    if when_due and not is_due(path):
        return None
    known = copies_of(path)
    number = int(known[0].stem.rpartition("-")[2]) + 1 if known else 1
    copy = path.parent / "backups" / f"library-{number:06}.sqlite3"
    try:
        copy.parent.mkdir(exist_ok=True)
        with replacing(copy) as unfinished:
            write_copy(path, unfinished)
            unfinished.chmod(stat.S_IMODE(path.stat().st_mode))
            worth = _held_matches(unfinished) and not (known and _same(unfinished, known[0]))
            if not worth:
                raise _NothingNewError
    except _NothingNewError:
        return None
    except OSError as error:
        raise StorageError(f"{copy.parent}: {error.strerror}: no copy was kept.") from error
    for outgrown in copies_of(path)[KEPT:]:
        outgrown.unlink(missing_ok=True)
    return copy


class _NothingNewError(Exception):
    """The copy holds nothing that is not kept already."""


def write_copy(path: Path, out: Path) -> None:
    """Write a whole, sound copy of a database into a file, by SQLite's own way of copying.

    Raises
    ------
    StorageError
        When the database cannot be read whole.
    """
    try:
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(out)) as target:
            source.backup(target)
            target.execute("PRAGMA journal_mode=DELETE")  # one file, nothing beside it
        check_whole(out)
    except BROKEN as error:
        for ending in ("-wal", "-shm", "-journal"):
            out.with_name(out.name + ending).unlink(missing_ok=True)
        if "full" in str(error) or "disk i/o" in str(error).lower():
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)) from error
        raise _damaged(path, str(error)) from error


def check_whole(path: Path) -> None:
    """Have SQLite look over the pages of a database.

    Raises
    ------
    StorageError
        When it is none, or damaged.
    """
    try:
        with closing(sqlite3.connect(path)) as database:
            (said,) = database.execute("PRAGMA quick_check(1)").fetchone()
    except BROKEN as error:
        raise _damaged(path, str(error)) from error
    if said != "ok":
        raise _damaged(path, said)


def _damaged(path: Path, said: str) -> StorageError:
    return StorageError(
        f"{path} is damaged ({' '.join(said.split())}): no copy of it was kept, older ones stay; "
        "see 'posescore library check'."
    )


def newest_sound_copy(path: Path) -> Path:
    """The newest copy that SQLite finds whole.

    Raises
    ------
    InputError
        When there is none.
    """
    for copy in copies_of(path):
        try:
            check_whole(copy)
        except StorageError:
            continue
        return copy
    raise InputError(f"{path.parent / 'backups'} holds no copy that can be put back.")


def check_alone(path: Path) -> None:
    """See that no other program has the database open; what waits beside it is put into it.

    Raises
    ------
    StorageError
        When another program has.
    """
    try:
        with closing(sqlite3.connect(path, timeout=1.0)) as database:
            database.execute("PRAGMA journal_mode=DELETE")
    except BROKEN as error:
        if "locked" in str(error):
            raise StorageError(
                f"{path} is in use: close the pages and every other PoseScore first."
            ) from error
        # Damaged: nobody works with it.


def put_aside(path: Path, why: str) -> Path:
    """Copy a database among its copies, as it is, damage and all; where that lies.

    Raises
    ------
    StorageError
        When another program has it open, or there is no room.
    """
    check_alone(path)
    place = path.parent / "backups"
    number = len(list(place.glob("before-*.sqlite3"))) + 1
    aside = place / f"before-{why}-{number:06}.sqlite3"
    try:
        place.mkdir(exist_ok=True)
        for ending in ("-wal", ""):
            part = path.with_name(path.name + ending)
            if part.exists():
                with replacing(aside.with_name(aside.name + ending)) as unfinished:
                    shutil.copyfile(part, unfinished)
                    unfinished.chmod(stat.S_IMODE(part.stat().st_mode))
    except OSError as error:
        raise StorageError(f"{place}: {error.strerror}: nothing was done.") from error
    return aside


def replace_by(path: Path, whole: Path) -> None:
    """Put a copy of a whole database, one file, in the place of another.

    Raises
    ------
    StorageError
        When it cannot be written; then the other stays.
    """
    with replacing(path) as unfinished:
        shutil.copyfile(whole, unfinished)
        for ending in ("-wal", "-shm"):  # they would be read into the new one
            path.with_name(path.name + ending).unlink(missing_ok=True)


def restore(path: Path, copy: Path) -> Path | None:
    """Put a copy in the place of a database; where that lies now, None where there was none.

    Raises
    ------
    StorageError
        When the copy is damaged, or another program has the database open.
    """
    check_whole(copy)
    aside = put_aside(path, "restore") if path.exists() else None
    replace_by(path, copy)
    return aside


def _held_matches(path: Path) -> bool:
    try:
        with closing(sqlite3.connect(path)) as database:
            query = "SELECT seq FROM sqlite_sequence WHERE name = 'match'"
            given = database.execute(query).fetchone()
    except BROKEN as error:
        raise _damaged(path, str(error)) from error
    return bool(given and given[0])


def _same(one: Path, other: Path) -> bool:
    return one.stat().st_size == other.stat().st_size and one.read_bytes() == other.read_bytes()
