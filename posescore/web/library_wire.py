"""What the API sends and takes about the library: the list of matches, footage, analyses."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Literal

from pydantic import BaseModel, Field

from posescore.library.match import AthleteInfo, MatchInfo
from posescore.library.store.match_rows import SortKey
from posescore.scoring.match_time import Belt
from posescore.terms import Athlete
from posescore.web.wire import By, JobOut, MatchOut


class Stage(StrEnum):
    """Where a match stands on its way from footage to a score log."""

    WAITING = "waiting"
    ANALYSING = "analysing"
    FAILED = "failed"
    NOT_ANALYSED = "not_analysed"
    UNDECIDED = "undecided"
    DECIDED = "decided"


OrderKey = SortKey | Literal["undecided"]


class Wanted(BaseModel):
    """Which matches, in which order. ``event`` and ``athlete`` are whole names.

    ``stage`` may be given several times; none at all is every stage.
    """

    search: str = ""
    event: str = ""
    athlete: str = ""
    stage: list[Stage] = []
    sort: OrderKey = "added"
    descending: bool = True
    offset: int = Field(default=0, ge=0)
    limit: int = Field(default=24, ge=1, le=100)


class StandingOut(BaseModel):
    """Proposals that wait for a person, all proposals, and the confirmed points."""

    waiting: int
    total: int
    points: dict[Athlete, int]
    trouble: str


class RunOut(JobOut):
    """An analysis in the list.

    ``ahead`` is how many run before it; ``rate`` is seconds of footage done in a second.
    """

    ahead: int
    rate: float | None


class SourceOut(BaseModel):
    """Where the footage lies, whether it was copied into the library, and whether it is there."""

    path: str
    copied: bool
    there: bool


class RowOut(MatchOut):
    """A match in the list. Rule set and division are those in force now."""

    stage: Stage
    note: str
    match_time_s: float | None
    standing: StandingOut | None
    run: RunOut | None
    source: SourceOut | None


class ShelfOut(BaseModel):
    """A page of the list.

    ``counts`` counts the stages among what was searched, before a stage is chosen; ``events`` and
    ``athletes`` are those of the whole library; ``read_only`` says why nothing can be changed, ""
    where everything can.
    """

    total: int
    in_library: int
    offset: int
    open_jobs: int
    read_only: str
    counts: dict[Stage, int]
    events: list[str]
    athletes: list[str]
    matches: list[RowOut]


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

    def info(self) -> AthleteInfo:
        """For the library."""
        return AthleteInfo(self.name.strip(), self.gi_colour.strip(), self.belt.strip())


class DetailsIn(BaseModel):
    """Everything a person says of a match."""

    title: str = Field(default="", max_length=200)
    athlete_a: AthleteIn = AthleteIn()
    athlete_b: AthleteIn = AthleteIn()
    event: str = Field(default="", max_length=200)
    mat: str = Field(default="", max_length=40)
    held_on: date | None = None
    division: dict[str, str] | None = None
    rules: str = Field(default="sport-jiu-jitsu", max_length=300)
    note: str = Field(default="", max_length=2000)

    def info(self, usual_title: str) -> MatchInfo:
        """For the library."""
        return MatchInfo(
            title=self.title.strip() or usual_title,
            athlete_a=self.athlete_a.info(),
            athlete_b=self.athlete_b.info(),
            event=self.event.strip(),
            mat=self.mat.strip(),
            held_on=self.held_on,
            division=self.division or None,
            rules=self.rules,
            note=self.note.strip(),
        )


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


class AnalyseIn(BaseModel):
    """How to analyse."""

    every_frame: bool = False


class LookIn(BaseModel):
    """A folder, or a file, on this computer."""

    path: str = Field(max_length=4000)


class FoundOut(BaseModel):
    """A video that was found; ``match_id`` where it is in the library already."""

    path: str
    name: str
    size_bytes: int
    match_id: int | None


class FoundListOut(BaseModel):
    """Videos that were found; ``more`` where there were too many to list."""

    videos: list[FoundOut]
    more: bool


class AnnounceIn(BaseModel):
    """A file that is to be sent."""

    name: str = Field(max_length=500)
    size_bytes: int = Field(ge=0)


class AnnouncedOut(BaseModel):
    """Where to send it."""

    key: str


class SentOut(BaseModel):
    """A file that has come, whole."""

    key: str
    size_bytes: int


class BelongingsOut(BaseModel):
    """What is deleted with a match: and ``stays`` is the footage that is not, "" where none is."""

    analyses: int
    edits: int
    made_bytes: int
    copied: str
    stays: str
    running: bool
