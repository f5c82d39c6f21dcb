"""Landings from standing: whose takedown it was, if anybody's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from posescore.holds.event import EventName, MatchEvent
from posescore.scoring.claims import Bar
from posescore.scoring.proposal import Criterion, ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.scoring.timeline import TOLERANCE_S, Group, Visit, latest
from posescore.terms import Athlete
from posescore.words import name_field, trade

UNMARKED: Final = 0.6
"""A landing in a dominated position that nobody marked as a takedown most often was one."""

ASSUMED_FEET: Final = 0.8
"""A takedown was marked, but the footage does not show the pair standing before it."""

SEEMINGLY_PULLED: Final = 0.6
"""A guard pull was marked, but no guard was seen before the position that followed."""

PERHAPS_STANDING: Final = 0.5
"""The back, hooks and all, can be taken of an opponent who stays on the feet."""

_DOMINATED: Final = frozenset({Group.PIN, Group.KNEE_ON_BELLY, Group.MOUNT, Group.BACK_MOUNT})


@dataclass(frozen=True, slots=True)
class Landing:
    """How a standing phase ended. ``kind`` is None where nobody would expect points."""

    kind: ProposalKind | None
    story: str
    clause: str
    confidence: float = 1.0
    criteria: tuple[Criterion, ...] = ()
    bar: Bar | None = None
    pulled_guard: bool = False


@dataclass(frozen=True, slots=True)
class _Marks:
    """What was marked between standing and landing: the latest of each."""

    attempt: MatchEvent | None
    opponents_attempt: MatchEvent | None
    pull: MatchEvent | None
    opponents_pull: MatchEvent | None
    grip: MatchEvent | None

    @property
    def nothing(self) -> bool:
        return all(getattr(self, name) is None for name in self.__slots__)


def land(
    visit: Visit,
    feet: Visit | None,
    assumed_feet: bool,
    events: Sequence[MatchEvent],
    rules: RuleSet,
) -> Landing | None:
    """Judge a landing; None when the footage shows neither standing nor anything marked.

    Parameters
    ----------
    visit
        Where the pair landed.
    feet
        The standing phase before it, if one was seen.
    assumed_feet
        Nothing at all was seen before, and a match starts on the feet.
    events
        All events, in time order.
    rules
        The rule set.
    """
    marks = _marks(visit, feet, events, rules)
    if feet is None and marks.nothing:
        return None
    if marks.opponents_pull is not None:
        return _after_pull(visit, marks, marks.opponents_pull, rules)
    if marks.pull is not None:
        return _own_pull(visit, marks.pull, rules)
    if marks.attempt is not None:
        return _attempt(visit, feet, assumed_feet, marks.attempt, rules)
    if marks.opponents_attempt is not None:
        return _defended(visit, rules)
    return _unmarked(visit, feet, rules)


def _marks(
    visit: Visit, feet: Visit | None, events: Sequence[MatchEvent], rules: RuleSet
) -> _Marks:
    upper = visit.upper or Athlete.A
    first_s = visit.start_s - rules.seconds.attack_reach
    if feet is not None:
        first_s = max(first_s, feet.start_s - rules.seconds.event_slack)
    last_s = visit.start_s + rules.seconds.event_slack

    def last(name: EventName, athlete: Athlete) -> MatchEvent | None:
        return latest(events, name, athlete, first_s, last_s)

    return _Marks(
        last(EventName.TAKEDOWN_ATTEMPT, upper),
        last(EventName.TAKEDOWN_ATTEMPT, upper.other),
        last(EventName.GUARD_PULL, upper),
        last(EventName.GUARD_PULL, upper.other),
        last(EventName.TROUSERS_GRIP, upper),
    )


def _took_down(visit: Visit) -> str:
    upper = visit.upper or Athlete.A
    into = trade(visit.entered.position)
    return f"{name_field(upper)} took {name_field(upper.other)} down from standing into {into}"


def _ended_on_top(visit: Visit, out_of: str = " from standing") -> str:
    upper = name_field(visit.upper or Athlete.A)
    return f"{upper} ended on top in {trade(visit.entered.position)}{out_of}"


def _on_feet(rules: RuleSet, probability: float, seen: str = "both were standing") -> Criterion:
    return Criterion(
        "the attacker starts with both feet on the mat",
        True,
        seen,
        rules.clauses["takedown"],
        probability,
    )


def _landed(visit: Visit, rules: RuleSet) -> tuple[Criterion, ...]:
    """How the opponent came down; on all fours the position's own criteria say more."""
    if visit.group is Group.TURTLE:
        return ()
    name = "the opponent comes down on back, side or seat"
    if visit.group in (Group.BACK_MOUNT, Group.BACK_CONTROL):
        name = "the opponent comes down with the attacker in control behind"
    return (Criterion(name, True, trade(visit.entered.position), rules.clauses["takedown"]),)


def _after_pull(visit: Visit, marks: _Marks, pull: MatchEvent, rules: RuleSet) -> Landing:
    """The opponent pulled guard: only an attack begun before, or a grip on the trousers, counts."""
    name, upper = "begun before the guard pull", visit.upper or Athlete.A
    who, opponent = name_field(upper), name_field(upper.other)
    if marks.attempt is not None and marks.attempt.time_s <= pull.time_s:
        clause = rules.clauses["pull_first"]
        confidence = marks.attempt.confidence
        seen = Criterion(name, True, f"before {opponent} pulled guard", clause, confidence)
        return Landing(
            ProposalKind.TAKEDOWN,
            f"{_took_down(visit)}, having started before {opponent} pulled guard",
            clause,
            confidence,
            (_on_feet(rules, 1.0), seen, *_landed(visit, rules)),
        )
    grip_until_s = pull.time_s + 2 * rules.seconds.event_slack + TOLERANCE_S
    if marks.grip is not None and marks.grip.time_s <= grip_until_s:
        clause = rules.clauses["trousers"]
        confidence = marks.grip.confidence * pull.confidence
        grip = Criterion("a grip on the puller's trousers", True, "gripped", clause, confidence)
        story = f"{opponent} pulled guard while {who} gripped {opponent}'s trousers, and "
        story += f"{who} came on top in {trade(visit.entered.position)}"
        return Landing(ProposalKind.TAKEDOWN, story, clause, confidence, (grip,))
    if marks.attempt is not None:
        reason = f"{opponent} had pulled guard before {who} attacked: no takedown"
        bar = Bar(reason, rules.clauses["pull_first"], name)
    else:
        reason = f"{opponent} pulled guard, which is no takedown and earns nobody points"
        bar = Bar(reason, rules.clauses["takedown"], "the attacker brought the opponent down")
    return Landing(
        ProposalKind.TAKEDOWN,
        _ended_on_top(visit),
        bar.clause,
        pull.confidence * (1.0 if visit.group is Group.GUARD else SEEMINGLY_PULLED),
        bar=bar,
        pulled_guard=marks.attempt is None,
    )


def _own_pull(visit: Visit, pull: MatchEvent, rules: RuleSet) -> Landing:
    """The upper athlete pulled guard and came up at once: a sweep whose guard was not seen."""
    clause = rules.clauses["sweep"]
    confidence = pull.confidence * SEEMINGLY_PULLED
    started = Criterion("starts underneath in guard", True, "pulled guard", clause, confidence)
    who = name_field(visit.upper or Athlete.A)
    story = f"{who} pulled guard and came on top into {trade(visit.entered.position)}"
    return Landing(ProposalKind.SWEEP, story, clause, confidence, (started,))


def _attempt(
    visit: Visit,
    feet: Visit | None,
    assumed_feet: bool,
    attempt: MatchEvent,
    rules: RuleSet,
) -> Landing:
    gap_s = 0.0 if feet is None else attempt.time_s - feet.end_s
    if (feet is None and not assumed_feet) or gap_s > rules.seconds.standing_again + TOLERANCE_S:
        return _on_knees(visit, rules)
    confidence = attempt.confidence
    if feet is None:
        confidence *= ASSUMED_FEET
        seen = _on_feet(rules, ASSUMED_FEET, "not in the footage; a match starts standing")
    else:
        confidence *= feet.holds[-1].confidence
        seen = _on_feet(rules, feet.holds[-1].confidence)
    if visit.group is Group.BACK_CONTROL:
        confidence *= PERHAPS_STANDING
    criteria = (seen, *_landed(visit, rules))
    return Landing(
        ProposalKind.TAKEDOWN, _took_down(visit), rules.clauses["takedown"], confidence, criteria
    )


def _on_knees(visit: Visit, rules: RuleSet) -> Landing:
    reason = (
        "they were not seen on their feet right before: with an athlete on the knees "
        "there is no takedown"
    )
    bar = Bar(reason, rules.clauses["knees"], "the attacker starts with both feet on the mat")
    return Landing(ProposalKind.TAKEDOWN, _ended_on_top(visit, ""), bar.clause, bar=bar)


def _defended(visit: Visit, rules: RuleSet) -> Landing:
    upper = visit.upper or Athlete.A
    reason = (
        f"{name_field(upper.other)} attacked, or pulled {name_field(upper)} down on top: "
        "defending and ending on top is no takedown"
    )
    bar = Bar(reason, rules.clauses["takedown"], "the attacker brought the opponent down")
    return Landing(ProposalKind.TAKEDOWN, _ended_on_top(visit), bar.clause, bar=bar)


def _unmarked(visit: Visit, feet: Visit | None, rules: RuleSet) -> Landing | None:
    if feet is None or visit.group is Group.BACK_CONTROL:
        return Landing(None, "", "")  # the back can be taken standing
    if visit.start_s - feet.end_s > rules.seconds.standing_again + TOLERANCE_S:
        return _on_knees(visit, rules)
    confidence = feet.holds[-1].confidence * UNMARKED
    if visit.group in _DOMINATED:
        return Landing(
            ProposalKind.TAKEDOWN,
            f"{_took_down(visit)}, though nobody marked the attack",
            rules.clauses["takedown"],
            confidence,
            (_on_feet(rules, confidence), *_landed(visit, rules)),
        )
    guard = visit.group is Group.GUARD
    perhaps = "it could have been a guard pull" if guard else "going behind is no takedown"
    opponent = name_field((visit.upper or Athlete.A).other)
    reason = f"nobody is marked as having taken {opponent} down; {perhaps}"
    bar = Bar(reason, rules.clauses["takedown"], "the attacker brought the opponent down")
    return Landing(ProposalKind.TAKEDOWN, _ended_on_top(visit), bar.clause, confidence, bar=bar)
