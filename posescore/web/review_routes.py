"""What the review page asks besides the review itself: stills."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import Response

from posescore.library.library import Library
from posescore.web.stills import Stills


def review_router(library: Library) -> APIRouter:
    """The endpoints under ``/api/matches/{match_id}`` that show a review."""
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
