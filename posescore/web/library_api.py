"""The API of the library: the list, footage in, details, analyses, matches out."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from threading import Lock
from typing import Annotated, Final

from fastapi import APIRouter, Body, Query, Request
from starlette.requests import ClientDisconnect

from posescore.errors import ConflictError, InputError, StorageError
from posescore.library.adding import (
    VIDEO_SUFFIXES,
    Added,
    Arrivals,
    add_footage,
    is_copy,
    title_of,
    whole_path,
)
from posescore.library.adding import videos_in as library_videos_in
from posescore.library.jobs import JobState
from posescore.library.library import Library
from posescore.library.match import Match, MatchInfo
from posescore.library.review.edits import SetDivision, SetRules
from posescore.library.review.replay import division_of, rules_named
from posescore.library.store.storage import sentences
from posescore.scoring.match_time import Belt
from posescore.scoring.rules import RuleSet
from posescore.web import library_wire as wire
from posescore.web.guard import is_loopback
from posescore.web.listing import line_of, row_out, shelf
from posescore.web.view import job_out
from posescore.web.wire import JobOut

SOMEBODY: Final = "reviewer"
"""Author where nobody gave a name: as on the review page, where the change can be undone."""
PIECE_BYTES: Final = 4 * 2**20
"""What is sent goes to the disk in pieces of this size; so much is held in memory at most."""
LET_GO_WITHIN_S: Final = 12.0


def library_router(library: Library) -> APIRouter:
    """The endpoints over a library."""
    return _Routes(library).router


class _Routes:
    def __init__(self, library: Library) -> None:
        self._library = library
        self._arrivals = Arrivals(library)
        self._adding = Lock()
        self.router = APIRouter()
        add: Callable[..., None] = self.router.add_api_route
        match, file = "/matches/{match_id}", "/footage/{key}"
        add("/library", self.shelf, summary="A page of the list of matches")
        add("/library/choices", self.choices, summary="Rule sets, age classes, belts")
        add("/matches", self.add, methods=["POST"], summary="Add a match")
        add(f"{match}/line", self.line, summary="One match as in the list")
        add(match, self.change, methods=["PATCH"], summary="Change the details of a match")
        add(match, self.delete, methods=["DELETE"], summary="Delete a match", status_code=204)
        add(f"{match}/belongings", self.belongings, summary="What is deleted with a match")
        add(f"{match}/analysis", self.analyse, methods=["POST"], summary="Analyse, or again")
        add("/jobs/{job_id}/stop", self.stop, methods=["POST"], summary="Stop an analysis")
        add("/footage/look", self.look, methods=["POST"], summary="Videos in a folder here")
        add("/footage", self.announce, methods=["POST"], summary="Announce a file to send")
        add(file, self.receive, methods=["PUT"], summary="Send the announced file")
        add(file, self.forget, methods=["DELETE"], summary="Do not keep it", status_code=204)

    def shelf(self, wanted: Annotated[wire.Wanted, Query()]) -> wire.ShelfOut:
        """Matches with where they stand: analyses that run, proposals that wait, points."""
        return shelf(self._library, wanted)

    def line(self, match_id: int) -> wire.RowOut:
        """One match as the list shows it."""
        return self._row(self._library.match(match_id))

    def choices(self, request: Request) -> wire.ChoicesOut:
        """What a match can be scored under; the match times are those of the rule set."""
        return wire.ChoicesOut(
            rules=[_rules_out(name) for name in RuleSet.names()],
            belts=list(Belt),
            suffixes=sorted(VIDEO_SUFFIXES),
            names_paths=_asks_from_here(request),
        )

    def look(self, where: Annotated[wire.LookIn, Body()], request: Request) -> wire.FoundListOut:
        """Videos in a folder of this computer and in the folders below; nothing is added yet."""
        _check_asks_from_here(request)
        found, more = library_videos_in(self._library, where.path)
        return wire.FoundListOut(
            videos=[
                wire.FoundOut(
                    path=str(one.path),
                    name=one.path.name,
                    size_bytes=one.size_bytes,
                    match_id=one.match_id,
                )
                for one in found
            ],
            more=more,
        )

    def announce(self, file: Annotated[wire.AnnounceIn, Body()]) -> wire.AnnouncedOut:
        """Ask whether a file can be taken before it is sent."""
        return wire.AnnouncedOut(key=self._arrivals.announce(file.name, file.size_bytes))

    async def receive(self, key: str, request: Request) -> wire.SentOut:
        """The bytes of an announced file as the body; they go to the disk as they come."""
        expected = int(request.headers.get("content-length") or 0)
        try:
            size = await self._receive(key, request)
        except (ClientDisconnect, StorageError):
            self._arrivals.forget(key)
            raise
        if expected and size != expected:
            self._arrivals.forget(key)
            raise InputError("The file came only in part: send it again.")
        return wire.SentOut(key=key, size_bytes=size)

    async def _receive(self, key: str, request: Request) -> int:
        size = 0
        with sentences(self._arrivals.path(key)), self._arrivals.open_to_write(key) as file:
            piece = bytearray()
            async for part in request.stream():
                piece += part
                if len(piece) >= PIECE_BYTES:
                    size += await asyncio.to_thread(file.write, piece)
                    piece = bytearray()
            size += await asyncio.to_thread(file.write, piece)
        return size

    def forget(self, key: str) -> None:
        """Throw away a file that was sent and not added."""
        self._arrivals.forget(key)

    def add(self, body: Annotated[wire.AddIn, Body()], request: Request) -> wire.AddedOut:
        """Add a match and line up its analysis; footage that is known keeps its match."""
        added = self._add(body, request)
        if not added.known and body.analyse:
            self._library.queue_job(added.match.id)
        title = added.match.info.title
        return wire.AddedOut(match_id=added.match.id, title=title, known=added.known)

    def _add(self, body: wire.AddIn, request: Request) -> Added:
        if bool(body.path) == bool(body.key):
            raise InputError("path: name a file on this computer, or the key of one that was sent.")
        if body.path:
            _check_asks_from_here(request)
            path = whole_path(body.path)
            info = _checked(body.info(title_of(path.name)))
            with self._adding:
                return add_footage(self._library, path, info)
        info = _checked(body.info(title_of(self._arrivals.path(body.key).name)))
        with self._adding:
            return self._arrivals.add(body.key, info)

    def change(self, match_id: int, body: Annotated[wire.ChangeIn, Body()]) -> wire.RowOut:
        """Change what is said of a match.

        Rule set and division of a match that was analysed go into its log, where they can be
        undone.
        """
        library = self._library
        match = library.match(match_id)
        given = _checked(body.info(match.info.title))
        rules, division = match.info.rules, match.info.division
        standing = line_of(library, match).standing
        if standing is None:
            rules, division = given.rules, given.division
        library.update_match(match_id, _with(given, match.info, rules, division))
        if standing is not None:
            author = body.author or SOMEBODY
            if given.rules != standing.rules:
                library.edit(match_id, SetRules(given.rules), author)
            if given.division != standing.division:
                library.edit(match_id, SetDivision(given.division), author)
        return self._row(library.match(match_id))

    def belongings(self, match_id: int) -> wire.BelongingsOut:
        """What goes when the match is deleted, and what stays."""
        match = self._library.match(match_id)
        footage = match.info.footage
        places = [match.folder] + ([self._library.poses_of(footage.sha256)] if footage else [])
        copied = is_copy(self._library, match)
        path = footage.path if footage else ""
        return wire.BelongingsOut(
            analyses=match.analysis_version or 0,
            edits=match.entries,
            made_bytes=sum(_size_of(place) for place in places),
            copied=path if copied else "",
            stays="" if copied else path,
            running=bool(self._library.jobs(match_id, open_only=True)),
        )

    def delete(self, match_id: int) -> None:
        """Delete a match with everything made from it, after stopping its analysis."""
        library = self._library
        for job in library.jobs(match_id, open_only=True):
            library.end_job(job.id, JobState.CANCELLED)
        give_up = time.monotonic() + LET_GO_WITHIN_S
        while library.is_claimed(match_id):
            if time.monotonic() > give_up:
                raise ConflictError(f"match {match_id}: its analysis is still stopping; try again.")
            time.sleep(0.05)
        library.delete_match(match_id)

    def analyse(self, match_id: int, body: Annotated[wire.AnalyseIn, Body()]) -> JobOut:
        """Line up an analysis; what people said of the match stays."""
        job = self._library.queue_job(match_id, {"every_frame": body.every_frame})
        return job_out(job, None)

    def stop(self, job_id: int) -> JobOut:
        """Stop an analysis that waits or runs; one that has ended stays as it is."""
        return job_out(self._library.end_job(job_id, JobState.CANCELLED), None)

    def _row(self, match: Match) -> wire.RowOut:
        queue = list(reversed(self._library.jobs(open_only=True)))
        return row_out(self._library, line_of(self._library, match), queue)


def _checked(info: MatchInfo) -> MatchInfo:
    division_of(rules_named(info.rules), info.division)
    return info


def _with(
    given: MatchInfo, before: MatchInfo, rules: str, division: Mapping[str, str] | None
) -> MatchInfo:
    """What a person wrote, with the footage as it was and the scoring as it shall be kept."""
    return replace(given, rules=rules, division=division, footage=before.footage)


def _size_of(place: Path) -> int:
    return sum(path.stat().st_size for path in place.rglob("*") if path.is_file())


def _rules_out(name: str) -> wire.RuleSetOut:
    rules = rules_named(name)
    ages = [
        wire.AgeClassOut(
            age=age,
            minutes=minutes if isinstance(minutes, int) else None,
            minutes_by_belt={} if isinstance(minutes, int) else dict(minutes),
        )
        for age, minutes in rules.match_times.minutes.items()
    ]
    return wire.RuleSetOut(name=name, title=rules.title, ages=ages)


def _asks_from_here(request: Request) -> bool:
    """True where the browser runs on this computer, so that its paths are this computer's."""
    return request.client is not None and is_loopback(request.client.host)


def _check_asks_from_here(request: Request) -> None:
    if not _asks_from_here(request):
        raise InputError(
            "Folders can be named only on the computer that PoseScore runs on: drop the files "
            "here instead."
        )
