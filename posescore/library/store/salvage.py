"""Taking what can be read out of a database that is damaged, and damaged rows out of the others."""

from __future__ import annotations

import base64
import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Row, text

from posescore.library.store.backups import BROKEN
from posescore.library.store.schema import ENTRY, FILE_NAME, TABLES
from posescore.library.store.storage import Storage

KEPT_TABLES: Final = ("match", "analysis", "entry", "job", "moment")
"""All but what is made anew from the others."""
_BINARY: Final = "clock"
"""The one column that holds no text."""


def salvage(damaged: Path, folder: Path) -> dict[str, int]:
    """Copy every row that can be read into a new database in ``folder``; how many, by table.

    Parameters
    ----------
    damaged
        A database of this version of the program with pages that cannot be read.
    folder
        Where the new one goes; it must hold none.
    """
    Storage(folder).close()
    copied: dict[str, int] = {}
    new = folder / FILE_NAME
    with closing(sqlite3.connect(damaged)) as source, closing(sqlite3.connect(new)) as target:
        source.text_factory = target.text_factory = bytes
        for table in KEPT_TABLES:
            copied[table] = _copied(source, target, table)
        target.commit()
    return copied


def _copied(source: sqlite3.Connection, target: sqlite3.Connection, table: str) -> int:
    """Rows from the front up to the damage, then from the back down to it."""
    names = next(each for each in TABLES if each.name == table).columns.keys()
    count = 0
    for order in ("ASC", "DESC"):
        for row in _rows_until_damage(source, table, names, order):
            marks = ", ".join("?" * len(names))
            statement = f"INSERT OR IGNORE INTO {table} ({', '.join(names)}) VALUES ({marks})"
            with suppress(sqlite3.IntegrityError):
                count += target.execute(statement, list(map(_plain, names, row))).rowcount
    return count


def _plain(name: str, value: object) -> object:
    """Text came as bytes, so that text which is none stops nothing."""
    if isinstance(value, bytes) and name != _BINARY:
        with suppress(UnicodeDecodeError):
            return value.decode()
    return value


def _rows_until_damage(
    source: sqlite3.Connection, table: str, names: Iterable[str], order: str
) -> Iterator[tuple[Any, ...]]:
    with suppress(*BROKEN):
        yield from source.execute(f"SELECT {', '.join(names)} FROM {table} ORDER BY rowid {order}")


def take_out(
    connection: Connection, damaged: Iterable[tuple[str, Row[Any]]], record: Path
) -> list[str]:
    """Take damaged rows out of the database into a file of JSON lines; a sentence for each.

    Rows of matches are none of these: with them everything said of the match would go. With an
    entry of the log goes what undoes it or puts it back: without it they mean nothing.
    """
    said: list[str] = []
    for table, row in damaged:
        rows = _with_followers(connection, row) if table == ENTRY.name else [row]
        with record.open("a", encoding="utf-8") as file:
            file.writelines(json.dumps(_shown(table, one)) + "\n" for one in rows)
        for one in rows:
            where, key = _key_of(table, one)
            connection.execute(text(f"DELETE FROM {table} WHERE {where}"), key)
            said.append(f"taken out of the table '{table}': {_named(table, one)}.")
    return said


def _with_followers(connection: Connection, row: Row[Any]) -> list[Row[Any]]:
    """What undoes or puts back an entry, the newest first, then the entry."""
    found, look = [row], [row.id]
    while look:
        query = text("SELECT * FROM entry WHERE undoes = :id OR redoes = :id")
        for one in connection.execute(query, {"id": look.pop()}):
            found.append(one)
            look.append(one.id)
    return found[::-1]


def _key_of(table: str, row: Row[Any]) -> tuple[str, dict[str, Any]]:
    if table == "analysis":
        return "match_id = :match AND version = :version", {
            "match": row.match_id,
            "version": row.version,
        }
    return "id = :id", {"id": row.id}


def _named(table: str, row: Row[Any]) -> str:
    if table == "analysis":
        return f"match {row.match_id}, analysis {row.version}"
    return f"match {row.match_id}, row {row.id}"


def _shown(table: str, row: Row[Any]) -> dict[str, object]:
    values = {
        name: base64.b64encode(value).decode() if isinstance(value, bytes) else value
        for name, value in row._mapping.items()
    }
    return {"table": table, **values}
