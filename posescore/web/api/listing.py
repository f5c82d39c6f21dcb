"""The list of matches: where each stands, searched, filtered, sorted, and cut into pages."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field

from posescore.errors import PoseScoreError
from posescore.library.adding import is_copy
from posescore.library.jobs import Job, JobState
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.replay import rules_named
from posescore.library.standing import Standing
from posescore.library.store.match_rows import SortKey
from posescore.library.store.plain import utf8
from posescore.terms import Athlete
from posescore.web.api.schemas import JobOut, MatchOut, Out
from posescore.web.api.views import job_out, match_out, match_time_of


class Stage(StrEnum):
    """Where a match stands on its way from footage to a score log."""

    WAITING = "waiting"
    ANALYSING = "analysing"
    FAILED = "failed"
    NOT_ANALYSED = "not_analysed"
    UNDECIDED = "undecided"
    DECIDED = "decided"


OrderKey = SortKey | Literal["undecided"]


class ListQuery(BaseModel):
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


class StandingOut(Out):
    """Proposals that wait for a person, all proposals, and the confirmed points."""

    waiting: int
    total: int
    points: dict[Athlete, int]
    trouble: str
    doubt: str


class RunOut(JobOut):
    """An analysis in the list.

    ``ahead`` is how many run before it; ``rate`` is seconds of footage done in a second.
    """

    ahead: int
    rate: float | None


class SourceOut(Out):
    """Where the footage lies, whether it was copied into the library, and whether it is there.

    ``made_on`` is the day of the file, for matches whose day nobody wrote down.
    """

    path: str
    copied: bool
    there: bool
    made_on: date | None


class RowOut(MatchOut):
    """A match in the list. Rule set and division are those in force now."""

    stage: Stage
    note: str
    match_time_s: float | None
    standing: StandingOut | None
    run: RunOut | None
    source: SourceOut | None


class MatchListOut(BaseModel):
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


@dataclass(frozen=True, slots=True)
class Line:
    """A match with all that tells where it stands."""

    match: Match
    standing: Standing | None
    job: Job | None

    @property
    def stage(self) -> Stage:
        """An open analysis first, then what a person has left to do."""
        state = None if self.job is None else self.job.state
        if state is JobState.QUEUED:
            return Stage.WAITING
        if state is JobState.RUNNING:
            return Stage.ANALYSING
        if self.standing is None:
            return Stage.FAILED if state is JobState.FAILED else Stage.NOT_ANALYSED
        if self.standing.trouble:
            return Stage.FAILED
        done = self.standing.touched and not self.standing.waiting
        return Stage.DECIDED if done else Stage.UNDECIDED


def list_router(library: Library) -> APIRouter:
    """The endpoints under ``/library``, and the plain list."""
    router = APIRouter()

    @router.get("/matches", summary="All matches")
    def matches(
        search: str = "", sort: SortKey = "added", descending: bool = True
    ) -> list[MatchOut]:
        """Every match whose title, event, names or colours hold all searched words."""
        return [match_out(match) for match in library.matches(search, sort, descending)]

    @router.get("/library", summary="A page of the list of matches")
    def listed(wanted: Annotated[ListQuery, Query()]) -> MatchListOut:
        """Matches with where they stand: analyses that run, proposals that wait, points."""
        return match_list(library, wanted)

    @router.get("/library/{match_id}", summary="One match as in the list")
    def row(match_id: int) -> RowOut:
        """One match with where it stands."""
        return row_of(library, match_id)

    return router


def match_list(library: Library, wanted: ListQuery) -> MatchListOut:
    """A page of the list."""
    everything = library.matches(wanted.search, _sort_key(wanted), wanted.descending)
    in_library = library.matches() if wanted.search.split() else everything
    jobs = library.jobs()
    newest: dict[int, Job] = {}
    for job in jobs:
        newest.setdefault(job.match_id, job)
    found = [match for match in everything if _is_wanted(match, wanted)]
    standings = library.standings(found)
    lines = [Line(m, standings.get(m.id), newest.get(m.id)) for m in found]
    if wanted.sort == "undecided":
        lines.sort(key=_waiting, reverse=wanted.descending)
    shown = [line for line in lines if not wanted.stage or line.stage in wanted.stage]
    page = shown[wanted.offset : wanted.offset + wanted.limit]
    queue = [job for job in reversed(jobs) if not job.state.is_final]
    return MatchListOut(
        total=len(shown),
        in_library=len(in_library),
        offset=wanted.offset,
        open_jobs=len(queue),
        read_only=library.read_only,
        counts=Counter(line.stage for line in lines),
        events=_names(utf8(match.info.event) for match in in_library),
        athletes=_names(utf8(match.info.athlete(a).name) for match in in_library for a in Athlete),
        matches=[row_out(library, line, queue) for line in page],
    )


def _sort_key(wanted: ListQuery) -> SortKey:
    return "added" if wanted.sort == "undecided" else wanted.sort


def _waiting(line: Line) -> int:
    return 0 if line.standing is None else line.standing.waiting


def _is_wanted(match: Match, wanted: ListQuery) -> bool:
    names = [match.info.athlete(athlete).name.casefold() for athlete in Athlete]
    by_event = not wanted.event or match.info.event.casefold() == wanted.event.casefold()
    return by_event and (not wanted.athlete or wanted.athlete.casefold() in names)


def _names(names: Iterable[str]) -> list[str]:
    return sorted({name for name in names if name}, key=str.casefold)


def line_of(library: Library, match: Match) -> Line:
    """One match with what tells where it stands."""
    jobs = library.jobs(match.id)
    return Line(match, library.standings([match]).get(match.id), jobs[0] if jobs else None)


def row_of(library: Library, match_id: int) -> RowOut:
    """One match as the list shows it."""
    queue = list(reversed(library.jobs(open_only=True)))
    return row_out(library, line_of(library, library.match(match_id)), queue)


def row_out(library: Library, line: Line, queue: Sequence[Job]) -> RowOut:
    """A line of the list, as sent."""
    match, standing = line.match, line.standing
    rules, division = (standing or match.info).rules, (standing or match.info).division
    made = match_out(match).model_dump() | {
        "rules": rules,
        "division": dict(division) if division else None,
        "stage": line.stage,
        "note": utf8(match.info.note),
        "match_time_s": _match_time_s(rules, division),
        "standing": standing,
        "run": None if line.job is None else _run_out(line.job, match, queue),
        "source": _source_out(library, match),
    }
    return RowOut.model_validate(made)


def _match_time_s(rules: str, division: Mapping[str, str] | None) -> float | None:
    try:
        return match_time_of(rules_named(rules), division) if division else None
    except PoseScoreError:
        return None  # a rule set of a person's own that is gone; its review says so


def _run_out(job: Job, match: Match, queue: Sequence[Job]) -> RunOut:
    now = datetime.now(UTC)
    ahead = sum(other.id < job.id for other in queue) if job.state is JobState.QUEUED else 0
    return RunOut(**job_out(job).model_dump(), ahead=ahead, rate=_rate(job, match, now))


def _rate(job: Job, match: Match, now: datetime) -> float | None:
    """Seconds of footage done in a second, since the job last began."""
    footage = match.info.footage
    made = job.progress - job.started_progress
    if job.state is not JobState.RUNNING or job.started_at is None or made <= 0:
        return None
    spent_s = (now - job.started_at).total_seconds()
    if footage is None or not footage.duration_s or spent_s <= 0:
        return None
    return made * footage.duration_s / spent_s


def _source_out(library: Library, match: Match) -> SourceOut | None:
    footage = match.info.footage
    if footage is None:
        return None
    path = Path(footage.path)
    there = path.is_file()
    return SourceOut(
        path=utf8(footage.path), copied=is_copy(library, match), there=there,
        made_on=date.fromtimestamp(path.stat().st_mtime) if there else None,
    )  # fmt: skip
