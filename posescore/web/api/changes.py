"""What others do to a match: its history, and news of it as it comes (server-sent events)."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from datetime import datetime
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import StreamingResponse
from pydantic import BaseModel

from posescore.library.library import Library
from posescore.library.review.entries import Entry, did
from posescore.library.review.happened import Happening, where
from posescore.terms import Athlete
from posescore.web.api.schemas import Out
from posescore.words import WORDS, clock_words, with_names

EVERY_S: Final = 0.4
"""Other programs write to the library too, so the log is asked; that costs one number."""
ALIVE_EVERY_S: Final = 15.0
"""A comment so often: a proxy or a browser that waits in silence gives up."""


class HappeningOut(Out):
    """One entry of the log: who, when, what, and what stood before and after.

    ``in_force`` is null for what took back or put back another entry, ``about``.
    """

    id: int
    about: int
    author: str
    made_at: datetime
    what: str
    before: str
    after: str
    time_s: float | None
    in_force: bool | None
    taken_back_by: str


class HistoryOut(BaseModel):
    """The newest entries first; ``older`` is where the next page begins, null at the end."""

    entries: list[HappeningOut]
    older: int | None


class NewsOut(BaseModel):
    """What was done since: the newest entry, who did it and what, in a few words."""

    last_entry_id: int
    author: str
    words: str


def change_router(library: Library) -> APIRouter:
    """The endpoints for what happened to a match."""
    router = APIRouter(prefix="/matches/{match_id}")

    @router.get("/history", summary="Who did what to a match")
    def history(match_id: int, opinion: str = "", before: int | None = None) -> HistoryOut:
        """Entries with what stood before and after each; any of them can be taken back."""
        found = library.history(match_id, opinion, before)
        names = library.match(match_id).info.names
        oldest = found[-1].entry.id if found else 0
        first = next((entry.id for entry in library.log(match_id, opinion)), 0)
        return HistoryOut(
            entries=[_happening(each, names) for each in found],
            older=oldest if oldest > first else None,
        )

    @router.get("/news", summary="News of a match as it comes", response_class=StreamingResponse)
    async def news(
        match_id: int, request: Request, opinion: str = "", after: int = 0
    ) -> StreamingResponse:
        """Server-sent events, one whenever the log has grown since ``after``."""
        await asyncio.to_thread(library.match, match_id)  # refused at once where there is none
        return StreamingResponse(
            _news(library, match_id, opinion, after, request),
            media_type="text/event-stream",
            headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
        )

    return router


def _happening(each: Happening, names: Mapping[Athlete, str]) -> HappeningOut:
    entry = each.entry
    return HappeningOut(
        id=entry.id,
        about=each.about.id,
        author=entry.author,
        made_at=entry.made_at,
        what=_what(entry, each.about),
        before=with_names(each.before, names),
        after=with_names(each.after, names),
        time_s=each.time_s,
        in_force=each.in_force,
        taken_back_by=each.taken_back_by,
    )


def _what(entry: Entry, about: Entry) -> str:
    if entry.edit is not None:
        return did(entry)
    return str(WORDS["history"][entry.kind].format(what=did(about), who=about.author))


async def _news(
    library: Library, match_id: int, opinion: str, after: int, request: Request
) -> AsyncIterator[str]:
    yield "retry: 1000\n\n"
    silent_s = 0.0
    while not (request.app.state.leaving or await request.is_disconnected()):
        newest = await asyncio.to_thread(library.last_entry_id, match_id, opinion)
        if newest > after:
            told = await asyncio.to_thread(_told, library, match_id, opinion, newest)
            after, silent_s = newest, 0.0
            yield f"id: {newest}\ndata: {told}\n\n"
        elif silent_s >= ALIVE_EVERY_S:
            silent_s = 0.0
            yield ": still here\n\n"
        await asyncio.sleep(EVERY_S)
        silent_s += EVERY_S


def _told(library: Library, match_id: int, opinion: str, newest: int) -> str:
    log = {entry.id: entry for entry in library.log(match_id, opinion)}
    entry = log[newest]
    about = log[entry.undoes or entry.redoes or newest]
    time_s = where(about)
    at = "" if time_s is None else f", {clock_words(time_s)}"
    said = NewsOut(last_entry_id=newest, author=entry.author, words=f"{_what(entry, about)}{at}")
    return json.dumps(said.model_dump())
