"""From the library's types to what the API sends of a match."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from datetime import UTC, datetime
from typing import Any

from posescore.export.differences import differences, end_line, official_line, result_line
from posescore.library.jobs import Job
from posescore.library.match import Match, MatchInfo
from posescore.library.review.entries import Entry, ReviewHold
from posescore.library.review.review import Review, ReviewEvent
from posescore.library.store.plain import utf8
from posescore.scoring.match_clock import HAND_S, EndedBy, MatchClock
from posescore.scoring.proposal import Result, Tally
from posescore.scoring.rules import RuleSet
from posescore.terms import Athlete
from posescore.web.api import schemas
from posescore.words import WORDS, check_words, clock_words, how_seen, phrase, with_names


def fields_of(value: Any) -> dict[str, Any]:
    """The fields of a dataclass, those inside them as they are."""
    return {field.name: getattr(value, field.name) for field in fields(value)}


def readable(info: MatchInfo) -> MatchInfo:
    """What is said of a match as UTF-8 can hold it: names of files may hold bytes that are none."""
    names = ("title", "event", "mat", "note", "rules")
    texts: dict[str, Any] = {name: utf8(getattr(info, name)) for name in names}
    if info.footage is not None:
        return replace(info, **texts, footage=replace(info.footage, path=utf8(info.footage.path)))
    return replace(info, **texts)


def match_out(match: Match) -> schemas.MatchOut:
    """A match for the list."""
    info = readable(match.info)
    when = info.held_on.isoformat() if info.held_on else ""
    mat = f"{phrase('mat')} {info.mat}" if info.mat.isdigit() else info.mat
    athletes = {
        athlete: {**fields_of(info.athlete(athlete)), "shown": _shown(name, athlete)}
        for athlete, name in info.names.items()
    }
    made = {
        **fields_of(info),
        **fields_of(match),
        "about": ", ".join(part for part in (info.event, mat, when) if part),
        "division": dict(info.division) if info.division else None,
        "duration_s": info.footage.duration_s if info.footage else None,
        "athletes": athletes,
        "analysed": match.analysis_version is not None,
    }
    return schemas.MatchOut.model_validate(made)


def _shown(name: str, athlete: Athlete) -> str:
    """The name; a bare letter would stand twice beside the athlete's sign."""
    return phrase("Athlete {letter}", letter=athlete) if name == athlete else name


def entry_words(entry: Entry | None) -> str | None:
    """What undo or redo would act on, in words; None where there is nothing."""
    return None if entry is None or entry.edit is None else phrase(entry.edit.words)


def tallies(score: Mapping[Athlete, Tally]) -> dict[Athlete, Tally]:
    """A score with both athletes in it."""
    return {athlete: score.get(athlete, Tally()) for athlete in Athlete}


def result_out(result: Result | None, names: Mapping[Athlete, str]) -> schemas.ResultOut | None:
    """How the match ends by what is confirmed."""
    if result is None:
        return None
    return schemas.ResultOut(winner=result.winner, by=result.by, why=with_names(result.why, names))


def ending_out(review: Review, names: Mapping[Athlete, str]) -> dict[str, Any]:
    """How the match ended: end, result, scoreboard, and where they differ."""
    end = review.end
    return {
        "end": None if end is None else {**fields_of(end), "words": end_line(review)},
        "outcome": review.outcome,
        "readings": [{"at_s": each.at_s, "score": dict(each.score)} for each in review.readings],
        "words": result_line(review, names),
        "official": official_line(review),
        "differences": differences(review, names),
    }


def hold_out(kept: ReviewHold) -> schemas.HoldOut:
    """A hold as it stands."""
    checks = [
        {
            **fields_of(check),
            "seen": check.seen or check_words(check.name, check.value),
            "how_seen": how_seen(check.fraction, check.visible, check.probability),
        }
        for check in kept.hold.checks
    ]
    made = {**fields_of(kept.hold), "id": kept.key, "edited": kept.edited, "checks": checks}
    return schemas.HoldOut.model_validate(made)


def event_out(kept: ReviewEvent) -> schemas.EventOut:
    """An event as it stands."""
    made = {**fields_of(kept.event), "id": kept.key, "by_person": kept.entry_id is not None}
    return schemas.EventOut.model_validate(made)


def match_clock_out(review: Review) -> schemas.MatchClockOut:
    """When the match clock runs, and how long the match is to last."""
    running, lasts_s = running_out(review), match_time_of(review.rule_set, review.division)
    note = clock_note(running, lasts_s)
    if review.end is not None and review.end.by is EndedBy.TIME:
        time_up = WORDS["match_clock"]["time_up"]
        note = time_up.format(time=clock_words(review.end.time_s))
    return schemas.MatchClockOut(running=running, duration_s=lasts_s, note=note)


def match_time_of(rules: RuleSet, division: Mapping[str, str] | None) -> float | None:
    """Seconds that a match of that division lasts; None where nobody said the division."""
    if not division or "age" not in division:
        return None
    times = rules.match_times
    return times.match_s(times.division(division["age"], division.get("belt")))


def running_out(review: Review) -> list[tuple[float, float]]:
    """Stretches in which the match clock runs, as the engine has it."""
    holds = [kept.hold for kept in review.holds]
    events = [kept.event for kept in review.events]
    clock = MatchClock.of(holds, events, review.rule_set, review.end_s)
    return [(stretch.start_s, stretch.end_s) for stretch in clock.running]


def clock_note(running: Sequence[tuple[float, float]], match_s: float | None) -> str:
    """One sentence where the clock runs longer than a match of this division lasts, else ""."""
    run_s = sum(to_s - from_s for from_s, to_s in running)
    if match_s is None or run_s <= match_s + HAND_S:
        return ""
    over = clock_words(run_s - match_s).partition(".")[0]
    return str(WORDS["match_clock"]["too_long"].format(over=over))


def job_out(job: Job) -> schemas.JobOut:
    """A job."""
    made = {
        **fields_of(job),
        "stage": phrase(job.stage),
        "remaining_s": job.remaining_s(datetime.now(UTC)),
    }
    return schemas.JobOut.model_validate(made)
