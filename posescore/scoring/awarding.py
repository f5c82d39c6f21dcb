"""Turns claims into proposals: points, an advantage, or none with the reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from posescore.scoring.claims import Bar, Claim
from posescore.scoring.proposal import Criterion, Proposal, ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.scoring.timeline import Group, Visit, overlaps
from posescore.scoring.verdict import verdict_on
from posescore.terms import Athlete, Interval
from posescore.words import seconds_words, sentence, trade

HELD: Final = "held"
"""The check of the seconds that count, made by the engine itself."""


def own_advantage() -> str:
    """What a near miss earns only where the chain earns no points."""
    return sentence("own_advantage")


def award(
    claim: Claim, held: Visit, at_s: float, stretch: Interval, rules: RuleSet, freed: bool
) -> Proposal:
    """Points for a claim that the three seconds in ``held`` released at ``at_s``.

    Confidence is the product of: how the position was reached (events, the position before),
    the position's own holds, its checks, and the releasing holds where they are others.
    ``freed``: the athlete was caught in a submission in the meantime.
    """
    seen = _position_criteria(claim, held, at_s, rules)
    confidence = claim.confidence * _position_confidence(claim, held, at_s, seen, rules)
    top_only = claim.kind in (ProposalKind.TAKEDOWN, ProposalKind.SWEEP)
    what = sentence(
        _awarded(claim, held),
        story=claim.story,
        position=held.left.position,
        held=sentence(
            "stayed_on_top" if top_only else "held_it", seconds=seconds_words(stretch.duration_s)
        ),
    )
    why = [what, claim.note if held.group is Group.PIN else ""]
    criteria = (*claim.way, *seen, _held(True, stretch.duration_s, rules))
    if freed:
        why.append(sentence("counted_while_free", who=claim.athlete))
        criteria += (_free(True, sentence("seen_free"), rules.clauses["caught"]),)
    return replace(
        _of(claim, at_s, claim.kind, claim.clause, " ".join(filter(None, why)), confidence),
        points=rules.points[claim.kind],
        path=claim.path if held is claim.visit else (*claim.path, held.left),
        criteria=criteria,
    )


def _awarded(claim: Claim, held: Visit) -> str:
    """The name of the sentence for what was held: the position itself, or where the chain went."""
    if held is claim.visit:
        return "awarded"
    went = "awarded_coming_back" if held.group is claim.visit.group else "awarded_going_on"
    return f"{went}_one_count" if claim.rank > 0 else went


def _of(
    claim: Claim, at_s: float, kind: ProposalKind, clause: str, why: str, confidence: float
) -> Proposal:
    """What every proposal that comes from a claim has."""
    return Proposal(
        time_s=at_s,
        athlete=claim.athlete,
        kind=kind,
        points=0,
        advantage=int(kind is ProposalKind.NEAR),
        clause=clause,
        why=why,
        confidence=confidence,
        evidence=Interval(min(claim.visit.start_s, at_s), at_s),
        would_be=None if kind is claim.kind else claim.kind,
        path=claim.path,
    )


def _with_failed(claim: Claim, failed: Criterion) -> tuple[Criterion, ...]:
    """A claim's criteria, the one that failed last."""
    return (*(c for c in claim.criteria if c.name != failed.name), failed)


def _free(met: bool, seen: str, clause: str) -> Criterion:
    return Criterion(sentence("asks_free"), met, seen, clause)


def _position_confidence(
    claim: Claim, held: Visit, at_s: float, seen: Sequence[Criterion], rules: RuleSet
) -> float:
    confidence = held.confidence(at_s - rules.seconds.hold, at_s)
    if held is not claim.visit:
        confidence *= claim.visit.confidence(claim.reached_s, claim.visit.end_s)
    for criterion in seen:
        confidence *= criterion.probability if criterion.met else 1.0
    return confidence


def _position_criteria(
    claim: Claim, held: Visit, at_s: float, rules: RuleSet
) -> tuple[Criterion, ...]:
    """Criteria of the position as seen while the count ran: where parts differ, the least sure."""
    if claim.verdict is None or held is not claim.visit:
        return claim.verdict.criteria if claim.verdict else ()
    count = Interval(at_s - rules.seconds.hold, at_s)
    seen = [verdict_on(h, rules) for h in held.holds if overlaps(h.interval, count)]
    met = [verdict for verdict in seen if verdict.met] or [claim.verdict]
    return min(met, key=lambda verdict: verdict.probability).criteria


def _held(met: bool, duration_s: float, rules: RuleSet) -> Criterion:
    return Criterion(
        sentence("asks_held", seconds=seconds_words(rules.seconds.hold)),
        met,
        sentence("seen_held", seconds=seconds_words(duration_s)),
        rules.clauses["held"],
        check=HELD,
    )


def none_for(
    claim: Claim, at_s: float, reason: str, clause: str, failed: Criterion, confidence: float
) -> Proposal:
    """No points, because."""
    why = sentence("no_points", story=claim.story, reason=reason)
    none = _of(claim, at_s, ProposalKind.NONE, clause, why, confidence)
    return replace(none, criteria=_with_failed(claim, failed))


def barred(claim: Claim, bar: Bar, at_s: float, held: Visit) -> Proposal:
    """The explanation of a claim that is worth nothing though the position was held."""
    failed = Criterion(bar.criterion, False, bar.reason, bar.clause)
    confidence = claim.confidence * held.confidence(held.start_s, at_s)
    return none_for(claim, at_s, bar.reason, bar.clause, failed, confidence)


def unmet(claim: Claim, at_s: float, rules: RuleSet) -> Proposal | None:
    """The explanation of a position whose criterion failed and leaves no advantage.

    Where failing it would leave one, the same chain went on to points, and that is said too: one
    chain gives points or an advantage, not both.
    """
    if claim.verdict is None or claim.verdict.failed is None:
        return None
    failed = claim.verdict.failed
    confidence = claim.confidence * claim.visit.confidence(claim.visit.start_s, claim.visit.end_s)
    confidence *= claim.verdict.probability
    reason = failed.seen
    if failed.met is None:
        reason = sentence("not_looked_at_of", asked=failed.name)
    if not claim.verdict.near:
        return none_for(claim, at_s, reason, failed.clause, failed, confidence)
    since = sentence("went_on")
    went_on = Criterion(own_advantage(), False, since, rules.clauses["advantage"], 1.0)
    reason = sentence("no_advantage_either", reason=reason, since=since)
    none = none_for(claim, at_s, reason, failed.clause, failed, confidence)
    return replace(none, criteria=(*none.criteria, went_on))


def trapped_leg(visit: Visit, before: Visit, at_s: float, rules: RuleSet) -> Proposal:
    """Half-guard that looks like mount."""
    athlete = visit.holder
    clause = rules.clauses["mount"]
    seen = sentence("leg_trapped", who=athlete, other=athlete.other)
    story = sentence("came_up", who=athlete, out_of=before.left.position)
    return Proposal(
        time_s=at_s,
        athlete=athlete,
        kind=ProposalKind.NONE,
        points=0,
        advantage=0,
        clause=clause,
        why=sentence("no_points", story=story, reason=seen),
        confidence=visit.confidence(visit.start_s, at_s),
        evidence=Interval(visit.start_s, at_s),
        would_be=ProposalKind.MOUNT,
        path=(before.left, visit.left),
        criteria=(Criterion(sentence("asks_free_leg"), False, seen, clause, check="leg_trapped"),),
    )


def missed(
    claim: Claim, others: Sequence[Claim], at_s: float, held_s: float, end: str, rules: RuleSet
) -> Proposal:
    """One advantage for a chain that was reached and not held, whatever its length.

    ``claim`` is its highest position, ``others`` what was reached on the way there.
    """
    failed = None if claim.verdict is None else claim.verdict.failed
    last = claim.last_visit
    confidence = claim.confidence * last.confidence(last.start_s, last.end_s)
    if failed is None:
        short = _held(False, held_s, rules)
        reason = sentence("held_too_short", seconds=seconds_words(held_s), end=end)
        clause = f"{rules.clauses['held']}, {rules.clauses['advantage']}"
    else:
        short, reason, clause = failed, failed.seen, failed.clause
        confidence *= failed.probability
    kinds = sorted({trade(other.kind) for other in others})
    why = sentence("near", story=claim.story, reason=reason)
    if kinds:
        why += " " + sentence("one_advantage_for_chain", kinds=", ".join(kinds))
    near = _of(claim, at_s, ProposalKind.NEAR, clause, why, confidence)
    return replace(near, criteria=_with_failed(claim, short))


def caught(claim: Claim, at_s: float, at_end: bool, attacker: Athlete, rules: RuleSet) -> Proposal:
    """A position reached while caught in a submission and never held free of it."""
    clause = rules.clauses["caught_at_end" if at_end else "caught"]
    seen = sentence(
        "seen_caught_at_end" if at_end else "seen_caught",
        other=attacker,
        position=claim.last_visit.left.position,
    )
    failed = _free(False, seen, clause)
    confidence = claim.confidence * claim.last_visit.confidence(claim.visit.start_s, at_s)
    if not at_end:
        return none_for(claim, at_s, seen, clause, failed, confidence)
    why = sentence("near_caught", story=claim.story, seen=seen)
    near = _of(claim, at_s, ProposalKind.NEAR, clause, why, confidence)
    return replace(near, criteria=_with_failed(claim, failed))
