"""A line of the score log as the API sends it: what, why, and everything it can be judged by."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from posescore.export.asks import asks_of, sources_of
from posescore.export.evidence import (
    answer_of,
    deciding,
    events_on_the_way,
    hold_shown,
    look_at,
    path_of,
    stills_of,
    sureness_of,
)
from posescore.export.rows import LogLine, lines_of
from posescore.export.sentences import two_sentences
from posescore.export.words import kind_of, named, why_of
from posescore.library.match import Match
from posescore.library.review.review import Decision, Review, Verdict
from posescore.scoring.proposal import Criterion
from posescore.terms import Athlete
from posescore.web.api import schemas
from posescore.web.api.views import event_out, fields_of, names_of


def proposals_out(review: Review, match: Match) -> list[schemas.ProposalOut]:
    """All lines, in time order, with names in place of the letters A and B."""
    names = names_of(match)
    return [_proposal_out(line, review, names) for line in lines_of(review, match)]


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
        "why": why_of(line, names) if made is item.shown else named(made.why, names),
        "summary": two_sentences(line, names),
        "rule_text": asks_of(kind_of(made), review.rules),
        "sources": sources_of(clauses, review.rules),
        "look_s": look_at(item, review).time_s,
        "path": [{**fields_of(step), "words": named(step.words, names)} for step in path],
        "on_the_way": [event_out(each) for each in events_on_the_way(made, path, review.events)],
        "criteria": [
            _criterion(each, names, decides=each is decides, sureness=sureness_of(each, made, held))
            for each in made.criteria
        ],
        "stills": stills_of(item, review),
        "hold": held.key if held else None,
        "added": decision is not None and decision.verdict is Verdict.ADDED,
        "still_proposed": item.proposal is not None,
        "note": item.note,
        "decision": _decision(decision),
        "decided_award": item.award,
    }
    return schemas.ProposalOut.model_validate(out)


def _criterion(
    criterion: Criterion, names: Mapping[Athlete, str], *, decides: bool, sureness: float
) -> dict[str, Any]:
    answer = answer_of(criterion)
    if_met, if_not = answer or (None, None)
    return {
        **fields_of(criterion),
        "name": named(criterion.name, names),
        "seen": named(criterion.seen, names),
        "probability": sureness,
        "decides": decides,
        "check": criterion.check if answer else "",
        "if_met": if_met,
        "if_not": if_not,
    }


def _decision(decision: Decision | None) -> dict[str, Any] | None:
    if decision is None:
        return None
    return {**fields_of(decision), "verdict": decision.verdict.value, "by": decision.author}
