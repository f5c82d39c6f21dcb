"""Proposals that rest on marked events: penalties, leaving the area, submissions, advantages."""

from __future__ import annotations

from collections.abc import Sequence

from posescore.holds.event import EventName, MatchEvent
from posescore.scoring.match_clock import MatchClock, penalised
from posescore.scoring.proposal import Criterion, Proposal, ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.scoring.score import step_of
from posescore.scoring.timeline import TOLERANCE_S, Lock
from posescore.terms import Athlete, Interval
from posescore.words import ordinal, sentence


def marked_proposals(
    events: Sequence[MatchEvent],
    locks: Sequence[Lock],
    rules: RuleSet,
    clock: MatchClock,
) -> list[Proposal]:
    """All proposals that come from events, up to the end of the match."""
    live = [e for e in events if e.time_s <= clock.end_s + TOLERANCE_S]
    carried_out = _out_of_area(live, locks, rules)
    found = [proposal for proposal, _ in carried_out]
    found += _penalties(live, rules)
    found += [_advantage(e, rules) for e in live if e.event is EventName.ADVANTAGE and e.athlete]
    paid = [lock for _, lock in carried_out]
    escaped = [lock for lock in locks if lock not in paid and not (clock.decided and lock.open)]
    found += [_escaped(lock, rules) for lock in escaped if not _marked(lock, live, rules)]
    return found


def _instant(
    event: MatchEvent,
    athlete: Athlete,
    kind: ProposalKind,
    clause: str,
    why: str,
    points: int = 0,
    advantage: int = 0,
    criteria: tuple[Criterion, ...] = (),
) -> Proposal:
    return Proposal(
        time_s=event.time_s,
        athlete=athlete,
        kind=kind,
        points=points,
        advantage=advantage,
        clause=clause,
        why=why,
        confidence=event.confidence,
        evidence=Interval(event.time_s, event.time_s),
        criteria=criteria,
    )


def _penalties(events: Sequence[MatchEvent], rules: RuleSet) -> list[Proposal]:
    """A mark for the penalised athlete and, apart from it, what the opponent gets for it.

    Points and advantages of a proposal are always its own athlete's, so that they add up.
    """
    counts = dict.fromkeys(Athlete, 0)
    found: list[Proposal] = []
    for event, athlete in penalised(events, rules):
        counts[athlete] += 1
        if event.event is EventName.FLED:
            found.append(_fled(event, athlete, rules))
        found += _penalty(event, athlete, counts[athlete], rules)
    return found


def _fled(event: MatchEvent, athlete: Athlete, rules: RuleSet) -> Proposal:
    points = rules.points[ProposalKind.FLED]
    why = sentence("fled", who=athlete, other=athlete.other, points=points)
    clause, kind = rules.clauses["fled"], ProposalKind.FLED
    asks, seen = sentence("asks_fled"), sentence("seen_marked")
    criterion = Criterion(asks, True, seen, clause, event.confidence)
    return _instant(event, athlete.other, kind, clause, why, points, criteria=(criterion,))


def _penalty(event: MatchEvent, athlete: Athlete, count: int, rules: RuleSet) -> list[Proposal]:
    clause, kind = rules.clauses["penalty"], ProposalKind.PENALTY
    step = step_of(count, rules)

    def why(name: str) -> str:
        fields = {"ordinal": ordinal(count), "points": step.points}
        return sentence(name, who=athlete, other=athlete.other, **fields)

    mark = why("penalty_disqualified" if step.disqualified else "penalty")
    marks = [_instant(event, athlete, kind, clause, mark)]
    if step.points or step.advantages:
        gets = why("penalty_points" if step.points else "penalty_advantage")
        marks.append(
            _instant(event, athlete.other, kind, clause, gets, step.points, step.advantages)
        )
    return marks


def _advantage(event: MatchEvent, rules: RuleSet) -> Proposal:
    athlete = event.athlete or Athlete.A
    why = sentence("marked_advantage", who=athlete)
    clause = rules.clauses["advantage"]
    return _instant(event, athlete, ProposalKind.NEAR, clause, why, advantage=1)


def _out_of_area(
    events: Sequence[MatchEvent], locks: Sequence[Lock], rules: RuleSet
) -> list[tuple[Proposal, Lock]]:
    """A submission defended correctly over the edge of the area: points to the attacker."""
    found: list[tuple[Proposal, Lock]] = []
    for event in events:
        if event.event is not EventName.OUT_OF_AREA:
            continue
        late_s = event.time_s - 2 * rules.seconds.event_slack - TOLERANCE_S
        for lock in locks:
            during = lock.interval.start_s <= event.time_s and lock.interval.end_s >= late_s
            if not during or event.athlete is lock.attacker:
                continue
            attacker, clause = lock.attacker, rules.clauses["out_of_area"]
            points = rules.points[ProposalKind.OUT_OF_AREA]
            why = sentence("out_of_area", who=attacker, other=attacker.other, points=points)
            asks, seen = sentence("asks_locked"), sentence("seen_marked")
            locked = Criterion(asks, True, seen, clause, lock.confidence)
            kind = ProposalKind.OUT_OF_AREA
            proposal = _instant(event, attacker, kind, clause, why, points, criteria=(locked,))
            found.append((proposal, lock))
    return found


def _marked(lock: Lock, events: Sequence[MatchEvent], rules: RuleSet) -> bool:
    """True when a person marked an advantage for this submission, or it ended in a tap."""
    until_s = lock.interval.end_s + rules.seconds.hold
    advantage = any(
        e.event is EventName.ADVANTAGE
        and e.athlete is lock.attacker
        and lock.interval.start_s <= e.time_s <= until_s
        for e in events
    )
    return advantage or any(
        e.event is EventName.TAP and abs(e.time_s - lock.interval.end_s) <= TOLERANCE_S
        for e in events
    )


def _escaped(lock: Lock, rules: RuleSet) -> Proposal:
    """A locked submission without a tap: an advantage where the danger was real."""
    counts = rules.submission_advantage
    clause = rules.clauses["advantage"]
    attacker = lock.attacker
    until = "locked_until_end" if lock.open else "locked_until_free"
    locked = sentence(until, other=attacker.other)
    why = "submission_advantage" if counts else "submission_no_points"
    danger = Criterion(
        sentence("asks_danger"), True if counts else None, locked, clause, lock.confidence
    )
    return Proposal(
        time_s=lock.interval.end_s,
        athlete=attacker,
        kind=ProposalKind.NEAR if counts else ProposalKind.NONE,
        points=0,
        advantage=int(counts),
        clause=clause,
        why=sentence(why, who=attacker, locked=locked),
        confidence=lock.confidence,
        evidence=lock.interval,
        would_be=None if counts else ProposalKind.NEAR,
        criteria=(danger,),
    )
