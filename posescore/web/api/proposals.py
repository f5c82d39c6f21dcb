"""A line of the score log as the API sends it: what, why, and everything it can be judged by."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from posescore.export.evidence import (
    PathStep,
    answer_of,
    confidence_of,
    deciding,
    events_on_the_way,
    hold_shown,
    look_at,
    not_looked_at,
    path_of,
    stills_of,
)
from posescore.export.rows import LogLine, lines_of
from posescore.export.sentences import (
    asks_of,
    how_seen_of,
    kind_of,
    sources_of,
    two_sentences,
    why_of,
)
from posescore.library.match import Match
from posescore.library.review.entries import ReviewHold
from posescore.library.review.review import Decision, Review, Verdict
from posescore.scoring.proposal import Criterion
from posescore.terms import Athlete
from posescore.web.api import schemas
from posescore.web.api.views import event_out, fields_of
from posescore.words import phrase, state_words, with_names


def proposals_out(review: Review, match: Match) -> list[schemas.ProposalOut]:
    """All lines, in time order, with names in place of the letters A and B."""
    return [_proposal_out(line, review, match.info.names) for line in lines_of(review, match)]


def _proposal_out(
    line: LogLine, review: Review, names: Mapping[Athlete, str]
) -> schemas.ProposalOut:
    item, decision = line.item, line.item.decision
    made = item.proposal or (decision.seen if decision else item.shown)
    held = hold_shown(made, review.holds)
    decides = deciding(made)
    path = path_of(made, review.holds)
    clauses = [made.clause, *(each.clause for each in made.criteria)]
    out = {
        **fields_of(made),
        **fields_of(made.evidence),
        "id": item.key,
        "why": why_of(line, names) if made is item.shown else with_names(made.why, names),
        "summary": two_sentences(line, names, review.rule_set),
        "rule_text": asks_of(kind_of(made), review.rule_set),
        "sources": sources_of(clauses, review.rule_set),
        "look_s": look_at(item, review).time_s,
        "path": [_step(step, names) for step in path],
        "on_the_way": [event_out(each) for each in events_on_the_way(made, path, review.events)],
        "criteria": [
            _criterion(each, each is decides, confidence_of(each, made, held), names, held)
            for each in made.criteria
        ],
        "stills": stills_of(item, review),
        "hold": held.key if held else None,
        "added": decision is not None and decision.verdict is Verdict.ADDED,
        "still_proposed": item.proposal is not None,
        "note": item.note,
        "decision": _decision(decision),
        "decided_award": item.award,
        "behind_end": item.behind_end,
        "not_looked_at": not_looked_at(made),
        "checked": len(made.criteria),
    }
    return schemas.ProposalOut.model_validate(out)


def _step(step: PathStep, names: Mapping[Athlete, str]) -> dict[str, Any]:
    hold, words = step.hold, with_names(state_words(step.state), names)
    nowhere = {"start_s": None, "end_s": None, "confidence": None}
    known = fields_of(hold) if hold else nowhere
    return {**known, "words": words, "position": step.state.position}


def _criterion(
    criterion: Criterion, decides: bool, confidence: float, names: Mapping[Athlete, str],
    held: ReviewHold | None,
) -> dict[str, Any]:  # fmt: skip
    answer, upper = answer_of(criterion), None if held is None else held.hold.upper
    whose = upper.other if answer and answer.of_lower and upper else upper
    return {
        **fields_of(criterion),
        "name": phrase(criterion.name),
        "seen": with_names(criterion.seen, names),
        "how_seen": how_seen_of(criterion),
        "probability": confidence,
        "decides": decides,
        "check": criterion.check if answer else "",
        "if_met": answer.met if answer else None,
        "if_not": answer.unmet if answer else None,
        "part": answer.part if answer else None,
        "part_of": whose if answer else None,
    }


def _decision(decision: Decision | None) -> dict[str, Any] | None:
    if decision is None:
        return None
    return {**fields_of(decision), "verdict": decision.verdict.value, "by": decision.author}
