"""Second opinions over the API: who reviews a match, where two differ, and what was settled."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Body
from pydantic import BaseModel, Field

from posescore.errors import InputError
from posescore.library.library import Library
from posescore.library.review.agreement import compare_opinions
from posescore.library.review.match_edits import Taken
from posescore.library.review.settling import (
    settle_line,
    settle_stretch,
    settled_line,
    settled_stretch,
    settlements,
)
from posescore.terms import Athlete, Interval, Position
from posescore.web.api.schemas import SOMEBODY, Out
from posescore.web.api.views import fields_of


class OpinionOut(Out):
    """One review of a match; ``name`` is empty for the shared log."""

    name: str
    lines: int
    undecided: int
    people: list[str]
    last_edit_at: datetime | None


class StateOut(Out):
    """A position and who is on top or behind."""

    position: Position
    upper: Athlete | None


class SettledOut(Out):
    """Who settled a difference, when, and whose answer stands (null: neither's)."""

    by: str
    made_at: datetime
    taken_from: str | None


class LineOut(Out):
    """A line of the score log in both opinions; null where that person has not decided."""

    line: str
    one_key: str
    other_key: str
    time_s: float
    what: str
    one: str | None
    other: str | None
    differs: bool
    settled: SettledOut | None


class StretchDifferenceOut(Out):
    """A stretch that the two name differently."""

    start_s: float
    end_s: float
    one: StateOut
    other: StateOut
    settled: SettledOut | None


class ComparisonOut(Out):
    """Two opinions side by side. A kappa is null where it is not defined."""

    one: str
    other: str
    position_kappa: float | None
    same_position: float
    award_kappa: float | None
    lines: list[LineOut]
    stretches: list[StretchDifferenceOut]


class SettleIn(BaseModel):
    """Settle one difference: a line by its name, or a stretch by its two edges."""

    one: str = Field(max_length=60)
    other: str = Field(max_length=60)
    taken: Taken
    line: str = ""
    start_s: float | None = None
    end_s: float | None = None
    author: str = Field(default="", max_length=60)


def opinion_router(library: Library) -> APIRouter:
    """The endpoints for second opinions."""
    router = APIRouter(prefix="/matches/{match_id}")

    @router.get("/opinions", summary="Who reviews a match")
    def opinions(match_id: int) -> list[OpinionOut]:
        """The shared log first, then every independent review."""
        return [_opinion(library, match_id, each) for each in ("", *library.opinions(match_id))]

    @router.get("/comparison", summary="Where two opinions differ")
    def comparison(match_id: int, one: str, other: str = "") -> ComparisonOut:
        """Agreement (Cohen's kappa), every line, every stretch, and what was settled."""
        return _comparison(library, match_id, one, other)

    @router.post("/settle", summary="Settle a difference")
    def settle(match_id: int, asked: Annotated[SettleIn, Body()]) -> ComparisonOut:
        """Write one answer into the shared log; both opinions stay as they are."""
        names, author = (asked.one, asked.other), asked.author or SOMEBODY
        if asked.line:
            settle_line(library, match_id, names, asked.line, asked.taken, author)
        elif asked.start_s is not None and asked.end_s is not None:
            if asked.end_s < asked.start_s:
                raise InputError("end_s: a stretch ends after its start.")
            stretch = Interval(asked.start_s, asked.end_s)
            settle_stretch(library, match_id, names, stretch, asked.taken, author)
        else:
            raise InputError("line: name the line, or start_s and end_s of the stretch.")
        return _comparison(library, match_id, asked.one, asked.other)

    return router


def _opinion(library: Library, match_id: int, name: str) -> OpinionOut:
    review, log = library.review(match_id, name), library.log(match_id, name)
    return OpinionOut(
        name=name,
        lines=len(review.items),
        undecided=len(review.undecided),
        people=sorted({entry.author for entry in log}),
        last_edit_at=log[-1].made_at if log else None,
    )


def _comparison(library: Library, match_id: int, one: str, other: str) -> ComparisonOut:
    found, made = (
        compare_opinions(library, match_id, one, other),
        settlements(library.review(match_id)),
    )
    lines = [
        {
            **fields_of(pair),
            "line": pair.one_key or pair.other_key,
            "differs": pair.differs,
            "settled": settled_line(pair, (one, other), made),
        }
        for pair in found.awards
    ]
    stretches = [
        {
            **fields_of(each),
            **fields_of(each.interval),
            "settled": settled_stretch(each, (one, other), made),
        }
        for each in found.differences
    ]
    out = {**fields_of(found), "lines": lines, "stretches": stretches}
    return ComparisonOut.model_validate(out)
