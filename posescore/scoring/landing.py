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
from posescore.words import sentence, trade

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


def _story(name: str, visit: Visit) -> str:
    upper = visit.upper or Athlete.A
    return sentence(name, who=upper, other=upper.other, into=visit.entered.position)


def _on_feet(rules: RuleSet, probability: float, seen: str = "seen_standing") -> Criterion:
    return Criterion(
        sentence("asks_on_feet"), True, sentence(seen), rules.clauses["takedown"], probability
    )


def _landed(visit: Visit, rules: RuleSet) -> tuple[Criterion, ...]:
    """How the opponent came down; on all fours the position's own criteria say more."""
    if visit.group is Group.TURTLE:
        return ()
    behind = visit.group in (Group.BACK_MOUNT, Group.BACK_CONTROL)
    asks = sentence("asks_comes_down_behind" if behind else "asks_comes_down")
    return (Criterion(asks, True, trade(visit.entered.position), rules.clauses["takedown"]),)


def _after_pull(visit: Visit, marks: _Marks, pull: MatchEvent, rules: RuleSet) -> Landing:
    """The opponent pulled guard: only an attack begun before, or a grip on the trousers, counts."""
    asks, upper = sentence("asks_before_pull"), visit.upper or Athlete.A
    if marks.attempt is not None and marks.attempt.time_s <= pull.time_s:
        clause = rules.clauses["pull_first"]
        confidence = marks.attempt.confidence
        before = sentence("seen_before_pull", other=upper.other)
        seen = Criterion(asks, True, before, clause, confidence)
        return Landing(
            ProposalKind.TAKEDOWN,
            _story("took_down_before_pull", visit),
            clause,
            confidence,
            (_on_feet(rules, 1.0), seen, *_landed(visit, rules)),
        )
    grip_until_s = pull.time_s + 2 * rules.seconds.event_slack + TOLERANCE_S
    if marks.grip is not None and marks.grip.time_s <= grip_until_s:
        clause = rules.clauses["trousers"]
        confidence = marks.grip.confidence * pull.confidence
        gripped = sentence("seen_gripped")
        grip = Criterion(sentence("asks_trousers"), True, gripped, clause, confidence)
        story = _story("gripped_trousers", visit)
        return Landing(ProposalKind.TAKEDOWN, story, clause, confidence, (grip,))
    if marks.attempt is not None:
        reason = sentence("pulled_first", who=upper, other=upper.other)
        bar = Bar(reason, rules.clauses["pull_first"], asks)
    else:
        bar = _not_brought_down("pull_is_no_takedown", visit, rules)
    return Landing(
        ProposalKind.TAKEDOWN,
        _story("ended_on_top_from_standing", visit),
        bar.clause,
        pull.confidence * (1.0 if visit.group is Group.GUARD else SEEMINGLY_PULLED),
        bar=bar,
        pulled_guard=marks.attempt is None,
    )


def _own_pull(visit: Visit, pull: MatchEvent, rules: RuleSet) -> Landing:
    """The upper athlete pulled guard and came up at once: a sweep whose guard was not seen."""
    clause = rules.clauses["sweep"]
    confidence = pull.confidence * SEEMINGLY_PULLED
    asks, seen = sentence("asks_underneath_in_guard"), sentence("seen_pulled")
    started = Criterion(asks, True, seen, clause, confidence)
    story = _story("pulled_and_came_up", visit)
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
        seen = _on_feet(rules, ASSUMED_FEET, "seen_no_standing")
    else:
        confidence *= feet.holds[-1].confidence
        seen = _on_feet(rules, feet.holds[-1].confidence)
    if visit.group is Group.BACK_CONTROL:
        confidence *= PERHAPS_STANDING
    criteria = (seen, *_landed(visit, rules))
    story = _story("took_down", visit)
    return Landing(ProposalKind.TAKEDOWN, story, rules.clauses["takedown"], confidence, criteria)


def _on_knees(visit: Visit, rules: RuleSet) -> Landing:
    bar = Bar(sentence("not_on_feet"), rules.clauses["knees"], sentence("asks_on_feet"))
    return Landing(ProposalKind.TAKEDOWN, _story("ended_on_top", visit), bar.clause, bar=bar)


def _defended(visit: Visit, rules: RuleSet) -> Landing:
    bar = _not_brought_down("defended", visit, rules)
    story = _story("ended_on_top_from_standing", visit)
    return Landing(ProposalKind.TAKEDOWN, story, bar.clause, bar=bar)


def _not_brought_down(reason: str, visit: Visit, rules: RuleSet) -> Bar:
    """A takedown that was none, with the name of the sentence that says why."""
    clause = rules.clauses["takedown"]
    return Bar(_story(reason, visit), clause, sentence("asks_brought_down"))


def _unmarked(visit: Visit, feet: Visit | None, rules: RuleSet) -> Landing | None:
    if feet is None or visit.group is Group.BACK_CONTROL:
        return Landing(None, "", "")  # the back can be taken standing
    if visit.start_s - feet.end_s > rules.seconds.standing_again + TOLERANCE_S:
        return _on_knees(visit, rules)
    confidence = feet.holds[-1].confidence * UNMARKED
    if visit.group in _DOMINATED:
        return Landing(
            ProposalKind.TAKEDOWN,
            _story("took_down_unmarked", visit),
            rules.clauses["takedown"],
            confidence,
            (_on_feet(rules, confidence), *_landed(visit, rules)),
        )
    reason = "unmarked_guard" if visit.group is Group.GUARD else "unmarked_behind"
    bar = _not_brought_down(reason, visit, rules)
    story = _story("ended_on_top_from_standing", visit)
    return Landing(ProposalKind.TAKEDOWN, story, bar.clause, confidence, bar=bar)
