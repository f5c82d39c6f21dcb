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
from posescore.words import name_field

_ORDINALS = ("first", "second", "third", "fourth")


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
    who, other = name_field(athlete), name_field(athlete.other)
    why = f"{who} fled the area to avoid a score: {points} points to {other}."
    clause = rules.clauses["fled"]
    criterion = Criterion("fled to avoid a score", True, "marked", clause, event.confidence)
    kind = ProposalKind.FLED
    return _instant(event, athlete.other, kind, clause, why, points, criteria=(criterion,))


def _penalty(event: MatchEvent, athlete: Athlete, count: int, rules: RuleSet) -> list[Proposal]:
    clause, kind = rules.clauses["penalty"], ProposalKind.PENALTY
    ordinal = _ORDINALS[count - 1] if count <= len(_ORDINALS) else f"{count}th"
    step = step_of(count, rules)
    who = name_field(athlete)
    outcome = ": disqualified" if step.disqualified else ""
    marks = [_instant(event, athlete, kind, clause, f"{who}'s {ordinal} penalty{outcome}.")]
    if step.points or step.advantages:
        gets = f"{step.points} points" if step.points else "an advantage"
        why = f"{who}'s {ordinal} penalty gives {name_field(athlete.other)} {gets}."
        marks.append(
            _instant(event, athlete.other, kind, clause, why, step.points, step.advantages)
        )
    return marks


def _advantage(event: MatchEvent, rules: RuleSet) -> Proposal:
    athlete = event.athlete or Athlete.A
    why = f"An advantage was marked for {name_field(athlete)}."
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
            who, other = name_field(attacker), name_field(attacker.other)
            points = rules.points[ProposalKind.OUT_OF_AREA]
            why = (
                f"{who} had a submission locked and {other}'s defence took "
                f"them out of the area: {points} points to {who}."
            )
            locked = Criterion("a submission was locked", True, "marked", clause, lock.confidence)
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
    ended = "the match ended" if lock.open else f"{name_field(attacker.other)} got free"
    outcome = (
        "an advantage."
        if counts
        else "no points. If the danger was real the referee gives an advantage; mark it if so."
    )
    danger = Criterion(
        "a submission with real danger",
        True if counts else None,
        f"locked until {ended}",
        clause,
        lock.confidence,
    )
    return Proposal(
        time_s=lock.interval.end_s,
        athlete=attacker,
        kind=ProposalKind.NEAR if counts else ProposalKind.NONE,
        points=0,
        advantage=int(counts),
        clause=clause,
        why=f"{name_field(attacker)} had a submission locked until {ended}: {outcome}",
        confidence=lock.confidence,
        evidence=lock.interval,
        would_be=None if counts else ProposalKind.NEAR,
        criteria=(danger,),
    )
