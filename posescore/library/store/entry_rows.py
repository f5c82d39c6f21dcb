"""The log of what people did, in the database. Rows are added and read, nothing else."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from sqlalchemy import Connection, Row, func, insert, select

from posescore.library.review.edits import Edit
from posescore.library.review.entries import REDO, UNDO, Effect, Entry, NewEntry
from posescore.library.store.damage import json_of, reading_row, text_of
from posescore.library.store.match_rows import moment_of, now_text, touch_match
from posescore.library.store.plain import utf8
from posescore.library.store.schema import ENTRY


def insert_entry(connection: Connection, entry: NewEntry) -> Entry:
    """Add an entry; it comes back with its id and its moment."""
    moment = now_text()
    payload = {}
    if entry.edit is not None:
        payload = {"edit": entry.edit.to_json(), "effect": entry.effect.to_json()}
    values = {
        "match_id": entry.match_id,
        "opinion": utf8(entry.opinion),
        "author": utf8(entry.author.strip()),
        "made_at": moment,
        "kind": entry.kind,
        "payload": json.dumps(payload, allow_nan=False),
        "undoes": entry.undoes,
        "redoes": entry.redoes,
        "analysis_version": entry.analysis_version,
    }
    entry_id = int(connection.execute(insert(ENTRY).values(**values)).lastrowid)
    touch_match(connection, entry.match_id)
    kept = connection.execute(select(ENTRY).where(ENTRY.c.id == entry_id)).one()
    return entry_of(kept)


def entry_of(row: Row[Any]) -> Entry:
    """The entry that a row stands for."""
    with reading_row(row.match_id, "entry"):
        payload = json_of(row.payload, "payload")
        if bool(payload) == (row.kind in (UNDO, REDO)):
            raise ValueError(f"entry {row.id}: {row.kind} does not go with what it holds")
        return Entry(
            id=row.id,
            match_id=row.match_id,
            author=text_of(row.author, "author"),
            made_at=moment_of(row.made_at),
            kind=text_of(row.kind, "kind"),
            edit=Edit.from_json(payload["edit"]) if payload else None,
            effect=Effect.from_json(payload["effect"]) if payload else Effect(),
            undoes=row.undoes,
            redoes=row.redoes,
            opinion=text_of(row.opinion, "opinion"),
            analysis_version=int(row.analysis_version),
        )


def rows_of(
    connection: Connection, match_id: int, opinion: str | None, after_id: int = 0
) -> Iterable[Row[Any]]:
    """Rows of a match's log, oldest first; of one opinion, or of all (None)."""
    query = select(ENTRY).where(ENTRY.c.match_id == match_id, ENTRY.c.id > after_id)
    if opinion is not None:
        query = query.where(ENTRY.c.opinion == opinion)
    return connection.execute(query.order_by(ENTRY.c.id))


def opinions_of(connection: Connection, match_id: int) -> list[str]:
    """Names of the second opinions on a match."""
    query = select(ENTRY.c.opinion).where(ENTRY.c.match_id == match_id, ENTRY.c.opinion != "")
    return sorted(connection.execute(query.distinct()).scalars())


def last_entry_id(connection: Connection, match_id: int, opinion: str) -> int:
    """The newest entry of one opinion; 0 where there is none."""
    query = select(func.max(ENTRY.c.id)).where(
        ENTRY.c.match_id == match_id, ENTRY.c.opinion == opinion
    )
    return int(connection.execute(query).scalar() or 0)
