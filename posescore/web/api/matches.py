"""Matches: added, described, deleted, and what they can be scored under."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from threading import Lock
from typing import Annotated, Any, Final

from fastapi import APIRouter, Body, Request
from pydantic import BaseModel, Field

from posescore.errors import ConflictError, InputError
from posescore.library.adding import (
    VIDEO_SUFFIXES,
    Added,
    Arrivals,
    add_footage,
    is_copy,
    title_of,
    whole_path,
)
from posescore.library.jobs import JobState
from posescore.library.library import Library
from posescore.library.match import DEFAULT_RULES, MatchInfo
from posescore.library.review.match_edits import SetDivision, SetRules
from posescore.library.review.replay import division_of, rules_named
from posescore.library.store.plain import utf8
from posescore.scoring.match_time import Belt
from posescore.scoring.rules import RuleSet
from posescore.web.api.footage import asks_from_here, check_asks_from_here
from posescore.web.api.listing import RowOut, line_of, row_of
from posescore.web.api.schemas import SOMEBODY, By

LET_GO_WITHIN_S: Final = 12.0


class AgeClassOut(BaseModel):
    """An age class with its match time: for all belts, or belt by belt."""

    age: str
    minutes: int | None
    minutes_by_belt: dict[Belt, int]


class RuleSetOut(BaseModel):
    """A rule set that can be chosen, with the published match times."""

    name: str
    title: str
    ages: list[AgeClassOut]


class ChoicesOut(BaseModel):
    """What a person can choose for a match."""

    rules: list[RuleSetOut]
    belts: list[Belt]
    suffixes: list[str]
    names_paths: bool


class AthleteIn(BaseModel):
    """One athlete, as a person writes it."""

    name: str = Field(default="", max_length=120)
    gi_colour: str = Field(default="", max_length=40)
    belt: str = Field(default="", max_length=40)
    team: str = Field(default="", max_length=120)


class DetailsIn(BaseModel):
    """What a person says of a match; what is left out stays as it is, or empty."""

    title: str = Field(default="", max_length=200)
    athlete_a: AthleteIn = AthleteIn()
    athlete_b: AthleteIn = AthleteIn()
    event: str = Field(default="", max_length=200)
    mat: str = Field(default="", max_length=40)
    held_on: date | None = None
    division: dict[str, str] | None = None
    rules: str = Field(default=DEFAULT_RULES, max_length=300)
    note: str = Field(default="", max_length=2000)

    def over(self, before: MatchInfo) -> MatchInfo:
        """The details before, with what was named in their place; refused where they cannot be."""
        made = replace(before, **_over(before, self.model_dump(exclude_unset=True)))
        division_of(rules_named(made.rules), made.division)
        return made


def _over(before: Any, named: Mapping[str, Any]) -> dict[str, Any]:
    """New values of the fields of ``before`` that are named; a title is never left blank."""
    made: dict[str, Any] = {}
    for field in fields(before):
        value = named.get(field.name)
        if field.name.startswith("athlete") and value is not None:
            athlete = getattr(before, field.name)
            made[field.name] = replace(athlete, **_over(athlete, value))
        elif isinstance(value, str):
            made[field.name] = value.strip()
        elif field.name in named:
            made[field.name] = value or None
    if not made.get("title", "given"):
        del made["title"]
    return made


class AddIn(DetailsIn):
    """A match to add: footage by its path on this computer, or by the key it was sent under."""

    path: str = Field(default="", max_length=4000)
    key: str = Field(default="", max_length=40)
    analyse: bool = True


class AddedOut(BaseModel):
    """The match of the footage; ``known`` where the library had that footage before."""

    match_id: int
    title: str
    known: bool


class ChangeIn(DetailsIn, By):
    """New details of a match; who changes them is written down where the scoring changes."""


class DeletionOut(BaseModel):
    """What is deleted with a match: and ``stays`` is the footage that is not, "" where none is."""

    analyses: int
    edits: int
    made_bytes: int
    copied: str
    stays: str
    running: bool


def match_router(library: Library, arrivals: Arrivals) -> APIRouter:
    """The endpoints for matches themselves."""
    router = APIRouter()
    adding = Lock()

    @router.get("/library/choices", summary="Rule sets, age classes, belts")
    def choices(request: Request) -> ChoicesOut:
        """What a match can be scored under; the match times are those of the rule set."""
        return _choices(names_paths=asks_from_here(request))

    @router.post("/matches", summary="Add a match")
    def add(body: Annotated[AddIn, Body()], request: Request) -> AddedOut:
        """Add a match and line up its analysis; footage that is known keeps its match."""
        with adding:
            added = _add(library, arrivals, body, request)
        match = added.match
        if not added.known and body.analyse:
            library.queue_job(match.id)
        return AddedOut(match_id=match.id, title=match.info.title, known=added.known)

    @router.patch("/matches/{match_id}", summary="Change the details of a match")
    def change(match_id: int, body: Annotated[ChangeIn, Body()]) -> RowOut:
        """Change what is said of a match: what is named, and nothing else.

        Rule set and division of a match that was analysed go into its log, where they can be
        undone.
        """
        _change(library, match_id, body)
        return row_of(library, match_id)

    @router.get("/matches/{match_id}/deletion-preview", summary="What is deleted with a match")
    def preview(match_id: int) -> DeletionOut:
        """What goes when the match is deleted, and what stays."""
        return _preview(library, match_id)

    @router.delete("/matches/{match_id}", summary="Delete a match", status_code=204)
    def delete(match_id: int) -> None:
        """Delete a match with everything made from it, after stopping its analysis."""
        _stop_analysis(library, match_id)
        library.delete_match(match_id)

    return router


def _stop_analysis(library: Library, match_id: int) -> None:
    """Stop the analysis of a match, and wait until it has let go."""
    for job in library.jobs(match_id, open_only=True):
        library.end_job(job.id, JobState.CANCELLED)
    give_up = time.monotonic() + LET_GO_WITHIN_S
    while library.is_claimed(match_id):
        if time.monotonic() > give_up:
            raise ConflictError(f"match {match_id}: its analysis is still stopping; try again.")
        time.sleep(0.05)


def _choices(*, names_paths: bool) -> ChoicesOut:
    return ChoicesOut(
        rules=[_rules_out(name) for name in RuleSet.names()],
        belts=list(Belt),
        suffixes=sorted(VIDEO_SUFFIXES),
        names_paths=names_paths,
    )


def _add(library: Library, arrivals: Arrivals, body: AddIn, request: Request) -> Added:
    if bool(body.path) == bool(body.key):
        raise InputError("path: name a file on this computer, or the key of one that was sent.")
    if body.path:
        check_asks_from_here(request)
    path = whole_path(body.path) if body.path else arrivals.path(body.key)
    info = body.over(MatchInfo(title_of(path.name)))
    return add_footage(library, path, info) if body.path else arrivals.add(body.key, info)


def _change(library: Library, match_id: int, body: ChangeIn) -> None:
    match = library.match(match_id)
    standing = line_of(library, match).standing
    if standing is None:
        library.update_match(match_id, body.over(match.info))
        return
    before = replace(match.info, rules=standing.rules, division=standing.division)
    wanted = body.over(before)
    kept = replace(wanted, rules=match.info.rules, division=match.info.division)
    library.update_match(match_id, kept)
    author = body.author or SOMEBODY
    if wanted.rules != before.rules:
        library.edit(match_id, SetRules(wanted.rules), author)
    if wanted.division != before.division:
        library.edit(match_id, SetDivision(wanted.division), author)


def _preview(library: Library, match_id: int) -> DeletionOut:
    match = library.match(match_id)
    footage = match.info.footage
    places = [match.folder] + ([library.poses_of(footage.sha256)] if footage else [])
    copied = is_copy(library, match)
    path = footage.path if footage else ""
    return DeletionOut(
        analyses=match.analysis_version or 0,
        edits=match.entries,
        made_bytes=sum(_size_of(place) for place in places),
        copied=utf8(path) if copied else "",
        stays="" if copied else utf8(path),
        running=bool(library.jobs(match_id, open_only=True)),
    )


def _size_of(place: Path) -> int:
    return sum(path.stat().st_size for path in place.rglob("*") if path.is_file())


def _rules_out(name: str) -> RuleSetOut:
    rules = rules_named(name)
    ages = [
        AgeClassOut(
            age=age,
            minutes=minutes if isinstance(minutes, int) else None,
            minutes_by_belt={} if isinstance(minutes, int) else dict(minutes),
        )
        for age, minutes in rules.match_times.minutes.items()
    ]
    return RuleSetOut(name=name, title=rules.title, ages=ages)
