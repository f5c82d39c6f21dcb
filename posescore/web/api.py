"""The JSON API under ``/api``: what the pages use, and what else a person builds on it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Annotated, Any, Final

from fastapi import APIRouter, Body, FastAPI, Query, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, Response
from starlette.exceptions import HTTPException

from posescore import __version__
from posescore.errors import NotFoundError, PoseScoreError
from posescore.library.analysis import Analysis
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import Edit
from posescore.library.review.review import Review
from posescore.library.store.match_rows import SortKey
from posescore.pose.track import PairTrack
from posescore.scoring.rules import RuleSet
from posescore.terms import Position
from posescore.web import wire
from posescore.web.athlete_routes import athlete_router
from posescore.web.edit_body import EditIn
from posescore.web.footage_response import footage_response
from posescore.web.guard import Access, Guard
from posescore.web.library_api import library_router
from posescore.web.making import Maker
from posescore.web.openapi_page import openapi_page
from posescore.web.opinion_routes import opinion_router
from posescore.web.output_routes import output_router
from posescore.web.proposal_view import proposals_out
from posescore.web.review_routes import review_router
from posescore.web.saving import EXPORTS, saved_log
from posescore.web.sources import Tracks, footage_of, match_time_of, values_of
from posescore.web.track_chunks import CHUNK_ROWS, chunk_firsts, n_chunks, pack_chunk
from posescore.web.view import (
    clock_note,
    curve_out,
    entry_words,
    events_out,
    findings_out,
    holds_out,
    job_out,
    match_out,
    result_out,
    running_out,
    score_out,
)
from posescore.words import WORDS

SOMEBODY: Final = "reviewer"
"""Author of an edit where nobody gave a name."""

_PRIVATE: Final = {"Cache-Control": "no-store"}
_REFUSALS: Final[dict[int | str, dict[str, Any]]] = {
    status: {"model": wire.Failure, "description": text}
    for status, text in (
        (403, "The request came from another page."),
        (404, "No such match, proposal or file."),
        (409, "The edit no longer fits what it edits."),
        (422, "What was sent cannot be used."),
        (507, "The library cannot be written or read."),
    )
}


def create_api(library: Library, access: Access | None = None) -> FastAPI:
    """The API over a library, guarded; pages are mounted beside it by ``pages.mount_pages``.

    Parameters
    ----------
    library
        What is read and edited.
    access
        Who may talk to it; by default this machine alone.
    """
    app = FastAPI(
        title="PoseScore",
        version=__version__,
        description="A first-pass score log for sport jiu-jitsu footage, for a person to confirm.",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
    )
    app.include_router(_Routes(library).router)
    app.add_exception_handler(PoseScoreError, _on_refusal)
    app.add_exception_handler(RequestValidationError, _on_bad_request)
    app.add_exception_handler(HTTPException, _on_http_error)
    app.add_exception_handler(Exception, _on_own_failure)
    app.add_middleware(Guard, access=access or Access())

    @app.get("/api/docs", include_in_schema=False)
    def docs() -> HTMLResponse:
        return HTMLResponse(openapi_page(app.openapi()))

    @app.api_route("/api/{rest:path}", methods=["GET", "POST"], include_in_schema=False)
    def unknown(rest: str) -> Response:
        raise NotFoundError(f"/api/{rest} is not part of the API: see /api/docs.")

    return app


class _Routes:
    """The endpoints, with what they share."""

    def __init__(self, library: Library) -> None:
        self._library = library
        self._tracks = Tracks()
        self.router = APIRouter(prefix="/api", responses=_REFUSALS)
        self.router.include_router(review_router(library))
        self.router.include_router(output_router(library, Maker()))
        self.router.include_router(opinion_router(library))
        self.router.include_router(athlete_router(library))
        self.router.include_router(library_router(library))
        add: Callable[..., None] = self.router.add_api_route
        add("/words", self.words, summary="The words of the pages")
        add("/matches", self.matches, summary="All matches")
        add("/matches/{match_id}", self.review, summary="One match with its review")
        add("/matches/{match_id}/clock", self.clock, response_class=Response)
        add("/matches/{match_id}/track/{chunk}", self.track, response_class=Response)
        footage = "/matches/{match_id}/footage"
        add(footage, self.footage, response_class=Response)
        add(footage, self.footage, methods=["HEAD"], include_in_schema=False)
        add("/matches/{match_id}/edits", self.edit, methods=["POST"], summary="Do an edit")
        add("/matches/{match_id}/undo", self.undo, methods=["POST"], summary="Undo")
        add("/matches/{match_id}/redo", self.redo, methods=["POST"], summary="Redo")
        add("/matches/{match_id}/export", self.export, response_class=Response)
        add("/jobs", self.jobs, summary="Analyses that wait, run or ended")

    def words(self) -> dict[str, Any]:
        """Kinds, positions, events and all else that the pages say, in the language in use."""
        without = [position for position in Position if not position.has_upper]
        return {**WORDS, "without_upper": without}

    def matches(
        self, search: str = "", sort: SortKey = "added", descending: bool = True
    ) -> list[wire.MatchOut]:
        """Every match whose title, event, names or colours hold all searched words."""
        return [match_out(match) for match in self._library.matches(search, sort, descending)]

    def review(self, match_id: int, response: Response, opinion: str = "") -> wire.ReviewOut:
        """The match as it stands: holds, proposals, decisions, score."""
        response.headers.update(_PRIVATE)
        match = self._library.match(match_id)
        return self._review_out(match, self._library.review(match_id, opinion), opinion)

    def clock(self, match_id: int) -> Response:
        """Presentation times: float64, little-endian, one per frame, then the footage's end."""
        clock = self._library.analysis(match_id).clock
        times = clock.pts_s.astype("<f8").tobytes()
        return _binary(times + clock.pts_s.dtype.type(clock.end_s).astype("<f8").tobytes())

    def track(self, match_id: int, chunk: int) -> Response:
        """One chunk of keypoints.

        Little-endian: uint32 number of rows n; int32 frame index (n); int16 x, y (n, 2 athletes, 21
        keypoints, 2) where c stands for (c / 32767 + 0.5) of the picture's width or height and
        -32768 for a missing keypoint; uint8 confidence (n, 2, 21), 255 being 1.
        """
        track = self._tracks.of(self._library.analysis(match_id))
        if track is None or not 0 <= chunk < n_chunks(track):
            raise NotFoundError(f"match {match_id} has no keypoints in chunk {chunk}.")
        return _binary(pack_chunk(track, chunk))

    def footage(self, match_id: int, request: Request) -> Response:
        """The footage as a browser can play it; ranges are served."""
        return footage_response(footage_of(self._library.match(match_id)), request)

    def edit(self, match_id: int, body: Annotated[EditIn, Body()]) -> wire.ReviewOut:
        """Do one edit; it is on the disk when the answer comes."""
        edit = Edit.from_json(body.edit)
        author = body.author or SOMEBODY
        review = self._library.edit(match_id, edit, author, body.opinion)
        return self._review_out(self._library.match(match_id), review, body.opinion)

    def undo(self, match_id: int, by: Annotated[wire.By, Body()]) -> wire.ReviewOut:
        """Take back the newest edit in force."""
        review = self._library.undo(match_id, by.author or SOMEBODY, by.opinion)
        return self._review_out(self._library.match(match_id), review, by.opinion)

    def redo(self, match_id: int, by: Annotated[wire.By, Body()]) -> wire.ReviewOut:
        """Put back what was taken back last."""
        review = self._library.redo(match_id, by.author or SOMEBODY, by.opinion)
        return self._review_out(self._library.match(match_id), review, by.opinion)

    def export(
        self,
        match_id: int,
        format_name: Annotated[str, Query(alias="format")],
        opinion: str = "",
    ) -> Response:
        """The score log as a file."""
        return saved_log(self._library, match_id, format_name, opinion)

    def jobs(self, match_id: int | None = None, open_only: bool = False) -> list[wire.JobOut]:
        """Analyses, newest first."""
        now = datetime.now(UTC)
        return [
            job_out(job, job.remaining_s(now)) for job in self._library.jobs(match_id, open_only)
        ]

    def _review_out(self, match: Match, review: Review, opinion: str = "") -> wire.ReviewOut:
        analysis = self._library.analysis(match.id, review.analysis_version)
        track = self._tracks.of(analysis)
        rules = RuleSet.load(review.rules)
        lasts_s = match_time_of(rules, review.division)
        running = running_out(review)
        return wire.ReviewOut(
            match=match_out(match),
            analysis_version=review.analysis_version,
            last_entry_id=review.last_entry_id,
            footage=_footage_out(match, analysis, track),
            track=_track_out(match, track),
            holds=holds_out(review),
            events=events_out(review),
            proposals=proposals_out(review, match),
            score=score_out(review),
            curve=curve_out(review),
            result=result_out(review.confirmed_result, match),
            findings=findings_out(review),
            swaps=[wire.StretchOut(start_s=s.start_s, end_s=s.end_s) for s in review.swaps],
            set_aside=[aside.why for aside in review.set_aside],
            match_clock=wire.MatchClockOut(
                running=running, duration_s=lasts_s, note=clock_note(running, lasts_s)
            ),
            values=values_of(rules),
            exports=EXPORTS,
            undo=entry_words(review.next_undo),
            redo=entry_words(review.next_redo),
            opinion=opinion,
            read_only=self._library.read_only,
        )


def _footage_out(match: Match, analysis: Analysis, track: PairTrack | None) -> wire.FootageOut:
    width, height = track.picture_size_px if track else (16, 9)
    return wire.FootageOut(
        url=f"/api/matches/{match.id}/footage",
        width=width,
        height=height,
        n_frames=len(analysis.clock),
        end_s=analysis.clock.end_s,
    )


def _track_out(match: Match, track: PairTrack | None) -> wire.TrackOut | None:
    if track is None or not len(track):
        return None
    return wire.TrackOut(
        url=f"/api/matches/{match.id}/track",
        n_rows=len(track),
        chunk_rows=CHUNK_ROWS,
        first_frames=chunk_firsts(track),
    )


def _binary(content: bytes) -> Response:
    return Response(content, media_type="application/octet-stream", headers=_PRIVATE)


async def _on_refusal(request: Request, error: Exception) -> Response:
    status = error.http_status if isinstance(error, PoseScoreError) else 500
    return JSONResponse({"error": str(error)}, status)


async def _on_bad_request(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"][1:]) or "body"
    return JSONResponse({"error": f"{where}: {first['msg']}."}, 422)


async def _on_own_failure(request: Request, error: Exception) -> Response:
    sentence = f"Something in PoseScore failed ({type(error).__name__}); nothing was changed."
    return JSONResponse({"error": sentence}, 500)


async def _on_http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return JSONResponse({"error": str(error.detail)}, error.status_code, error.headers)
