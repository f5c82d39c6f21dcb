"""Second opinions over the API: who reviews a match, where two differ, and what was settled."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Body
from pydantic import BaseModel, Field

from posescore.errors import InputError
from posescore.library.library import Library
from posescore.library.review.agreement import (
    Agreement,
    AwardPair,
    PositionDifference,
    compare_opinions,
)
from posescore.library.review.edits import Taken
from posescore.library.review.settling import (
    Settlement,
    settle_line,
    settle_stretch,
    settled_line,
    settled_stretch,
    settlements,
)
from posescore.terms import Athlete, Interval, Position, State

SOMEBODY = "reviewer"
"""Who settles where nobody gave a name."""


class OpinionOut(BaseModel):
    """One review of a match; ``name`` is empty for the shared log."""

    name: str
    lines: int
    undecided: int
    people: list[str]
    last_edit_at: datetime | None


class StateOut(BaseModel):
    """A position and who is on top or behind."""

    position: Position
    upper: Athlete | None


class SettledOut(BaseModel):
    """Who settled a difference, when, and whose answer stands (null: neither's)."""

    by: str
    made_at: datetime
    taken_from: str | None


class LineOut(BaseModel):
    """A line of the score log in both opinions; null where that person has not decided."""

    line: str
    time_s: float
    what: str
    one: str | None
    other: str | None
    differs: bool
    settled: SettledOut | None


class StretchDifferenceOut(BaseModel):
    """A stretch that the two name differently."""

    start_s: float
    end_s: float
    one: StateOut
    other: StateOut
    settled: SettledOut | None


class ComparisonOut(BaseModel):
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
    found = compare_opinions(library, match_id, one, other)
    made = settlements(library.review(match_id))
    return ComparisonOut(
        one=one,
        other=other,
        position_kappa=found.position_kappa,
        same_position=found.same_position,
        award_kappa=found.award_kappa,
        lines=[_line(pair, found, made) for pair in found.awards],
        stretches=[_stretch(each, found, made) for each in found.differences],
    )


def _line(pair: AwardPair, found: Agreement, made: Sequence[Settlement]) -> LineOut:
    return LineOut(
        line=pair.one_key or pair.other_key,
        time_s=pair.time_s,
        what=pair.what,
        one=pair.one,
        other=pair.other,
        differs=pair.differs,
        settled=_settled(settled_line(pair, (found.one, found.other), made)),
    )


def _stretch(
    each: PositionDifference, found: Agreement, made: Sequence[Settlement]
) -> StretchDifferenceOut:
    return StretchDifferenceOut(
        start_s=each.interval.start_s,
        end_s=each.interval.end_s,
        one=_state(each.one),
        other=_state(each.other),
        settled=_settled(settled_stretch(each, (found.one, found.other), made)),
    )


def _state(state: State) -> StateOut:
    return StateOut(position=state.position, upper=state.upper)


def _settled(settlement: Settlement | None) -> SettledOut | None:
    if settlement is None:
        return None
    return SettledOut(
        by=settlement.by, made_at=settlement.made_at, taken_from=settlement.taken_from
    )
