"""A line of the score log as the API sends it: what, why, and everything it can be judged by."""

from __future__ import annotations

from collections.abc import Mapping

from posescore.export.evidence import (
    PathStep,
    answer_of,
    confidence_of,
    deciding,
    events_on_the_way,
    hold_shown,
    look_at,
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
from posescore.library.review.review import Decision, Review, Verdict
from posescore.scoring.proposal import Criterion, Proposal
from posescore.terms import Athlete
from posescore.web import wire
from posescore.web.view import event_out
from posescore.words import state_words, with_names


def proposals_out(review: Review, match: Match) -> list[wire.ProposalOut]:
    """All lines, in time order, with names in place of the letters A and B."""
    return [_proposal_out(line, review, match.info.names) for line in lines_of(review, match)]


def _proposal_out(line: LogLine, review: Review, names: Mapping[Athlete, str]) -> wire.ProposalOut:
    item, decision = line.item, line.item.decision
    made = item.proposal or (decision.seen if decision else item.shown)
    held = hold_shown(made, review.holds)
    decides = deciding(made)
    path = path_of(made, review.holds)
    return wire.ProposalOut(
        **_award(made).model_dump(),
        id=item.key,
        clause=made.clause,
        why=why_of(line, names) if made is item.shown else with_names(made.why, names),
        told=list(two_sentences(line, names, review.rule_set)),
        asks=asks_of(kind_of(made), review.rule_set),
        sources=sources_of(
            [made.clause, *(each.clause for each in made.criteria)], review.rule_set
        ),
        confidence=made.confidence,
        start_s=made.evidence.start_s,
        end_s=made.evidence.end_s,
        look_s=look_at(item, review).time_s,
        would_be=made.would_be,
        path=[_step(step, names) for step in path],
        on_the_way=[event_out(each) for each in events_on_the_way(made, path, review.events)],
        criteria=[
            _criterion(each, each is decides, confidence_of(each, made, held), names)
            for each in made.criteria
        ],
        stills=[
            wire.StillOut(label=still.label, time_s=still.time_s, frame_index=still.frame_index)
            for still in stills_of(item, review)
        ],
        hold=held.key if held else None,
        added=decision is not None and decision.verdict is Verdict.ADDED,
        live=item.proposal is not None,
        note=item.note,
        decision=_decision(decision),
        stands=_award(item.award) if item.award else None,
    )


def _step(step: PathStep, names: Mapping[Athlete, str]) -> wire.StepOut:
    hold = step.hold
    return wire.StepOut(
        words=with_names(state_words(step.state), names),
        position=step.state.position,
        start_s=hold.start_s if hold else None,
        end_s=hold.end_s if hold else None,
        confidence=hold.confidence if hold else None,
    )


def _criterion(
    criterion: Criterion, decides: bool, confidence: float, names: Mapping[Athlete, str]
) -> wire.CriterionOut:
    answer = answer_of(criterion)
    return wire.CriterionOut(
        name=criterion.name,
        met=criterion.met,
        seen=with_names(criterion.seen, names),
        how_seen=how_seen_of(criterion),
        fraction=criterion.fraction,
        visible=criterion.visible,
        clause=criterion.clause,
        probability=confidence,
        decides=decides,
        check=criterion.check if answer else "",
        if_met=answer.met if answer else None,
        if_not=answer.unmet if answer else None,
    )


def _award(award: Proposal) -> wire.AwardOut:
    return wire.AwardOut(
        time_s=award.time_s,
        athlete=award.athlete,
        kind=award.kind,
        points=award.points,
        advantage=award.advantage,
    )


def _decision(decision: Decision | None) -> wire.DecisionOut | None:
    if decision is None:
        return None
    return wire.DecisionOut(
        verdict=decision.verdict.value,
        by=decision.author,
        made_at=decision.made_at,
        reason=decision.reason,
    )
