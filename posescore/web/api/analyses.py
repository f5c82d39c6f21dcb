"""Analyses: lined up, watched, stopped."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body
from pydantic import BaseModel

from posescore.library.jobs import JobState
from posescore.library.library import Library
from posescore.web.api.schemas import JobOut
from posescore.web.api.views import job_out


class AnalyseIn(BaseModel):
    """How to analyse."""

    every_frame: bool = False


def analysis_router(library: Library) -> APIRouter:
    """The endpoints for analyses."""
    router = APIRouter()

    @router.post("/matches/{match_id}/analysis", summary="Analyse, or again")
    def analyse(match_id: int, body: Annotated[AnalyseIn, Body()]) -> JobOut:
        """Line up an analysis that reads the footage afresh; what people said stays."""
        return job_out(library.queue_job(match_id, body.model_dump() | {"afresh": True}))

    @router.get("/jobs", summary="Analyses that wait, run or ended")
    def jobs(match_id: int | None = None, open_only: bool = False) -> list[JobOut]:
        """Analyses, newest first."""
        return [job_out(job) for job in library.jobs(match_id, open_only)]

    @router.post("/jobs/{job_id}/stop", summary="Stop an analysis")
    def stop(job_id: int) -> JobOut:
        """Stop an analysis that waits or runs; one that has ended stays as it is."""
        return job_out(library.end_job(job_id, JobState.CANCELLED))

    return router
