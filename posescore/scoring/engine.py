"""The engine: holds and events in, proposals, score and result out. A pure function."""

from __future__ import annotations

from collections.abc import Sequence

from posescore.holds.event import MatchEvent
from posescore.holds.hold import Hold
from posescore.scoring.claims import RANK
from posescore.scoring.marked import marked_proposals
from posescore.scoring.match_clock import MatchClock
from posescore.scoring.proposal import Proposal, Ruling
from posescore.scoring.rules import RuleSet
from posescore.scoring.score import score_of
from posescore.scoring.walk import Walk


def propose(
    holds: Sequence[Hold],
    events: Sequence[MatchEvent],
    rules: RuleSet,
    end_s: float | None = None,
    match_s: float | None = None,
) -> Ruling:
    """Propose points for one match.

    Parameters
    ----------
    holds
        Stable positions, not overlapping, in any order; time between them is scramble.
    events
        What was marked or inferred, in any order.
    end_s
        Seconds at which the footage ends; by default the last hold or event.
    match_s
        The published match time, which ends a match whose start is marked; None where unknown.

    Returns
    -------
    Ruling
        Proposals in time order, the score if every one is confirmed, and the result.
    """
    ordered_holds = sorted(holds, key=lambda hold: (hold.start_s, hold.end_s))
    ordered = sorted(events, key=lambda event: event.time_s)
    clock = MatchClock.of(ordered_holds, ordered, rules, end_s, match_s)
    walk = Walk(ordered_holds, ordered, rules, clock)
    for visit in walk.visits:
        walk.enter(visit)
    if not clock.decided:
        walk.finish()
    found = walk.proposals + marked_proposals(ordered, walk.locks, rules, clock)
    proposals = tuple(sorted(found, key=_order))
    tallies, result = score_of(proposals, ordered, rules)
    return Ruling(proposals, tallies, result)


def _order(proposal: Proposal) -> tuple[float, int, str, str]:
    rank = RANK.get(proposal.kind, 9)
    return (round(proposal.time_s, 6), rank, proposal.kind, str(proposal.athlete))
