"""Moments that people keep, and sets of them across matches."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Final

from fastapi import APIRouter, Body
from pydantic import BaseModel, Field

from posescore.errors import NotFoundError
from posescore.library.library import Library
from posescore.library.store.moment_rows import Moment
from posescore.web.api.export import plain_stem
from posescore.web.api.outputs import OutputOut, output_out
from posescore.web.api.schemas import SOMEBODY, By, Out
from posescore.web.jobs.outputs import OutputKind, Outputs
from posescore.words import language

SetName = Annotated[str, Field(min_length=1, max_length=80)]
MOST_SETS: Final = 20


class MomentIn(By):
    """A stretch of a match to keep, in sets, with a remark."""

    start_s: float = Field(ge=0)
    end_s: float
    sets: list[SetName] = Field(min_length=1, max_length=MOST_SETS)
    remark: str = Field(default="", max_length=500)


class KeptOut(Out):
    """A moment that was kept; ``title`` is that of its match."""

    id: int
    match_id: int
    title: str
    start_s: float
    end_s: float
    sets: list[str]
    remark: str
    author: str
    made_at: datetime


class SetFilmIn(BaseModel):
    """A set to make a film of, and how it shows people."""

    name: str
    skeletons: bool = True
    hide_faces: bool = False


def moment_router(library: Library, outputs: Outputs) -> APIRouter:
    """The endpoints for moments and sets."""
    router = APIRouter()

    def out(moment: Moment) -> KeptOut:
        title = library.match(moment.match_id).info.title
        fields = {name: getattr(moment, name) for name in KeptOut.model_fields if name != "title"}
        return KeptOut(title=title, **fields)

    @router.get("/moments", summary="Moments that people keep")
    def moments(name: str = "") -> list[KeptOut]:
        """All of them, or those of one set, in the order in which they were kept."""
        return [out(each) for each in library.moments(name)]

    @router.post("/matches/{match_id}/moments", status_code=201, summary="Keep a moment")
    def keep(match_id: int, body: Annotated[MomentIn, Body()]) -> KeptOut:
        """Keep a stretch of a match in one or more sets."""
        stretch_s, author = (body.start_s, body.end_s), body.author or SOMEBODY
        return out(library.keep_moment(match_id, stretch_s, body.sets, body.remark, author))

    @router.delete("/moments/{moment_id}", status_code=204, summary="Forget a moment")
    def forget(moment_id: int) -> None:
        """Only the moment: its match stays as it is."""
        library.forget_moment(moment_id)

    @router.post("/sets/film", status_code=202, summary="A set as a film")
    def film(body: Annotated[SetFilmIn, Body()]) -> OutputOut:
        """Line up a film of all moments of a set; poll its address for progress."""
        found = library.moments(body.name)
        if not found:
            raise NotFoundError(f"no moment is in the set {body.name!r}.")
        how = {
            "set": body.name, "skeletons": body.skeletons, "hide_faces": body.hide_faces,
            "proposed": False, "opinion": "", "language": language(),
        }  # fmt: skip
        stem = plain_stem(body.name) or "set"
        return output_out(outputs.queue(found[0].match_id, OutputKind.SET_FILM, stem, how))

    return router
