"""How a position was reached: takedown, sweep, guard pass, or none of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from posescore.holds.event import EventName, MatchEvent
from posescore.scoring.claims import Bar, Chain, Claim, pass_claim, repeat_bar, way_claim
from posescore.scoring.landing import land
from posescore.scoring.proposal import Criterion, ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.scoring.timeline import TOLERANCE_S, Group, Visit, latest
from posescore.words import sentence, state_words


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
        return land(visit, before.feet, before.assumed_feet, events, rules)
    if before.ground.upper is visit.upper:
        return _from_top(visit, before.ground, holder, rules)
    return _from_below(visit, before.ground, events, rules, restored)


def _from_top(visit: Visit, ground: Visit, holder: Chain, rules: RuleSet) -> Claim | None:
    if ground.group is Group.GUARD and visit.holds[0].position in rules.pass_lands_in:
        if ground.duration_s < rules.seconds.established - TOLERANCE_S:
            return None  # the legs were in the way for a moment of a fall, which is no guard
        repeated = ProposalKind.GUARD_PASS in holder.credited
        bar = repeat_bar(ProposalKind.GUARD_PASS, visit.holder, rules) if repeated else None
        return _from_ground(visit, ground, rules, bar)
    if ground.group is Group.TURTLE and visit.group is Group.PIN:
        bar = Bar.named(rules, "guard_pass", "asks_guard", "no_guard_to_pass")
        claim = _from_ground(visit, ground, rules, bar)
        claim.story = sentence("from_turtle", who=claim.athlete, into=visit.entered.position)
        return claim
    return None


def _from_ground(visit: Visit, ground: Visit, rules: RuleSet, bar: Bar | None) -> Claim:
    confidence = ground.holds[-1].confidence
    return pass_claim(visit, (ground.left,), state_words(ground.left), confidence, rules, bar)


def _from_below(
    visit: Visit, ground: Visit, events: Sequence[MatchEvent], rules: RuleSet, restored: bool
) -> Claim | None:
    if visit.group is Group.BACK_CONTROL:
        return None  # behind is not on top: the back scores for itself
    kind, bar = _sweep_bar(visit, ground, events, rules, restored)
    out_of, clause = ground.left.position, rules.clauses["sweep"]
    story = sentence(
        "swept" if bar is None else "came_out_on_top",
        who=visit.holder,
        other=visit.holder.other,
        out_of=out_of,
        into=visit.entered.position,
    )
    confidence = ground.holds[-1].confidence
    below, seen = ground.group is Group.GUARD, sentence("seen_underneath", out_of=out_of)
    way = (
        Criterion(sentence("asks_underneath"), below, seen, clause, confidence),
        Criterion(sentence("asks_ends_on_top"), True, state_words(visit.left), clause),
    )
    return way_claim(kind, visit, (ground.left,), story, clause, confidence, rules, way, bar)


def _sweep_bar(
    visit: Visit, ground: Visit, events: Sequence[MatchEvent], rules: RuleSet, restored: bool
) -> tuple[ProposalKind, Bar | None]:
    """What coming out on top seems to be, and why it is worth nothing if so."""
    who, other = visit.holder, visit.holder.other
    if ground.group is Group.GUARD:
        back = Bar.named(rules, "sweep", "asks_underneath", "only_got_back", who=who, other=other)
        return ProposalKind.SWEEP, back if restored else None
    attempt = latest(events, EventName.TAKEDOWN_ATTEMPT, who, ground.start_s, visit.end_s)
    if ground.group is Group.BACK_CONTROL and attempt is not None:
        behind = Bar.named(rules, "standing_back", "asks_not_behind", "had_the_back", other=other)
        return ProposalKind.TAKEDOWN, behind
    out_of = ground.left.position
    turned = Bar.named(rules, "sweep", "asks_underneath", "reversal", who=who, out_of=out_of)
    return ProposalKind.SWEEP, turned
