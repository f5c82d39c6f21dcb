"""How a position was reached: takedown, sweep, guard pass, or none of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from posescore.holds.event import EventName, MatchEvent
from posescore.scoring.claims import Bar, Chain, Claim, repeat_bar, verdict_of
from posescore.scoring.landing import Landing, land
from posescore.scoring.proposal import Criterion, ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.scoring.timeline import TOLERANCE_S, Group, Visit, latest
from posescore.scoring.verdict import Verdict
from posescore.terms import Athlete, Position, State
from posescore.words import sentence, state_words

_FEET: Final = (State(Position.STANDING),)

STRAIGHT: Final = 0.8
"""Past the legs straight into mount or knee-on-belly: the clause names side control alone."""


@dataclass(frozen=True, slots=True)
class Before:
    """What the pair came from.

    ``feet`` is the standing phase that a landing ends, ``ground`` the last position on the
    ground where none does; both None when the footage has shown nothing yet.
    ``assumed_feet``: nothing was seen before, and a match starts standing.
    """

    feet: Visit | None = None
    ground: Visit | None = None
    assumed_feet: bool = False

    @property
    def last(self) -> Visit | None:
        """The last thing seen."""
        return self.feet or self.ground


def path_claim(
    visit: Visit,
    before: Before,
    holder: Chain,
    events: Sequence[MatchEvent],
    rules: RuleSet,
    restored: bool,
) -> Claim | None:
    """The claim that the way to a position makes, or the one it seems to make and does not."""
    if before.ground is None:
        landing = land(visit, before.feet, before.assumed_feet, events, rules)
        if landing is not None:
            return _from_feet(visit, landing, rules)
        return _from_nowhere(visit, before, rules)
    if before.ground.upper is visit.upper:
        return _from_top(visit, before.ground, holder, rules)
    return _from_below(visit, before.ground, events, rules, restored)


def _from_feet(visit: Visit, landing: Landing, rules: RuleSet) -> Claim | None:
    if landing.pulled_guard and visit.holds[0].position in rules.pass_lands_in:
        return _pass(visit, _FEET, sentence("seen_guard_pull"), landing.confidence, rules, None)
    if landing.kind is None:
        return None
    claim = Claim(
        kind=landing.kind,
        athlete=visit.upper or Athlete.A,
        visit=visit,
        story=landing.story,
        clause=landing.clause,
        path=(*_FEET, visit.entered),
        confidence=landing.confidence,
        way=landing.criteria,
        bar=landing.bar,
        note=sentence("no_pass") if visit.group is Group.PIN else "",
        reached_s=visit.start_s,
    )
    if visit.group is Group.TURTLE:
        _hold_to_turtle(claim, rules)
    return claim


def _from_nowhere(visit: Visit, before: Before, rules: RuleSet) -> Claim | None:
    if visit.group is not Group.PIN or before.feet is not None:
        return None
    bar = Bar(sentence("way_not_seen"), rules.clauses["guard_pass"], sentence("asks_way_seen"))
    claim = _pass(visit, (), "", 1.0, rules, bar)
    claim.story = sentence("in_side_control", who=claim.athlete)
    return claim


def _pass(
    visit: Visit,
    path: tuple[State, ...],
    came_from: str,
    confidence: float,
    rules: RuleSet,
    bar: Bar | None,
) -> Claim:
    athlete = visit.upper or Athlete.A
    clause = rules.clauses["guard_pass"]
    if visit.group is not Group.PIN:
        confidence *= STRAIGHT
        clause = sentence("by_common_practice", clause=clause)
    guard = Criterion(sentence("asks_guard"), True, came_from, clause, confidence)
    in_pin = visit.group is Group.PIN or None
    past = Criterion(sentence("asks_past_legs"), in_pin, state_words(visit.left), clause)
    return Claim(
        kind=ProposalKind.GUARD_PASS,
        athlete=athlete,
        visit=visit,
        story=sentence("passed", who=athlete, other=athlete.other, into=visit.entered.position),
        clause=clause,
        path=(*path, visit.entered),
        confidence=confidence,
        way=() if bar else (guard, past),
        bar=bar,
        reached_s=visit.start_s,
    )


def _from_top(visit: Visit, ground: Visit, holder: Chain, rules: RuleSet) -> Claim | None:
    if ground.group is Group.GUARD and visit.holds[0].position in rules.pass_lands_in:
        if ground.duration_s < rules.seconds.established - TOLERANCE_S:
            return None  # the legs were in the way for a moment of a fall, which is no guard
        repeated = ProposalKind.GUARD_PASS in holder.credited
        bar = repeat_bar(ProposalKind.GUARD_PASS, holder_of(visit), rules) if repeated else None
        return _from_ground(visit, ground, rules, bar)
    if ground.group is Group.TURTLE and visit.group is Group.PIN:
        bar = Bar(sentence("no_guard_to_pass"), rules.clauses["guard_pass"], sentence("asks_guard"))
        claim = _from_ground(visit, ground, rules, bar)
        into = visit.entered.position
        claim.story = sentence("from_turtle", who=claim.athlete, into=into)
        return claim
    return None


def _from_ground(visit: Visit, ground: Visit, rules: RuleSet, bar: Bar | None) -> Claim:
    confidence = ground.holds[-1].confidence
    return _pass(visit, (ground.left,), state_words(ground.left), confidence, rules, bar)


def holder_of(visit: Visit) -> Athlete:
    """The upper athlete of a visit that has one."""
    if visit.upper is None:
        raise ValueError(f"{visit.group} has no upper athlete")
    return visit.upper


def _from_below(
    visit: Visit,
    ground: Visit,
    events: Sequence[MatchEvent],
    rules: RuleSet,
    restored: bool,
) -> Claim | None:
    if visit.group is Group.BACK_CONTROL:
        return None  # behind is not on top: the back scores for itself
    athlete = holder_of(visit)
    clause = rules.clauses["sweep"]
    into, out_of = visit.entered.position, ground.left.position
    claim = Claim(
        kind=ProposalKind.SWEEP,
        athlete=athlete,
        visit=visit,
        story=sentence("swept", who=athlete, other=athlete.other, out_of=out_of, into=into),
        clause=clause,
        path=(ground.left, visit.entered),
        confidence=ground.holds[-1].confidence,
        way=(
            Criterion(
                sentence("asks_underneath"),
                ground.group is Group.GUARD,
                sentence("seen_underneath", out_of=out_of),
                clause,
                ground.holds[-1].confidence,
            ),
            Criterion(sentence("asks_ends_on_top"), True, state_words(visit.left), clause),
        ),
        note=sentence("no_pass") if visit.group is Group.PIN else "",
        reached_s=visit.start_s,
    )
    claim.bar = _sweep_bar(claim, ground, events, rules, restored)
    if claim.bar is not None:
        claim.story = sentence("came_out_on_top", who=athlete, other=athlete.other, into=into)
    if visit.group is Group.TURTLE:
        _hold_to_turtle(claim, rules)
    return claim


def _sweep_bar(
    claim: Claim,
    ground: Visit,
    events: Sequence[MatchEvent],
    rules: RuleSet,
    restored: bool,
) -> Bar | None:
    athlete, other, clause = claim.athlete, claim.athlete.other, rules.clauses["sweep"]
    if ground.group is Group.GUARD:
        if not restored:
            return None
        reason = sentence("only_got_back", who=athlete, other=other)
        return Bar(reason, clause, sentence("asks_underneath"))
    attempt = latest(events, EventName.TAKEDOWN_ATTEMPT, athlete, ground.start_s, claim.visit.end_s)
    if ground.group is Group.BACK_CONTROL and attempt is not None:
        claim.kind = ProposalKind.TAKEDOWN
        reason = sentence("had_the_back", other=other)
        return Bar(reason, rules.clauses["standing_back"], sentence("asks_not_behind"))
    reason = sentence("reversal", who=athlete, out_of=ground.left.position)
    return Bar(reason, clause, sentence("asks_underneath"))


def _hold_to_turtle(claim: Claim, rules: RuleSet) -> None:
    """An opponent on all fours counts only under control from behind; that must be seen."""
    verdict, reached_s = verdict_of(claim.visit, rules)
    if verdict.met and not verdict.seen_any and verdict.criteria:
        unseen = verdict.criteria[0]
        verdict = Verdict(verdict.criteria, unseen, False, 1.0, False)
    claim.verdict, claim.reached_s = verdict, reached_s
