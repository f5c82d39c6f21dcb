"""The list of matches: where each stands, searched, filtered, sorted, and cut into pages."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from posescore.errors import PoseScoreError
from posescore.library.adding import is_copy
from posescore.library.jobs import Job, JobState
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.standing import Standing
from posescore.library.store.match_rows import SortKey
from posescore.scoring.rules import RuleSet
from posescore.terms import Athlete
from posescore.web.library_wire import (
    RowOut,
    RunOut,
    ShelfOut,
    SourceOut,
    Stage,
    StandingOut,
    Wanted,
)
from posescore.web.sources import match_time_of
from posescore.web.view import job_out, match_out


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
        return Stage.UNDECIDED if self.standing.waiting else Stage.DECIDED


def shelf(library: Library, wanted: Wanted) -> ShelfOut:
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
    return ShelfOut(
        total=len(shown),
        in_library=len(in_library),
        offset=wanted.offset,
        open_jobs=len(queue),
        read_only=library.read_only,
        counts=Counter(line.stage for line in lines),
        events=_names(match.info.event for match in in_library),
        athletes=_names(match.info.athlete(a).name for match in in_library for a in Athlete),
        matches=[row_out(library, line, queue) for line in page],
    )


def _sort_key(wanted: Wanted) -> SortKey:
    return "added" if wanted.sort == "undecided" else wanted.sort


def _waiting(line: Line) -> int:
    return 0 if line.standing is None else line.standing.waiting


def _is_wanted(match: Match, wanted: Wanted) -> bool:
    names = [match.info.athlete(athlete).name.casefold() for athlete in Athlete]
    by_event = not wanted.event or match.info.event.casefold() == wanted.event.casefold()
    return by_event and (not wanted.athlete or wanted.athlete.casefold() in names)


def _names(names: Iterable[str]) -> list[str]:
    return sorted({name for name in names if name}, key=str.casefold)


def line_of(library: Library, match: Match) -> Line:
    """One match with what tells where it stands."""
    jobs = library.jobs(match.id)
    return Line(match, library.standings([match]).get(match.id), jobs[0] if jobs else None)


def row_out(library: Library, line: Line, queue: Sequence[Job]) -> RowOut:
    """A line of the list, as sent."""
    match, standing = line.match, line.standing
    rules, division = match.info.rules, match.info.division
    if standing is not None:
        rules, division = standing.rules, standing.division
    shown = match_out(match).model_dump() | {
        "rules": rules,
        "division": dict(division) if division else None,
    }
    return RowOut(
        **shown,
        stage=line.stage,
        note=match.info.note,
        match_time_s=_match_time_s(rules, division),
        standing=None if standing is None else _standing_out(standing),
        run=None if line.job is None else _run_out(line.job, match, queue),
        source=_source_out(library, match),
    )


def _match_time_s(rules: str, division: Mapping[str, str] | None) -> float | None:
    try:
        return match_time_of(RuleSet.load(rules), division) if division else None
    except PoseScoreError:
        return None  # a rule set of a person's own that is gone; its review says so


def _standing_out(standing: Standing) -> StandingOut:
    return StandingOut(
        waiting=standing.waiting,
        total=standing.total,
        points=dict(standing.points),
        trouble=standing.trouble,
    )


def _run_out(job: Job, match: Match, queue: Sequence[Job]) -> RunOut:
    now = datetime.now(UTC)
    ahead = sum(other.id < job.id for other in queue) if job.state is JobState.QUEUED else 0
    return RunOut(
        **job_out(job, job.remaining_s(now)).model_dump(), ahead=ahead, rate=_rate(job, match, now)
    )


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
    there = Path(footage.path).is_file()
    return SourceOut(path=footage.path, copied=is_copy(library, match), there=there)
