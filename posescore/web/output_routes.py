"""Outputs that take a while, over the API: wish for one, watch it, save it, or stop it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body
from fastapi.responses import FileResponse, Response
from pydantic import BaseModel, Field

from posescore.library.library import Library
from posescore.web.making import Maker, Output, OutputKind, OutputState, Wish
from posescore.web.saving import file_stem


class WishIn(BaseModel):
    """What to make, and how it shows people."""

    kind: OutputKind
    opinion: str = Field(default="", max_length=60)
    skeletons: bool = True
    hide_faces: bool = False
    proposed: bool = True


class OutputOut(BaseModel):
    """How far an output is; ``file`` is its address once it can be saved, else empty."""

    id: int
    kind: OutputKind
    name: str
    state: OutputState
    done: int
    total: int
    message: str
    file: str


def output_router(library: Library, maker: Maker) -> APIRouter:
    """The endpoints for outputs."""
    router = APIRouter()

    @router.post("/matches/{match_id}/outputs", status_code=202, summary="Make an output")
    def wish(match_id: int, asked: Annotated[WishIn, Body()]) -> OutputOut:
        """Line up a report, clips, a film or a lesson; poll its address for progress."""
        match = library.match(match_id)
        library.review(match_id, asked.opinion)  # refused at once where there is nothing to show
        made = Wish(
            str(library.folder),
            match_id,
            read_only=bool(library.read_only),
            **asked.model_dump(),
        )
        return _out(maker.wish(made, file_stem(match)))

    @router.get("/matches/{match_id}/outputs", summary="Outputs of a match")
    def outputs(match_id: int) -> list[OutputOut]:
        return [_out(output) for output in maker.outputs(match_id)]

    @router.get("/outputs/{output_id}", summary="How far an output is")
    def output(output_id: int) -> OutputOut:
        return _out(maker.output(output_id))

    @router.post("/outputs/{output_id}/cancel", summary="Stop an output")
    def cancel(output_id: int) -> OutputOut:
        return _out(maker.cancel(output_id))

    @router.get("/outputs/{output_id}/file", response_class=Response, summary="Save an output")
    def file(output_id: int) -> FileResponse:
        made = maker.file(output_id)
        # As a download: a page of our own origin would be allowed more than a report needs.
        return FileResponse(
            made.path,
            media_type="application/octet-stream",
            filename=made.name,
            headers={"Cache-Control": "no-store"},
        )

    return router


def _out(output: Output) -> OutputOut:
    return OutputOut(
        id=output.id,
        kind=output.wish.kind,
        name=output.name,
        state=output.state,
        done=output.done,
        total=output.total,
        message=output.message,
        file=f"/api/outputs/{output.id}/file" if output.state is OutputState.DONE else "",
    )
