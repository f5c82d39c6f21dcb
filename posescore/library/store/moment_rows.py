"""Moments that people keep, in the database: a stretch of a match, a remark, its sets."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, delete, insert, select

from posescore.errors import NotFoundError
from posescore.library.store.damage import json_of, reading_row, text_of
from posescore.library.store.match_rows import moment_of, now_text
from posescore.library.store.plain import utf8
from posescore.library.store.schema import MOMENT


@dataclass(frozen=True, slots=True)
class Moment:
    """A stretch of a match that somebody kept.

    Parameters
    ----------
    sets
        Names of the sets that it is in; a set plays its moments one after the other.
    remark
        What the one who kept it wrote; may be empty.
    """

    id: int
    match_id: int
    start_s: float
    end_s: float
    sets: tuple[str, ...]
    remark: str
    author: str
    made_at: datetime


def insert_moment(
    connection: Connection, match_id: int, stretch_s: tuple[float, float], sets: Sequence[str],
    remark: str, author: str,
) -> int:  # fmt: skip
    """Keep a moment; its number."""
    values = {
        "match_id": match_id, "start_s": stretch_s[0], "end_s": stretch_s[1],
        "sets": json.dumps([utf8(name) for name in sets]), "remark": utf8(remark),
        "author": utf8(author), "made_at": now_text(),
    }  # fmt: skip
    return int(connection.execute(insert(MOMENT).values(**values)).lastrowid)


def delete_moment(connection: Connection, moment_id: int) -> None:
    """Forget a moment; NotFoundError where there is none."""
    if not connection.execute(delete(MOMENT).where(MOMENT.c.id == moment_id)).rowcount:
        raise NotFoundError(f"moment {moment_id} is not kept any more.")


def list_moments(connection: Connection) -> list[Moment]:
    """All of them, in the order in which they were kept."""
    return [kept_of(row) for row in connection.execute(select(MOMENT).order_by(MOMENT.c.id))]


def kept_of(row: Row[Any]) -> Moment:
    """The moment of a row; DamagedRowError where the row does not hold one."""
    with reading_row(row.match_id, "moment"):
        sets = json_of(row.sets, "sets")
        if not isinstance(sets, list):
            raise TypeError("sets: is no list")
        return Moment(
            row.id, row.match_id, float(row.start_s), float(row.end_s),
            tuple(text_of(name, "sets") for name in sets), text_of(row.remark, "remark"),
            text_of(row.author, "author"), moment_of(row.made_at),
        )  # fmt: skip
