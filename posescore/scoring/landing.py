"""Landings from standing: whose takedown it was, if anybody's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from posescore.holds.event import EventName, MatchEvent
from posescore.scoring.claims import FEET, Bar, Claim, pass_claim, way_claim
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
) -> Claim | None:
    """The claim that a landing makes, or seems to make; None where nobody would expect points.

    Parameters
    ----------
    feet
        The standing phase before it, if one was seen.
    assumed_feet
        Nothing at all was seen before, and a match starts on the feet.
    """
    marks = _marks(visit, feet, events, rules)
    if feet is None and marks.nothing:
        return _from_nowhere(visit, rules)
    if marks.opponents_pull is not None:
        return _after_pull(visit, marks, marks.opponents_pull, rules)
    if marks.pull is not None:
        return _own_pull(visit, marks.pull, rules)
    if marks.attempt is not None:
        return _attempt(visit, feet, assumed_feet, marks.attempt, rules)
    if marks.opponents_attempt is not None:
        return _barred(visit, _not_brought_down("defended", visit, rules), rules)
    return _unmarked(visit, feet, rules)


def _claim(
    visit: Visit,
    rules: RuleSet,
    story: str,
    clause: str,
    confidence: float,
    way: tuple[Criterion, ...],
    kind: ProposalKind = ProposalKind.TAKEDOWN,
) -> Claim:
    """A claim by the names of its sentence and clause."""
    told = _story(story, visit)
    return way_claim(kind, visit, FEET, told, rules.clauses[clause], confidence, rules, way)


def _barred(
    visit: Visit,
    bar: Bar,
    rules: RuleSet,
    confidence: float = 1.0,
    story: str = "ended_on_top_from_standing",
) -> Claim:
    told = _story(story, visit)
    kind = ProposalKind.TAKEDOWN
    return way_claim(kind, visit, FEET, told, bar.clause, confidence, rules, bar=bar)


def _from_nowhere(visit: Visit, rules: RuleSet) -> Claim | None:
    if visit.group is not Group.PIN:
        return None
    bar = Bar.named(rules, "guard_pass", "asks_way_seen", "way_not_seen")
    claim = pass_claim(visit, (), "", 1.0, rules, bar)
    claim.story = sentence("in_side_control", who=claim.athlete)
    return claim


def _marks(
    visit: Visit, feet: Visit | None, events: Sequence[MatchEvent], rules: RuleSet
) -> _Marks:
    upper = visit.holder
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
    upper = visit.holder
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


def _after_pull(visit: Visit, marks: _Marks, pull: MatchEvent, rules: RuleSet) -> Claim:
    """The opponent pulled guard: only an attack begun before, or a grip on the trousers, counts."""
    other = visit.holder.other
    if marks.attempt is not None and marks.attempt.time_s <= pull.time_s:
        clause, confidence = "pull_first", marks.attempt.confidence
        asks, before = sentence("asks_before_pull"), sentence("seen_before_pull", other=other)
        begun = Criterion(asks, True, before, rules.clauses[clause], confidence)
        way = (_on_feet(rules, 1.0), begun, *_landed(visit, rules))
        return _claim(visit, rules, "took_down_before_pull", clause, confidence, way)
    grip_until_s = pull.time_s + 2 * rules.seconds.event_slack + TOLERANCE_S
    if marks.grip is not None and marks.grip.time_s <= grip_until_s:
        clause, confidence = "trousers", marks.grip.confidence * pull.confidence
        asks, gripped = sentence("asks_trousers"), sentence("seen_gripped")
        grip = Criterion(asks, True, gripped, rules.clauses[clause], confidence)
        return _claim(visit, rules, "gripped_trousers", clause, confidence, (grip,))
    confidence = pull.confidence * (1.0 if visit.group is Group.GUARD else SEEMINGLY_PULLED)
    if marks.attempt is not None:
        both = {"who": visit.holder, "other": other}
        bar = Bar.named(rules, "pull_first", "asks_before_pull", "pulled_first", **both)
    elif visit.holds[0].position in rules.pass_lands_in:
        return pass_claim(visit, FEET, sentence("seen_guard_pull"), confidence, rules, None)
    else:
        bar = _not_brought_down("pull_is_no_takedown", visit, rules)
    return _barred(visit, bar, rules, confidence)


def _own_pull(visit: Visit, pull: MatchEvent, rules: RuleSet) -> Claim:
    """The upper athlete pulled guard and came up at once: a sweep whose guard was not seen."""
    clause, confidence = "sweep", pull.confidence * SEEMINGLY_PULLED
    asks, seen = sentence("asks_underneath_in_guard"), sentence("seen_pulled")
    way = (Criterion(asks, True, seen, rules.clauses[clause], confidence),)
    kind = ProposalKind.SWEEP
    return _claim(visit, rules, "pulled_and_came_up", clause, confidence, way, kind)


def _attempt(
    visit: Visit, feet: Visit | None, assumed_feet: bool, attempt: MatchEvent, rules: RuleSet
) -> Claim:
    gap_s = 0.0 if feet is None else attempt.time_s - feet.end_s
    if (feet is None and not assumed_feet) or gap_s > rules.seconds.standing_again + TOLERANCE_S:
        return _on_knees(visit, rules)
    if feet is None:
        stood, seen = ASSUMED_FEET, "seen_no_standing"
    else:
        stood, seen = feet.holds[-1].confidence, "seen_standing"
    confidence = attempt.confidence * stood
    if visit.group is Group.BACK_CONTROL:
        confidence *= PERHAPS_STANDING
    way = (_on_feet(rules, stood, seen), *_landed(visit, rules))
    return _claim(visit, rules, "took_down", "takedown", confidence, way)


def _on_knees(visit: Visit, rules: RuleSet) -> Claim:
    bar = Bar.named(rules, "knees", "asks_on_feet", "not_on_feet")
    return _barred(visit, bar, rules, story="ended_on_top")


def _not_brought_down(reason: str, visit: Visit, rules: RuleSet) -> Bar:
    """A takedown that was none, with the name of the sentence that says why."""
    both = {"who": visit.holder, "other": visit.holder.other}
    return Bar.named(rules, "takedown", "asks_brought_down", reason, **both)


def _unmarked(visit: Visit, feet: Visit | None, rules: RuleSet) -> Claim | None:
    if feet is None or visit.group is Group.BACK_CONTROL:
        return None  # the back can be taken standing
    if visit.start_s - feet.end_s > rules.seconds.standing_again + TOLERANCE_S:
        return _on_knees(visit, rules)
    confidence = feet.holds[-1].confidence * UNMARKED
    if visit.group in _DOMINATED:
        way = (_on_feet(rules, confidence), *_landed(visit, rules))
        return _claim(visit, rules, "took_down_unmarked", "takedown", confidence, way)
    reason = "unmarked_guard" if visit.group is Group.GUARD else "unmarked_behind"
    return _barred(visit, _not_brought_down(reason, visit, rules), rules, confidence)
