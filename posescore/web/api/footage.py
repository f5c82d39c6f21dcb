"""Footage: played in the browser, looked for on this computer, sent from another one."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Final

from fastapi import APIRouter, Body, Request
from fastapi.responses import FileResponse, JSONResponse, Response
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect

from posescore.errors import InputError, NotFoundError, StorageError
from posescore.library.adding import Arrivals, videos_in
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.store.plain import utf8
from posescore.library.store.storage import sentences
from posescore.web.api.schemas import Out
from posescore.web.api.views import fields_of
from posescore.web.guard import is_loopback

PIECE_BYTES: Final = 4 * 2**20
"""What is sent goes to the disk in pieces of this size; so much is held in memory at most."""
MEDIA_TYPES: Final = {
    ".mp4": "video/mp4",
    ".m4v": "video/mp4",
    ".mov": "video/mp4",
    ".webm": "video/webm",
    ".mkv": "video/x-matroska",
}
"""Browsers play H.264 in a QuickTime box when it is called MP4, and refuse it by its own name."""
_RANGE: Final = re.compile(r"(\d*)-(\d*)")


class ScanIn(BaseModel):
    """A folder, or a file, on this computer."""

    path: str = Field(max_length=4000)


class FoundOut(Out):
    """A video that was found; ``match_id`` where it is in the library already."""

    path: str
    name: str
    size_bytes: int
    made_on: date
    match_id: int | None


class ScanOut(BaseModel):
    """Videos that were found; ``more`` where there were too many to list."""

    videos: list[FoundOut]
    more: bool


class AnnounceIn(BaseModel):
    """A file that is to be sent."""

    name: str = Field(max_length=500)
    size_bytes: int = Field(ge=0)


class SendingOut(BaseModel):
    """Under which key to send a file, and how much of it is here."""

    key: str
    size_bytes: int


def footage_router(library: Library, arrivals: Arrivals) -> APIRouter:
    """The endpoints under ``/footage``, and the footage of a match."""
    router = APIRouter()

    def footage(match_id: int, request: Request) -> Response:
        """The footage as a browser can play it; ranges are served."""
        return footage_response(footage_of(library.match(match_id)), request)

    add: Callable[..., Any] = router.add_api_route
    path = "/matches/{match_id}/footage"
    add(path, footage, response_class=Response, summary="The footage of a match")
    add(path, footage, methods=["HEAD"], include_in_schema=False)

    @router.post("/footage/scan", summary="Videos in a folder of this computer")
    def scan(where: Annotated[ScanIn, Body()], request: Request) -> ScanOut:
        """Videos in a folder of this computer and in the folders below; nothing is added yet."""
        check_asks_from_here(request)
        found, more = videos_in(library, where.path)
        videos = [
            {
                **fields_of(one), "path": utf8(str(one.path)), "name": utf8(one.path.name),
                "made_on": date.fromtimestamp(one.path.stat().st_mtime),
            }
            for one in found
        ]  # fmt: skip
        return ScanOut.model_validate({"videos": videos, "more": more})

    _add_sending(router, arrivals)
    return router


def _add_sending(router: APIRouter, arrivals: Arrivals) -> None:
    @router.post("/footage", summary="Announce a file to send")
    def announce(file: Annotated[AnnounceIn, Body()]) -> SendingOut:
        """Ask whether a file can be taken before it is sent."""
        return SendingOut(key=arrivals.announce(file.name, file.size_bytes), size_bytes=0)

    @router.put("/footage/{key}", summary="Send the announced file")
    async def receive(key: str, request: Request) -> SendingOut:
        """The bytes of an announced file as the body; they go to the disk as they come."""
        expected = int(request.headers.get("content-length") or 0)
        try:
            size = await _receive(arrivals, key, request)
        except (ClientDisconnect, HTTPException, InputError, StorageError):
            arrivals.forget(key)
            raise
        if expected and size != expected:
            arrivals.forget(key)
            raise InputError("The file came only in part: send it again.")
        return SendingOut(key=key, size_bytes=size)

    @router.delete("/footage/{key}", summary="Do not keep it", status_code=204)
    def forget(key: str) -> None:
        """Throw away a file that was sent and not added."""
        arrivals.forget(key)


async def _receive(arrivals: Arrivals, key: str, request: Request) -> int:
    size = 0
    with sentences(arrivals.path(key)), arrivals.open_to_write(key) as file:
        piece = bytearray()
        async for part in request.stream():
            piece += part
            arrivals.check_size(key, size + len(piece))
            if len(piece) >= PIECE_BYTES:
                size += await asyncio.to_thread(file.write, piece)
                piece = bytearray()
        size += await asyncio.to_thread(file.write, piece)
    return size


def asks_from_here(request: Request) -> bool:
    """True where the browser runs on this computer, so that its paths are this computer's."""
    return request.client is not None and is_loopback(request.client.host)


def check_asks_from_here(request: Request) -> None:
    """Refuse what only a browser on this computer may ask.

    Raises
    ------
    InputError
        One sentence.
    """
    if not asks_from_here(request):
        raise InputError(
            "Folders can be named only on the computer that PoseScore runs on: drop the files "
            "here instead."
        )


def footage_of(match: Match) -> Path:
    """The file that a browser can play: the copy made for it where there is one, else the original.

    Raises
    ------
    NotFoundError
        When neither is there any more.
    """
    if match.proxy_path.is_file():
        return match.proxy_path
    original = Path(match.info.footage.path) if match.info.footage else None
    if original is None:
        raise NotFoundError(f"match {match.id} was added without footage.")
    if not original.is_file():
        raise NotFoundError(f"{original}: the footage is gone; put it back and reload the page.")
    return original


def footage_response(path: Path, request: Request) -> Response:
    """The file, or the part that was asked for; 416 where that part does not exist."""
    asked = request.headers.get("range")
    size = path.stat().st_size
    if asked is not None and not _is_possible(asked, size):
        return JSONResponse(
            {"error": f"Range {asked!r} is not part of this footage of {size} bytes."},
            416,
            {"Content-Range": f"bytes */{size}"},
        )
    media_type = MEDIA_TYPES.get(path.suffix.lower())
    # It may change when the match is analysed again: ask each time, answer 206 from the same file.
    return FileResponse(path, media_type=media_type, headers={"Cache-Control": "no-cache"})


def _is_possible(asked: str, size: int) -> bool:
    unit, _, ranges = asked.partition("=")
    if unit.strip().lower() != "bytes":
        return False
    return all(_is_range(part.strip(), size) for part in ranges.split(","))


def _is_range(part: str, size: int) -> bool:
    found = _RANGE.fullmatch(part)
    if found is None or part == "-":
        return False
    start, end = found.groups()
    if not start:
        return int(end) > 0 and size > 0
    return int(start) < size and (not end or int(start) <= int(end))
