"""From the library's types to what the API sends."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from posescore.export.summary import curve_of
from posescore.library.jobs import Job
from posescore.library.match import Match
from posescore.library.review.entries import Entry
from posescore.library.review.review import Review, ReviewEvent
from posescore.scoring.match_clock import MatchClock
from posescore.scoring.proposal import Result, Tally
from posescore.terms import Athlete
from posescore.web import wire
from posescore.words import check_words, clock_words, how_seen, with_names

_SLACK_S: Final = 2.0
"""A clock that a hand starts and stops is no more exact than this."""
_ENTRY_WORDS: Final[Mapping[str, str]] = {
    "confirm": "confirm a proposal",
    "change": "change a proposal",
    "dismiss": "dismiss a proposal",
    "reopen": "open a proposal again",
    "add_award": "add what was missed",
    "set_edge": "move the edge of a hold",
    "split": "split a hold",
    "merge": "merge two holds",
    "relabel": "name a hold",
    "add_hold": "add a hold",
    "remove_hold": "remove a hold",
    "name_stretch": "name a stretch",
    "set_check": "set a criterion",
    "add_event": "mark an event",
    "remove_event": "remove an event",
    "swap_athletes": "exchange A and B",
    "set_rules": "choose the rule set",
    "set_division": "choose the division",
    "settle": "settle a difference",
}


def match_out(match: Match) -> wire.MatchOut:
    """A match for the list."""
    info = match.info
    when = info.held_on.isoformat() if info.held_on else ""
    mat = f"mat {info.mat}" if info.mat.isdigit() else info.mat
    athletes = {
        athlete: wire.AthleteOut(
            name=info.athlete(athlete).name,
            gi_colour=info.athlete(athlete).gi_colour,
            belt=info.athlete(athlete).belt,
            shown=_shown(info.name_of(athlete), athlete),
        )
        for athlete in Athlete
    }
    return wire.MatchOut(
        id=match.id,
        title=info.title,
        about=", ".join(part for part in (info.event, mat, when) if part),
        event=info.event,
        mat=info.mat,
        held_on=info.held_on,
        division=dict(info.division) if info.division else None,
        rules=info.rules,
        duration_s=info.footage.duration_s if info.footage else None,
        athletes=athletes,
        added_at=match.added_at,
        changed_at=match.changed_at,
        analysed=match.analysis_version is not None,
    )


def _shown(name: str, athlete: Athlete) -> str:
    """The name; a bare letter would stand twice beside the athlete's sign."""
    return f"Athlete {athlete}" if name == athlete else name


def entry_words(entry: Entry | None) -> str | None:
    """What undo or redo would act on, in words; None where there is nothing."""
    return None if entry is None else _ENTRY_WORDS.get(entry.kind, entry.kind)


def score_out(review: Review) -> wire.ScoreOut:
    """Both scores."""
    return wire.ScoreOut(
        confirmed=_tallies(review.confirmed_score), proposed=_tallies(review.proposed_score)
    )


def _tallies(score: Mapping[Athlete, Tally]) -> dict[Athlete, wire.TallyOut]:
    nothing = Tally()
    return {
        athlete: wire.TallyOut(
            points=score.get(athlete, nothing).points,
            advantages=score.get(athlete, nothing).advantages,
            penalties=score.get(athlete, nothing).penalties,
        )
        for athlete in Athlete
    }


def curve_out(review: Review) -> list[wire.ScoreStepOut]:
    """Confirmed points over time."""
    standing = [item.award for item in review.items if item.award is not None]
    return [
        wire.ScoreStepOut(time_s=step.time_s, points=dict(step.points))
        for step in curve_of(standing, review)
    ]


def result_out(result: Result | None, match: Match) -> wire.ResultOut | None:
    """How the match ends by what is confirmed."""
    if result is None:
        return None
    why = with_names(result.why, match.info.names)
    return wire.ResultOut(winner=result.winner, by=result.by, why=why)


def holds_out(review: Review) -> list[wire.HoldOut]:
    """The holds as they stand."""
    return [
        wire.HoldOut(
            id=kept.key,
            start_s=kept.hold.start_s,
            end_s=kept.hold.end_s,
            position=kept.hold.position,
            upper=kept.hold.upper,
            confidence=kept.hold.confidence,
            edited=kept.edited,
            checks=[
                wire.CheckOut(
                    name=check.name,
                    value=check.value,
                    probability=check.probability,
                    seen=check.seen or check_words(check.name, check.value),
                    how_seen=how_seen(check.fraction, check.visible, check.probability),
                    fraction=check.fraction,
                    visible=check.visible,
                )
                for check in kept.hold.checks
            ],
        )
        for kept in review.holds
    ]


def event_out(kept: ReviewEvent) -> wire.EventOut:
    """An event as it stands."""
    return wire.EventOut(
        id=kept.key,
        time_s=kept.event.time_s,
        event=kept.event.event,
        athlete=kept.event.athlete,
        confidence=kept.event.confidence,
        by_person=kept.entry_id is not None,
    )


def events_out(review: Review) -> list[wire.EventOut]:
    """The events as they stand."""
    return [event_out(kept) for kept in review.events]


def findings_out(review: Review) -> list[wire.FindingOut]:
    """What may be wrong with the track."""
    return [
        wire.FindingOut(
            kind=finding.kind,
            start_s=finding.interval.start_s,
            end_s=finding.interval.end_s,
            confidence=finding.confidence,
            message=finding.message,
        )
        for finding in review.findings
    ]


def running_out(review: Review) -> list[tuple[float, float]]:
    """Stretches in which the match clock runs, as the engine has it."""
    holds = [kept.hold for kept in review.holds]
    events = [kept.event for kept in review.events]
    clock = MatchClock.of(holds, events, review.rule_set, review.clock.end_s)
    return [(stretch.start_s, stretch.end_s) for stretch in clock.running]


def clock_note(running: Sequence[tuple[float, float]], match_s: float | None) -> str:
    """One sentence where the clock runs longer than a match of this division lasts, else ""."""
    run_s = sum(to_s - from_s for from_s, to_s in running)
    if match_s is None or run_s <= match_s + _SLACK_S:
        return ""
    over = clock_words(run_s - match_s).partition(".")[0]
    return (
        f"The clock runs {over} longer than a match of this division lasts, and what happens then "
        "counts too: mark its start, its stops and its end."
    )


def job_out(job: Job, remaining_s: float | None) -> wire.JobOut:
    """A job."""
    return wire.JobOut(
        id=job.id,
        match_id=job.match_id,
        state=job.state,
        progress=job.progress,
        stage=job.stage,
        message=job.message,
        remaining_s=remaining_s,
    )
