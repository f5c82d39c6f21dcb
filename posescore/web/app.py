"""The whole program behind an address: the JSON API under ``/api``, and the pages that use it."""

from __future__ import annotations

import re
import sys
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from typing import Any, Final

from fastapi import APIRouter, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from posescore import __version__
from posescore.errors import ChangedMeanwhileError, NotFoundError, PoseScoreError
from posescore.library.adding import Arrivals
from posescore.library.library import Library
from posescore.library.store.plain import utf8
from posescore.web.api import schemas
from posescore.web.api.analyses import analysis_router
from posescore.web.api.athletes import athlete_router
from posescore.web.api.changes import change_router
from posescore.web.api.export import export_router
from posescore.web.api.footage import footage_router
from posescore.web.api.lesson import lesson_router
from posescore.web.api.listing import list_router
from posescore.web.api.matches import match_router
from posescore.web.api.moments import moment_router
from posescore.web.api.opinions import opinion_router
from posescore.web.api.outputs import output_router
from posescore.web.api.results import result_router
from posescore.web.api.review import review_router
from posescore.web.api.sound import sound_router
from posescore.web.api.stills import still_router
from posescore.web.api.track import Tracks, track_router
from posescore.web.api.words import word_router
from posescore.web.guard import Access, Guard
from posescore.web.jobs.outputs import Outputs
from posescore.web.language import Language
from posescore.web.limits import Limits
from posescore.web.pages.pages import add_pages, not_found

OUTPUT_WORKER: Final = (sys.executable, "-m", "posescore.web.jobs.output_worker")
_METHODS: Final = ["GET", "POST", "PUT", "PATCH", "DELETE"]
_REFUSALS: Final[dict[int | str, dict[str, Any]]] = {
    status: {"model": schemas.Failure, "description": text}
    for status, text in (
        (400, "What was sent is no JSON that can be read."),
        (403, "The request came from another page."),
        (404, "No such match, proposal or file."),
        (405, "The address does something else."),
        (408, "The request came only in part."),
        (409, "The edit no longer fits what it edits."),
        (413, "The request is too large."),
        (422, "What was sent cannot be used."),
        (507, "The library cannot be written or read."),
    )
}


def create_app(library: Library, access: Access | None = None) -> FastAPI:
    """API and pages over a library, guarded.

    Parameters
    ----------
    library
        What is read and edited.
    access
        Who may talk to it; by default this machine alone.
    """
    outputs = Outputs(library, OUTPUT_WORKER)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        yield
        outputs.close()

    app = FastAPI(
        title="PoseScore",
        version=__version__,
        description="A first-pass score log for sport jiu-jitsu footage, for a person to confirm.",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=lifespan,
    )
    app.state.leaving = False
    app.include_router(_api(library, outputs))
    add_pages(app, library)

    @app.api_route("/api/{rest:path}", methods=_METHODS, include_in_schema=False)
    def unknown(rest: str, request: Request) -> Response:
        allowed = _methods_at(app, request.url.path)
        if allowed:
            sentence = f"/api/{rest} takes {', '.join(allowed)} alone: see /api/docs."
            raise HTTPException(405, sentence, {"Allow": ", ".join(allowed)})
        raise NotFoundError(f"/api/{rest} is not part of the API: see /api/docs.")

    app.add_exception_handler(PoseScoreError, _on_refusal)
    app.add_exception_handler(RequestValidationError, _on_bad_request)
    app.add_exception_handler(HTTPException, _on_http_error)
    app.add_middleware(Limits)
    app.add_middleware(Language)
    app.add_middleware(Guard, access=access or Access())
    return app


def _methods_at(app: FastAPI, asked: str) -> list[str]:
    """How an address can be asked, by the description of the API; none where it is not of it."""
    return sorted(
        method.upper()
        for path, methods in app.openapi()["paths"].items()
        for method in methods
        if re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", path), asked)
    )


def _api(library: Library, outputs: Outputs) -> APIRouter:
    tracks, arrivals = Tracks(), Arrivals(library)
    api = APIRouter(prefix="/api", responses=_REFUSALS)
    for router in (
        match_router(library, arrivals),
        list_router(library),
        footage_router(library, arrivals),
        analysis_router(library),
        review_router(library, tracks),
        change_router(library),
        track_router(library, tracks),
        still_router(library),
        sound_router(library),
        moment_router(library, outputs),
        lesson_router(library),
        export_router(library),
        output_router(library, outputs),
        result_router(library),
        opinion_router(library),
        athlete_router(library),
        word_router(),
    ):
        api.include_router(router)
    return api


async def _on_refusal(request: Request, error: Exception) -> Response:
    status = error.http_status if isinstance(error, PoseScoreError) else 500
    changed = vars(error) if isinstance(error, ChangedMeanwhileError) else None
    said = {"error": utf8(str(error))} | ({"changed": changed} if changed else {})
    return JSONResponse(said, status)


async def _on_bad_request(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"][1:]) or "body"
    return JSONResponse({"error": utf8(f"{where}: {_fault(where, first)}")}, 422)


def _fault(where: str, fault: Mapping[str, Any]) -> str:
    """What is wrong with a field, in one sentence for a person."""
    what, limits = where.rpartition(".")[2].replace("_", " "), fault.get("ctx", {})
    if fault["type"] == "string_too_long":
        return f"the {what} is too long: write at most {limits['max_length']} letters."
    if fault["type"] == "missing":
        return f"the {what} is missing."
    if fault["type"].startswith("date"):
        return "write the day as year-month-day, say 2026-10-03."
    return f"the {what} cannot be used: {str(fault['msg'])[:1].lower()}{str(fault['msg'])[1:]}."


async def _on_http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if error.status_code == 404 and not request.url.path.startswith(("/api/", "/assets/")):
        return not_found()
    said = utf8(str(error.detail))
    if error.status_code == 400:
        said = "What was sent is no JSON that can be read: not UTF-8, or nested too deep."
    return JSONResponse({"error": said}, error.status_code, error.headers)
