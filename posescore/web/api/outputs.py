"""Outputs that take a while, over the API: ask for one, watch it, save it, or stop it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body
from fastapi.responses import FileResponse, Response
from pydantic import BaseModel, Field

from posescore.library.jobs import Job, JobState
from posescore.library.library import Library
from posescore.web.api.export import file_stem
from posescore.web.api.schemas import JobOut
from posescore.web.api.views import job_out
from posescore.web.jobs.outputs import OutputKind, Outputs
from posescore.words import language


class OutputIn(BaseModel):
    """What to make, and how it shows people."""

    kind: OutputKind
    opinion: str = Field(default="", max_length=60)
    skeletons: bool = True
    hide_faces: bool = False
    proposed: bool = False


class OutputOut(JobOut):
    """How far an output is; ``file`` is its address once it can be saved, else empty."""

    kind: OutputKind
    name: str
    file: str


def output_router(library: Library, outputs: Outputs) -> APIRouter:
    """The endpoints for outputs."""
    router = APIRouter()

    @router.post("/matches/{match_id}/outputs", status_code=202, summary="Make an output")
    def queue(match_id: int, wanted: Annotated[OutputIn, Body()]) -> OutputOut:
        """Line up a report, clips, a film or a lesson; poll its address for progress."""
        match = library.match(match_id)
        library.review(match_id, wanted.opinion)  # refused at once where there is nothing to show
        # A name that is hidden inside does not stand on the file, either.
        stem = f"match-{match_id}" if wanted.hide_faces else file_stem(match)
        how = wanted.model_dump(exclude={"kind"}) | {"language": language()}
        return output_out(outputs.queue(match_id, wanted.kind, stem, how))

    @router.get("/matches/{match_id}/outputs", summary="Outputs of a match")
    def of_match(match_id: int) -> list[OutputOut]:
        return [output_out(job) for job in outputs.of_match(match_id)]

    @router.get("/outputs/{output_id}", summary="How far an output is")
    def output(output_id: int) -> OutputOut:
        return output_out(outputs.output(output_id))

    @router.post("/outputs/{output_id}/stop", summary="Stop an output")
    def stop(output_id: int) -> OutputOut:
        return output_out(outputs.stop(output_id))

    @router.get("/outputs/{output_id}/file", response_class=Response, summary="Save an output")
    def file(output_id: int) -> FileResponse:
        path = outputs.file(output_id)
        # As a download: a page of our own origin would be allowed more than a report needs.
        return FileResponse(
            path,
            media_type="application/octet-stream",
            filename=path.name,
            headers={"Cache-Control": "no-store"},
        )

    return router


def output_out(job: Job) -> OutputOut:
    """An output, as sent."""
    made = {
        **job_out(job).model_dump(),
        "kind": job.settings["kind"],
        "name": job.settings["name"],
        "file": f"/api/outputs/{job.id}/file" if job.state is JobState.DONE else "",
    }
    return OutputOut.model_validate(made)
