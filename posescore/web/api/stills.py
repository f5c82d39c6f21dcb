"""Both athletes in single frames, with skeletons on them, for the evidence beside a proposal."""

from __future__ import annotations

from threading import Lock
from typing import TYPE_CHECKING, Annotated, Final

from fastapi import APIRouter, Query
from fastapi.responses import Response
from pydantic import BaseModel, Field

from posescore.errors import PoseScoreError
from posescore.footage.atomic import write_whole
from posescore.holds.check import BodyPart
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.store.recent import Recent
from posescore.terms import Athlete

if TYPE_CHECKING:
    from posescore.export.shots import Shots

STILL_WIDTH_PX: Final = 480
"""Sharp at a third of the side of the page on a screen of double density."""
WIDEST_PX: Final = 1920
THUMBNAIL: Final = "thumbnail.jpg"
THUMBNAIL_WIDTH_PX: Final = 400
THUMBNAIL_AT: Final = 0.4
"""Of the footage: by then the two are at it, and nobody has left."""
_MATCHES_KEPT: Final = 2
_STILLS_KEPT: Final = 200
"""About 6 MB: every still of one match, so that going back and forth costs nothing."""


class StillQuery(BaseModel):
    """What a still shows: the pair, a ``part`` of one ``athlete``, or the ``whole`` picture."""

    opinion: str = ""
    skeletons: bool = True
    part: BodyPart | None = None
    athlete: Athlete | None = None
    whole: bool = False
    width: int = Field(default=STILL_WIDTH_PX, ge=120, le=WIDEST_PX)

    @property
    def cut(self) -> Cut:
        """The part of the picture."""
        return (self.whole, self.part, self.athlete, self.width)


Cut = tuple[bool, BodyPart | None, Athlete | None, int]
_Source = tuple[int, int, tuple[object, ...], bool]


def still_router(library: Library) -> APIRouter:
    """The endpoint for stills."""
    router = APIRouter(prefix="/matches/{match_id}")
    stills = Stills(library)

    @router.get("/stills/{frame_index}", response_class=Response, summary="One frame as a picture")
    def still(match_id: int, frame_index: int, asked: Annotated[StillQuery, Query()]) -> Response:
        """JPEG of one frame: the pair, a part of one body, or all of it."""
        picture = stills.jpeg(match_id, frame_index, asked)
        return Response(picture, media_type="image/jpeg", headers={"Cache-Control": "no-store"})

    @router.get(
        "/thumbnail", response_class=Response, summary="A small picture of a match",
        responses={204: {"description": "There is no picture to know it by."}},
    )  # fmt: skip
    def thumbnail(match_id: int) -> Response:
        """JPEG of one frame of an analysed match, to know it by; 204 where there is none."""
        picture = stills.thumbnail(match_id)
        if picture is None:
            return Response(status_code=204)
        return Response(picture, media_type="image/jpeg", headers={"Cache-Control": "no-cache"})

    return router


class Stills:
    """Takes stills and keeps the last ones. Safe from several threads."""

    def __init__(self, library: Library) -> None:
        self._library = library
        self._shots: Recent[_Source, Shots] = Recent(_MATCHES_KEPT)
        self._jpegs: Recent[tuple[_Source, int, Cut], bytes] = Recent(_STILLS_KEPT)
        self._lock = Lock()

    def jpeg(self, match_id: int, frame_index: int, asked: StillQuery) -> bytes:
        """One frame as JPEG, with the athletes as that opinion has them.

        Raises
        ------
        NotFoundError
            When the match or its footage is not there.
        FootageError
            When the footage has no such frame.
        """
        review = self._library.review(match_id, asked.opinion)
        source = (match_id, review.analysis_version, review.swaps, asked.skeletons)
        key = (source, frame_index, asked.cut)
        # One decoder at a time: a page asks for three stills at once, and other requests go first.
        with self._lock:
            known = self._jpegs.get(key)
            if known is not None:
                return known
            shots = self._shots.get(source) or self._shots.put(
                source, self._opened(source, asked.opinion)
            )
            if asked.whole:
                made, _ = shots.jpeg(frame_index, asked.width)
            else:
                made = shots.close_up(frame_index, asked.width, asked.part, asked.athlete)
            return self._jpegs.put(key, made)

    def thumbnail(self, match_id: int) -> bytes | None:
        """One frame of a match; kept beside it, so that a long list opens no footage twice."""
        match = self._library.match(match_id)
        kept = match.folder / THUMBNAIL
        if kept.is_file():
            return kept.read_bytes()
        if match.analysis_version is None:
            return None
        with self._lock:
            try:
                made = self._taken(match)
            except PoseScoreError:
                return None
        if not self._library.read_only:
            write_whole(kept, made)
        return made

    def _taken(self, match: Match) -> bytes:
        from posescore.export.shots import Showing, shots_of

        review = self._library.review(match.id)
        shots = shots_of(self._library, match, review, Showing(skeletons=False), quick=True)
        frame_index = int(THUMBNAIL_AT * (len(shots.clock) - 1))
        return shots.jpeg(frame_index, THUMBNAIL_WIDTH_PX)[0]

    def _opened(self, source: _Source, opinion: str) -> Shots:
        from posescore.export.shots import Showing, shots_of

        match_id, _, _, skeletons = source
        match, review = self._library.match(match_id), self._library.review(match_id, opinion)
        return shots_of(self._library, match, review, Showing(skeletons=skeletons), quick=True)
