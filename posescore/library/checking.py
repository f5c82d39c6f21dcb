"""A library looked over: every row read, every file compared with what was written down of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Row, select, text

from posescore.errors import InputError, PoseScoreError, StorageError
from posescore.library.job_table import job_of
from posescore.library.library import Library
from posescore.library.match import Footage
from posescore.library.store import backups
from posescore.library.store.analysis_rows import analysis_of
from posescore.library.store.damage import DamagedRowError
from posescore.library.store.entry_rows import entry_of
from posescore.library.store.files import sha256_of
from posescore.library.store.match_rows import deleted_ids, folder_of, match_of
from posescore.library.store.moment_rows import kept_of
from posescore.library.store.schema import ANALYSIS, ENTRY, FILE_NAME, JOB, MATCH, MOMENT
from posescore.library.store.storage import Storage


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that is not as it should be.

    Parameters
    ----------
    what
        In a sentence, with the match, the table or the file.
    lost
        False where it lies outside the library, such as footage that was moved.
    """

    what: str
    lost: bool = True


def check_library(folder: Path, hashes: bool = True) -> Iterator[Trouble]:
    """Everything that is not as it should be; nothing is changed.

    Parameters
    ----------
    folder
        Of the library.
    hashes
        Read footage whole and compare its hash; otherwise its size alone.

    Raises
    ------
    InputError
        When there is no library.
    """
    path = folder / FILE_NAME
    if not path.is_file() and not backups.match_folders(path):
        raise InputError(f"{folder} holds no library: name its folder with --library.")
    yield from _copies(path)
    try:
        if not path.is_file() or not path.stat().st_size:
            backups.refuse_lost(path)
        backups.check_whole(path)
        storage = Storage(folder, read_only=True)
    except StorageError as error:
        yield Trouble(str(error))
        return
    try:
        with storage.read() as connection:
            yield from _rows(connection, folder)
            yield from _files(connection, folder, hashes)
            yield from _strays(connection, folder)
    finally:
        storage.close()
    yield from _reviews(folder)


def _copies(path: Path) -> Iterator[Trouble]:
    for copy in backups.copies_of(path):
        try:
            backups.check_whole(copy)
        except StorageError:
            yield Trouble(f"{copy} is a damaged copy: remove it.")


def _readers(folder: Path) -> tuple[tuple[Any, Callable[[Row[Any]], object]], ...]:
    return (
        (MATCH, lambda row: match_of(row, folder)),
        (ANALYSIS, lambda row: analysis_of(row, folder_of(folder, row.match_id))),
        (ENTRY, entry_of),
        (JOB, job_of),
        (MOMENT, kept_of),
    )


def damaged_rows(
    connection: Connection, folder: Path
) -> Iterator[tuple[str, Row[Any], DamagedRowError]]:
    """Rows that cannot be read, with the name of their table."""
    for table, read in _readers(folder):
        columns = select(table)
        if table is MATCH:
            columns = select(table, text("NULL AS newest"), text("0 AS entries"))
        for row in connection.execute(columns):
            try:
                read(row)
            except DamagedRowError as error:
                yield table.name, row, error


def _rows(connection: Connection, folder: Path) -> Iterator[Trouble]:
    for _, _, error in damaged_rows(connection, folder):
        yield Trouble(f"{error}.")
    for table, row_id, of, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        yield Trouble(f"row {row_id} of the table '{table}' belongs to a {of} that is not there.")


def _files(connection: Connection, folder: Path, hashes: bool) -> Iterator[Trouble]:
    for row in connection.execute(select(ANALYSIS)):
        name, known = row.track_file, row.track_sha256
        place = folder_of(folder, row.match_id) / str(name)
        if not name:
            continue
        if not place.is_file():
            yield Trouble(f"match {row.match_id}: {place} is gone.")
        elif known and sha256_of(place) != known:
            yield Trouble(f"match {row.match_id}: {place} is another file than was kept.")
    query = select(MATCH, text("NULL AS newest"), text("0 AS entries"))
    for row in connection.execute(query):
        try:
            footage = match_of(row, folder).info.footage
        except DamagedRowError:
            continue
        if footage is not None:
            yield from _footage(row.id, footage, folder, hashes)


def _footage(match_id: int, footage: Footage, folder: Path, hashes: bool) -> Iterator[Trouble]:
    place = Path(footage.path)
    own = folder in place.parents
    try:
        if not place.is_file():
            yield Trouble(f"match {match_id}: its footage is gone from {place}.", own)
            return
        same = place.stat().st_size == footage.size_bytes
        if same and hashes:
            same = sha256_of(place) == footage.sha256
    except OSError as error:
        yield Trouble(f"match {match_id}: {place} cannot be read ({error.strerror}).", own)
        return
    if not same:
        yield Trouble(f"match {match_id}: {place} is another file than when it was added.", own)


def _strays(connection: Connection, folder: Path) -> Iterator[Trouble]:
    known = set(connection.execute(select(MATCH.c.id)).scalars())
    for each in backups.match_folders(folder / FILE_NAME):
        if int(each.name) not in known | deleted_ids(connection):
            yield Trouble(f"{each} belongs to no match of the library.")


def _reviews(folder: Path) -> Iterator[Trouble]:
    """Matches whose rows can be read and still make no review."""
    try:
        library = Library(folder, read_only=True)
    except StorageError as error:
        yield Trouble(str(error))
        return
    with library:
        for match in library.matches():
            if match.damage or match.analysis_version is None:
                continue
            try:
                for opinion in ("", *library.opinions(match.id)):
                    library.review(match.id, opinion)
            except PoseScoreError as error:
                said = str(error)
                if "is damaged" not in said:  # else it was named as a row
                    yield Trouble(f"match {match.id}: {said}")
