"""Matches in the database."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Literal

from sqlalchemy import Connection, Row, delete, func, insert, select, text, update

from posescore.errors import NotFoundError
from posescore.library.match import Match, MatchInfo
from posescore.library.store.plain import LARGEST_ID, from_plain, to_plain, utf8
from posescore.library.store.schema import ANALYSIS, ENTRY, JOB, MATCH

SortKey = Literal["added", "changed", "title", "held_on", "event"]

_NEWEST: Final = (
    select(func.max(ANALYSIS.c.version)).where(ANALYSIS.c.match_id == MATCH.c.id).scalar_subquery()
)
_ENTRIES: Final = (
    select(func.count()).select_from(ENTRY).where(ENTRY.c.match_id == MATCH.c.id).scalar_subquery()
)
_SELECT: Final = select(MATCH, _NEWEST.label("newest"), _ENTRIES.label("entries"))


_SORT: Final[Mapping[SortKey, Callable[[Match], Any]]] = {
    "added": lambda match: match.id,
    "changed": lambda match: match.changed_at,
    "title": lambda match: match.info.title.casefold(),
    "event": lambda match: match.info.event.casefold(),
    "held_on": lambda match: match.info.held_on,
}


def now_text() -> str:
    """The present, UTC, as the database keeps it."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def folder_of(library: Path, match_id: int) -> Path:
    """Where everything made from a match lies."""
    return library / "matches" / str(match_id)


def _values(info: MatchInfo) -> dict[str, Any]:
    both = (info.athlete_a, info.athlete_b)
    words = [info.title, info.event, info.mat, info.note, *(info.division or {}).values()]
    words += [word for who in both for word in (who.name, who.gi_colour, who.belt, who.team)]
    words += [str(info.held_on or "")]
    return {
        "info": json.dumps(to_plain(info)),
        "search": utf8("\n".join(words)).casefold(),
        "footage_sha256": info.footage.sha256 if info.footage else None,
    }


def insert_match(connection: Connection, info: MatchInfo) -> int:
    """Add a row; the number of the new match."""
    moment = now_text()
    row = insert(MATCH).values(**_values(info), added_at=moment, changed_at=moment)
    return int(connection.execute(row).lastrowid)


def change_match(connection: Connection, match_id: int, info: MatchInfo) -> None:
    """Replace what people say of a match."""
    values = {**_values(info), "changed_at": now_text()}
    found = connection.execute(update(MATCH).where(MATCH.c.id == match_id).values(**values))
    if not found.rowcount:
        raise _no_match(match_id)


def touch_match(connection: Connection, match_id: int) -> None:
    """Note that something about the match changed just now."""
    connection.execute(update(MATCH).where(MATCH.c.id == match_id).values(changed_at=now_text()))


def remove_match(connection: Connection, match_id: int) -> None:
    """Delete a match with its analyses, its log and its jobs."""
    if not connection.execute(delete(MATCH).where(MATCH.c.id == match_id)).rowcount:
        raise _no_match(match_id)
    connection.execute(delete(JOB).where(JOB.c.match_id == match_id))


def deleted_ids(connection: Connection) -> set[int]:
    """Numbers this database once gave to matches that are no more."""
    given = connection.execute(text("SELECT seq FROM sqlite_sequence WHERE name = 'match'"))
    kept = set(connection.execute(select(MATCH.c.id)).scalars())
    return set(range(1, int(given.scalar() or 0) + 1)) - kept


def _no_match(match_id: object) -> NotFoundError:
    return NotFoundError(f"match {match_id}: there is none of that number or title in the library.")


def _match(row: Row[Any], library: Path) -> Match:
    return Match(
        row.id,
        from_plain(MatchInfo, json.loads(row.info), f"match {row.id}"),
        folder_of(library, row.id),
        datetime.fromisoformat(row.added_at),
        datetime.fromisoformat(row.changed_at),
        row.newest,
        row.entries,
    )


def read_match(connection: Connection, library: Path, match_id: int) -> Match:
    """One match; NotFoundError where there is none."""
    if not 0 < match_id <= LARGEST_ID:
        raise _no_match(match_id)
    row = connection.execute(_SELECT.where(MATCH.c.id == match_id)).one_or_none()
    if row is None:
        raise _no_match(match_id)
    return _match(row, library)


def find_match(connection: Connection, library: Path, words: str) -> Match:
    """The match of that number, or the one whose title is or holds that text."""
    wanted = words.strip()
    if wanted.isdecimal():
        return read_match(connection, library, int(wanted))
    held = [
        match
        for match in list_matches(connection, library, wanted)
        if wanted.casefold() in match.info.title.casefold()
    ]
    exact = [match for match in held if match.info.title.casefold() == wanted.casefold()]
    found = exact or held
    if not found:
        raise _no_match(repr(wanted))
    if len(found) > 1:
        numbers = ", ".join(str(match.id) for match in found[:5])
        raise NotFoundError(f"match {wanted!r}: several have that title; name one of {numbers}.")
    return found[0]


def match_of_footage(connection: Connection, library: Path, sha256: str) -> Match | None:
    """The newest match of that footage."""
    query = _SELECT.where(MATCH.c.footage_sha256 == sha256).order_by(MATCH.c.id.desc()).limit(1)
    row = connection.execute(query).one_or_none()
    return None if row is None else _match(row, library)


def list_matches(
    connection: Connection,
    library: Path,
    search: str = "",
    sort: SortKey = "added",
    descending: bool = True,
) -> list[Match]:
    """Matches that hold every word of ``search``; what lacks the sorted field comes last."""
    query = _SELECT
    for word in utf8(search).casefold().split():
        query = query.where(func.instr(MATCH.c.search, word) > 0)
    found = [_match(row, library) for row in connection.execute(query.order_by(MATCH.c.id))]
    key = _SORT[sort]
    known = [match for match in found if key(match)]
    known.sort(key=key, reverse=descending)
    return known + [match for match in found if not key(match)]
