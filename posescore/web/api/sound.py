"""The sound of a match's footage, beside the picture, which a copy for browsers has without it."""

from __future__ import annotations

import shutil
import tempfile
import weakref
from pathlib import Path
from threading import Lock

from fastapi import APIRouter, Request
from fastapi.responses import Response

from posescore.errors import NotFoundError
from posescore.footage.reading import Footage
from posescore.footage.sound import SUFFIX, write_sound
from posescore.library.library import Library
from posescore.web.api.footage import footage_response


def sound_router(library: Library) -> APIRouter:
    """The endpoint for sound."""
    router = APIRouter(prefix="/matches/{match_id}")
    sounds = Sounds(library)

    @router.get(
        "/sound", response_class=Response, summary="The sound of a match's footage",
        responses={204: {"description": "The footage has no sound."}},
    )  # fmt: skip
    def sound(match_id: int, request: Request) -> Response:
        """AAC on the clock of the frames; ranges are served. 204 where the footage has none."""
        path = sounds.of(match_id)
        return Response(status_code=204) if path is None else footage_response(path, request)

    return router


class Sounds:
    """Sounds that were asked for, in a passing folder. Safe from several threads."""

    def __init__(self, library: Library) -> None:
        self._library = library
        self._folder: Path | None = None
        self._lock = Lock()

    def of(self, match_id: int) -> Path | None:
        """The file; None where the footage is silent, NotFoundError where it is gone."""
        known = self._library.match(match_id).info.footage
        original = Path(known.path) if known is not None else None
        if known is None or original is None or not original.is_file():
            raise NotFoundError(f"match {match_id}: the footage is not there, and so no sound.")
        with self._lock:
            path = self._place() / f"{match_id}-{known.sha256[:16]}{SUFFIX}"
            starts_at_s = 0.0 if path.is_file() else Footage(original).info.starts_at_s
            if not path.is_file() and not write_sound(original, starts_at_s, path):
                return None
        return path

    def _place(self) -> Path:
        """The passing folder, made for the first sound; it goes with the server."""
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="posescore-"))
            weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)
        return self._folder
