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
from posescore.library.store.damage import DamagedRowError, reading_row, text_of
from posescore.library.store.plain import LARGEST_ID, from_plain, to_plain, utf8
from posescore.library.store.schema import ANALYSIS, ENTRY, FILE_NAME, JOB, MATCH

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


def values_of(info: MatchInfo) -> dict[str, Any]:
    """The columns of a match that hold what people say of it."""
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
    row = insert(MATCH).values(**values_of(info), added_at=moment, changed_at=moment)
    return int(connection.execute(row).lastrowid)


def change_match(connection: Connection, match_id: int, info: MatchInfo) -> None:
    """Replace what people say of a match."""
    values = {**values_of(info), "changed_at": now_text()}
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
    kept = set(connection.execute(select(MATCH.c.id)).scalars())
    return set(range(1, given_ids(connection) + 1)) - kept


def given_ids(connection: Connection) -> int:
    """How many numbers this database gave to matches, those deleted since included."""
    given = connection.execute(text("SELECT seq FROM sqlite_sequence WHERE name = 'match'"))
    with reading_row("any", "sqlite_sequence"):
        return int(given.scalar() or 0)


def _no_match(match_id: object) -> NotFoundError:
    return NotFoundError(f"match {match_id}: there is none of that number or title in the library.")


def match_of(row: Row[Any], library: Path) -> Match:
    """The match that a row stands for; DamagedRowError where it cannot be read."""
    with reading_row(row.id, "match"):
        return Match(
            row.id,
            from_plain(MatchInfo, json.loads(text_of(row.info, "info")), "info"),
            folder_of(library, row.id),
            moment_of(row.added_at),
            moment_of(row.changed_at),
            None if row.newest is None else int(row.newest),
            row.entries,
        )


def moment_of(kept: str) -> datetime:
    """The moment that a kept text names, with its zone."""
    moment = datetime.fromisoformat(kept)
    if moment.tzinfo is None:
        raise ValueError("a moment without its zone")
    return moment


def _match_or_damage(row: Row[Any], library: Path) -> Match:
    """The match, or a stand-in that says what is damaged: one bad row hides no other match."""
    try:
        return match_of(row, library)
    except DamagedRowError as error:
        damage = str(error.of_library(library / FILE_NAME))
        then, number = datetime.fromtimestamp(0, UTC), int(row.id)
        info = MatchInfo(f"Match {number}: damaged")
        return Match(number, info, folder_of(library, number), then, then, damage=damage)


def read_match(connection: Connection, library: Path, match_id: int) -> Match:
    """One match; NotFoundError where there is none."""
    if not 0 < match_id <= LARGEST_ID:
        raise _no_match(match_id)
    row = connection.execute(_SELECT.where(MATCH.c.id == match_id)).one_or_none()
    if row is None:
        raise _no_match(match_id)
    return match_of(row, library)


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
    return None if row is None else match_of(row, library)


def list_matches(
    connection: Connection,
    library: Path,
    search: str = "",
    sort: SortKey = "added",
    descending: bool = True,
) -> list[Match]:
    """Matches that hold every word of ``search``; what lacks the sorted field comes last.

    A match whose row cannot be read is among them, with what is damaged in it.
    """
    query = _SELECT
    for word in utf8(search).casefold().split():
        query = query.where(func.instr(MATCH.c.search, word) > 0)
    rows = connection.execute(query.order_by(MATCH.c.id))
    found = [_match_or_damage(row, library) for row in rows]
    key = _SORT[sort]
    known = [match for match in found if key(match)]
    known.sort(key=key, reverse=descending)
    return known + [match for match in found if not key(match)]
