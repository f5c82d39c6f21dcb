"""Both athletes in single frames, with skeletons on them, for the evidence beside a proposal."""

from __future__ import annotations

from threading import Lock
from typing import TYPE_CHECKING, Final

from fastapi import APIRouter
from fastapi.responses import Response

from posescore.library.library import Library
from posescore.library.store.recent import Recent

if TYPE_CHECKING:
    from posescore.export.shots import Shots

STILL_WIDTH_PX: Final = 480
"""Sharp at a third of the side of the page on a screen of double density."""
_MATCHES_KEPT: Final = 2
_STILLS_KEPT: Final = 200
"""About 6 MB: every still of one match, so that going back and forth costs nothing."""

_Source = tuple[int, int, tuple[object, ...], bool]


def still_router(library: Library) -> APIRouter:
    """The endpoint for stills."""
    router = APIRouter(prefix="/matches/{match_id}")
    stills = Stills(library)

    @router.get("/stills/{frame_index}", response_class=Response, summary="One frame as a picture")
    def still(
        match_id: int, frame_index: int, opinion: str = "", skeletons: bool = True
    ) -> Response:
        """JPEG of the pair in one frame, at most 480 px wide, with both skeletons or without."""
        picture = stills.jpeg(match_id, frame_index, opinion, skeletons)
        return Response(picture, media_type="image/jpeg", headers={"Cache-Control": "no-store"})

    return router


class Stills:
    """Takes stills and keeps the last ones. Safe from several threads."""

    def __init__(self, library: Library) -> None:
        self._library = library
        self._shots: Recent[_Source, Shots] = Recent(_MATCHES_KEPT)
        self._jpegs: Recent[tuple[_Source, int], bytes] = Recent(_STILLS_KEPT)
        self._lock = Lock()

    def jpeg(self, match_id: int, frame_index: int, opinion: str, skeletons: bool) -> bytes:
        """One frame as JPEG, with the athletes as that opinion has them.

        Raises
        ------
        NotFoundError
            When the match or its footage is not there.
        FootageError
            When the footage has no such frame.
        """
        review = self._library.review(match_id, opinion)
        source = (match_id, review.analysis_version, review.swaps, skeletons)
        # One decoder at a time: a page asks for three stills at once, and other requests go first.
        with self._lock:
            known = self._jpegs.get((source, frame_index))
            if known is not None:
                return known
            shots = self._shots.get(source) or self._shots.put(
                source, self._opened(source, opinion)
            )
            made = shots.close_up(frame_index, STILL_WIDTH_PX)
            return self._jpegs.put((source, frame_index), made)

    def _opened(self, source: _Source, opinion: str) -> Shots:
        from posescore.export.shots import Showing, shots_of

        match_id, _, _, skeletons = source
        match, review = self._library.match(match_id), self._library.review(match_id, opinion)
        return shots_of(self._library, match, review, Showing(skeletons=skeletons), quick=True)
