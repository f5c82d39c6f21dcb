"""What counts: people's own marks, and everything up to the end of the match."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from posescore.holds.event import EventName, MatchEvent
from posescore.library.review.entries import Entry
from posescore.library.review.review import End, ReviewItem, Verdict
from posescore.library.review.state import FRAME_OF_MATCH, MatchState, Said
from posescore.scoring.match_clock import EndedBy, MatchClock
from posescore.scoring.proposal import Proposal, ProposalKind, Result, Tally
from posescore.scoring.rules import RuleSet
from posescore.scoring.score import disqualified_s, score_of
from posescore.scoring.timeline import TOLERANCE_S
from posescore.terms import Athlete

MADE_BY: Final[Mapping[EventName, frozenset[ProposalKind]]] = {
    EventName.PENALTY: frozenset({ProposalKind.PENALTY}),
    EventName.ADVANTAGE: frozenset({ProposalKind.NEAR}),
    EventName.FLED: frozenset({ProposalKind.FLED, ProposalKind.PENALTY}),
    EventName.OUT_OF_AREA: frozenset({ProposalKind.OUT_OF_AREA}),
}
"""Lines that a mark brings by itself: who marked it has said so."""
_PENALISED: Final = frozenset({EventName.PENALTY, EventName.FLED})


@dataclass(frozen=True, slots=True)
class Counted:
    """Score and result of what lies before the end of the match, and that end."""

    score: Mapping[Athlete, Tally]
    result: Result
    end: End | None

    def is_over(self, award: Proposal) -> bool:
        """True for what lies behind the end."""
        return self.end is not None and award.time_s > self.end.time_s + TOLERANCE_S


def counted(
    state: MatchState,
    rules: RuleSet,
    match_s: float | None,
    awards: Iterable[Proposal | None],
    *,
    by_people: bool,
) -> Counted:
    """Score these awards up to the end of the match.

    Parameters
    ----------
    match_s
        The published match time; None where unknown.
    awards
        What stands in every line; None for nothing.
    by_people
        Events that a person marked alone, besides those that say when the match runs.
    """
    events = [
        event
        for event, entry_id in state.events
        if not by_people or entry_id is not None or event.event in FRAME_OF_MATCH
    ]
    given = [award for award in awards if award is not None]
    end = _end_of(state, events, rules, match_s, given)
    before = given
    if end is not None:
        before = [award for award in given if award.time_s <= end.time_s + TOLERANCE_S]
    score, result = score_of(before, events, rules)
    return Counted(score, result, end)


def _end_of(
    state: MatchState,
    events: Sequence[MatchEvent],
    rules: RuleSet,
    match_s: float | None,
    awards: Sequence[Proposal],
) -> End | None:
    """Tap, time, marked end, or the penalty mark among the awards that disqualifies."""
    holds = [held.hold for held in state.holds]
    marked = [event for event in events if event.event not in _PENALISED]
    clock = MatchClock.of(holds, marked, rules, state.end_s, match_s)
    out_s = disqualified_s(awards, rules)
    if out_s is not None and out_s < clock.end_s:
        return End(out_s, EndedBy.DISQUALIFICATION)
    return None if clock.by is EndedBy.FOOTAGE else End(clock.end_s, clock.by)


def with_own_marks(
    items: tuple[ReviewItem, ...], state: MatchState, entries: Sequence[Entry]
) -> tuple[ReviewItem, ...]:
    """Lines that a person's own mark brought stand as that person's word, unless opened again."""
    by_id = {entry.id: entry for entry in entries}
    marks = [
        (event, by_id[entry_id])
        for event, entry_id in state.events
        if entry_id in by_id and event.event in MADE_BY
    ]
    return tuple(_with_own_mark(item, marks, state) for item in items) if marks else items


def _with_own_mark(
    item: ReviewItem, marks: Sequence[tuple[MatchEvent, Entry]], state: MatchState
) -> ReviewItem:
    proposal = item.proposal
    if proposal is None or item.decision is not None or item.key in state.opened:
        return item
    for event, entry in marks:
        same = abs(event.time_s - proposal.time_s) <= TOLERANCE_S
        if same and proposal.kind in MADE_BY[event.event] and proposal.would_be is None:
            said = Said(entry, Verdict.CONFIRMED, proposal)
            return replace(item, decision=replace(said.decision(proposal), by_mark=True))
    return item
