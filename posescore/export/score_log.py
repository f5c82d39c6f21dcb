"""The score log as JSON, with a versioned schema. ``posescore score`` reads it again."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path, PurePath
from typing import Any, Final

from posescore import __version__
from posescore.export.rows import LogLine, frame_at, frames_of, lines_of
from posescore.library.match import Match
from posescore.library.review.replay import division_of
from posescore.library.review.review import Decision, Review
from posescore.library.review.settling import Settlement, settlements
from posescore.library.store.plain import utf8
from posescore.scoring.log import MatchLog, log_to_json, proposal_to_json
from posescore.scoring.proposal import Proposal, Result, Tally
from posescore.terms import Athlete
from posescore.words import LETTERS, with_names

FORMAT: Final = "posescore-score-log"
VERSION: Final = 1
SCHEMA_PATH: Final = Path(__file__).with_name("score_log.schema.json")
"""The JSON Schema (draft 2020-12) of what is written."""


def log_json(review: Review, match: Match) -> str:
    """The score log as JSON text."""
    data = log_data(review, match)
    return utf8(json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False)) + "\n"


def log_data(review: Review, match: Match) -> dict[str, Any]:
    """The score log as plain data: what people confirmed, what is only proposed, and why.

    ``rules``, ``division``, ``holds`` and ``events`` are what the engine was given.
    """
    given = MatchLog(
        review.rule_set,
        division_of(review.rule_set, review.division),
        tuple(held.hold for held in review.holds),
        tuple(marked.event for marked in review.events),
    )
    clock = review.clock
    settled = [_settlement(each) for each in settlements(review)]
    return {
        "format": FORMAT,
        "version": VERSION,
        "program_version": __version__,
        "match": _match(match),
        "frames": {
            "count": len(clock),
            "end_s": clock.end_s,
            "mean_frames_per_s": clock.mean_frames_per_s,
        },
        **log_to_json(given),
        "hold_frames": [list(frames_of(clock, held.hold.interval)) for held in review.holds],
        "event_frames": [frame_at(clock, marked.event.time_s) for marked in review.events],
        "log": [_line(line) for line in lines_of(review, match)],
        "score": {
            "confirmed": _score(review.confirmed_score),
            "proposed": _score(review.proposed_score),
        },
        "result": {
            "confirmed": _result(review.confirmed_result),
            "proposed": _result(review.proposed_result),
        },
        "undecided": len(review.undecided),
        "analysis_version": review.analysis_version,
        **({"settlements": settled} if settled else {}),
        **_ending(review),
    }


def _ending(review: Review) -> dict[str, Any]:
    """End, official result and scoreboard; what is not known is left out."""
    made: dict[str, Any] = {}
    if review.end is not None:
        made["end"] = {"time_s": round(review.end.time_s, 6), "by": str(review.end.by)}
    if review.result is not None:
        made["outcome"] = {**asdict(review.result), "entered": review.outcome is not None}
    if review.readings:
        made["scoreboard"] = [
            {"at_s": each.at_s, "score": _score(each.score)} for each in review.readings
        ]
    return made


def _match(match: Match) -> dict[str, Any]:
    info = match.info
    footage = None
    if info.footage is not None:
        footage = {
            "file_name": PurePath(info.footage.path).name,
            "sha256": info.footage.sha256,
            "size_bytes": info.footage.size_bytes,
        }
    return {
        "id": match.id,
        "title": info.title,
        "event": info.event,
        "mat": info.mat,
        "held_on": None if info.held_on is None else info.held_on.isoformat(),
        "athletes": {str(athlete): asdict(info.athlete(athlete)) for athlete in Athlete},
        "footage": footage,
        "note": info.note,
    }


def _line(line: LogLine) -> dict[str, Any]:
    item = line.item
    return {
        "key": item.key,
        "status": line.status,
        "time_s": round(line.time_s, 6),
        "frame_index": line.frame_index,
        "evidence": {
            "start_s": round(line.evidence.start_s, 6),
            "end_s": round(line.evidence.end_s, 6),
            "first_frame": line.first_frame,
            "last_frame": line.last_frame,
        },
        "proposal": None if item.proposal is None else proposal_to_json(item.proposal),
        "decision": None if item.decision is None else _decision(item.decision),
        "note": item.note,
        **({"behind_end": True} if item.behind_end else {}),
    }


def _decision(decision: Decision) -> dict[str, Any]:
    return {
        "verdict": str(decision.verdict),
        "by": decision.author,
        "at": decision.made_at.isoformat(),
        "reason": decision.reason,
        "award": None if decision.award is None else _award(decision.award),
    }


def _award(award: Proposal) -> dict[str, Any]:
    whole = proposal_to_json(award)
    return {name: whole[name] for name in _AWARD}


_AWARD: Final = ("time_s", "athlete", "kind", "points", "advantage", "clause")


def _settlement(settled: Settlement) -> dict[str, Any]:
    """A difference of two opinions that the shared log was given one answer to."""
    what = settled.what
    stretch = what.stretch and asdict(what.stretch)
    return {
        "between": [what.one, what.other],
        "taken": str(what.taken),
        "line": what.line,
        "stretch": stretch,
        "by": settled.by,
        "at": settled.made_at.isoformat(),
    }


def _score(score: Mapping[Athlete, Tally]) -> dict[str, Any]:
    return {str(athlete): asdict(score[athlete]) for athlete in Athlete}


def _result(result: Result | None) -> dict[str, Any] | None:
    if result is None:
        return None
    return asdict(result) | {"why": with_names(result.why, LETTERS)}
