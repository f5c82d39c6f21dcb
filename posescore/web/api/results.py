"""Results of many matches over the API: a table in, what became of every line out."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body
from pydantic import BaseModel, Field

from posescore.library.library import Library
from posescore.library.results import MOST_LETTERS, enter_results, read_results
from posescore.web.api.schemas import SOMEBODY, Out


class TableIn(BaseModel):
    """The table as text, and who enters it."""

    text: str = Field(max_length=MOST_LETTERS)
    name: str = Field(default="results", max_length=200)
    author: str = Field(default="", max_length=60)


class EnteredOut(Out):
    """What became of a line; ``problem`` is empty where it fits, ``changed`` where it was new."""

    line: int
    match_id: int | None
    title: str
    changed: bool
    problem: str


def result_router(library: Library) -> APIRouter:
    """The endpoint for results of many matches."""
    router = APIRouter()

    @router.post("/results", summary="Enter the results of many matches")
    def enter(table: Annotated[TableIn, Body()]) -> list[EnteredOut]:
        """CSV with a header, a line for each match; see docs/formats.md for the columns."""
        rows = read_results(table.text, table.name)
        found = enter_results(library, rows, table.author or SOMEBODY)
        return [EnteredOut.model_validate(each) for each in found]

    return router
