"""Putting a library right: what can be read is kept, what is damaged goes into a file of its own.

The database is first copied as it is. What people said is taken over wherever it can be read;
no program can make it anew, so a copy (``posescore library restore``) is better where there is one.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, Row, delete, insert, select, text, update

from posescore.errors import InputError, StorageError
from posescore.library.checking import damaged_rows
from posescore.library.library import Library
from posescore.library.match import Footage, MatchInfo
from posescore.library.store import backups, match_rows
from posescore.library.store.salvage import salvage, take_out
from posescore.library.store.schema import ANALYSIS, FILE_NAME, MATCH, STANDING
from posescore.library.store.storage import Storage

_UNKNOWN: Final = "an unknown place"
"""Where footage lies of which only the hash is known; adding it again says it."""


def put_right(folder: Path) -> Iterator[str]:
    """A database that can be read whole, of all rows that could be; a sentence for each step.

    Raises
    ------
    InputError
        When there is neither a database nor a folder of a match.
    StorageError
        When another program has the library open, or it cannot be written.
    """
    path = folder / FILE_NAME
    if not path.is_file() and not backups.match_folders(path):
        raise InputError(f"{folder} holds no library: name its folder with --library.")
    yield from _sound_database(path)
    storage = Storage(folder, repairing=True)
    try:
        with storage.write() as connection:
            connection.execute(delete(STANDING))  # made anew from what is there
            yield from _sound_rows(connection, folder)
    finally:
        storage.close()


def take_in_folders(library: Library) -> tuple[list[int], dict[int, Path]]:
    """Add matches that only their folder is left of.

    Returns their numbers, and the folders of all matches that have no analysis.
    """
    with library.writing() as connection:
        known = set(connection.execute(select(MATCH.c.id)).scalars())
        gone = match_rows.deleted_ids(connection)
        analysed = set(connection.execute(select(ANALYSIS.c.match_id)).scalars())
        found = {int(each.name): each for each in backups.match_folders(library.path)}
        new = sorted(found.keys() - known - gone)
        for number in new:
            _insert(connection, number)
    return new, {one: found[one] for one in sorted(found.keys() - gone - analysed)}


def footage_of(folder: Path, sha256: str) -> Footage:
    """Where the footage of a hash lies: in the library, or nobody knows."""
    found = next(iter((folder / "footage" / sha256).glob("*")), None)
    if found is None:
        return Footage(_UNKNOWN, sha256, 0)
    return Footage(str(found), sha256, found.stat().st_size)


def _sound_database(path: Path) -> Iterator[str]:
    """A database that SQLite reads whole, with every row that can still be read."""
    if not path.is_file() or not path.stat().st_size:
        path.unlink(missing_ok=True)
        yield "made a new database, since there was none."
        return
    aside = backups.put_aside(path, "repair")
    yield f"kept as it was: {aside}."
    try:
        backups.check_whole(path)
    except StorageError:
        with tempfile.TemporaryDirectory(dir=path.parent, prefix="repair-") as place:
            copied = salvage(aside, Path(place))
            backups.check_alone(Path(place) / FILE_NAME)
            backups.replace_by(path, Path(place) / FILE_NAME)
        rows = ", ".join(f"{count} of '{table}'" for table, count in copied.items())
        yield f"made a new database of the rows that could be read: {rows}."


def _sound_rows(connection: Connection, folder: Path) -> Iterator[str]:
    record = folder / "backups" / "taken-out.jsonl"
    damaged = [(table, row) for table, row, _ in damaged_rows(connection, folder)]
    if damaged:
        record.parent.mkdir(exist_ok=True)
    for row in (row for table, row in damaged if table == MATCH.name):
        with record.open("a", encoding="utf-8") as file:
            file.write(json.dumps({"table": "match", **row._mapping}, default=repr) + "\n")
        yield _renamed(connection, folder, row)
    yield from take_out(connection, [each for each in damaged if each[0] != MATCH.name], record)
    owned = set(connection.execute(select(MATCH.c.id)).scalars())
    for table in ("analysis", "entry", "moment"):
        found = connection.execute(text(f"SELECT DISTINCT match_id FROM {table}")).scalars()
        for number in sorted(one for one in found if isinstance(one, int) and one not in owned):
            _insert(connection, number)
            owned.add(number)
            yield f"match {number}: its row was lost; its title and athletes are to be named again."


def _renamed(connection: Connection, folder: Path, row: Row[tuple[object, ...]]) -> str:
    """Have the row of a match say no more than what can be read of it."""
    lines = row.search.splitlines() if isinstance(row.search, str) else []
    title = lines[0].strip() if lines and lines[0].isprintable() else ""
    info = MatchInfo(title or f"Match {row.id} (put right)")
    sha256 = row.footage_sha256
    if isinstance(sha256, str) and len(sha256) == 64:
        info = replace(info, footage=footage_of(folder, sha256))
    match_rows.change_match(connection, row.id, info)
    now = match_rows.now_text()
    connection.execute(update(MATCH).where(MATCH.c.id == row.id).values(added_at=now))
    return f"match {row.id}: what was said of it could not be read; name its athletes again."


def _insert(connection: Connection, number: int) -> None:
    now = match_rows.now_text()
    values = match_rows.values_of(MatchInfo(f"Match {number} (put right)"))
    row = insert(MATCH).values(**values, id=number, added_at=now, changed_at=now)
    connection.execute(row)
