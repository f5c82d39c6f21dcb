"""The score and the result that follow from proposals, all of them or the confirmed ones."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from posescore.holds.event import EventName, MatchEvent
from posescore.scoring.proposal import Proposal, ProposalKind, Result, Tally
from posescore.scoring.rules import PenaltyStep, RuleSet
from posescore.terms import Athlete
from posescore.words import sentence


def step_of(count: int, rules: RuleSet) -> PenaltyStep:
    """What an athlete's ``count``-th penalty brings; past the ladder's end, its last step."""
    ladder = rules.penalties or (PenaltyStep(0, 0, False),)
    return ladder[min(count, len(ladder)) - 1]


def is_penalty_mark(proposal: Proposal) -> bool:
    """True for the mark itself, as against what the opponent gets for it."""
    award = proposal.points or proposal.advantage
    return proposal.kind is ProposalKind.PENALTY and not award


def disqualified_s(proposals: Iterable[Proposal], rules: RuleSet) -> float | None:
    """When the marks among these proposals disqualify somebody first; None where they do not."""
    instants: list[float] = []
    marks = sorted((p for p in proposals if is_penalty_mark(p)), key=lambda mark: mark.time_s)
    for athlete in Athlete:
        own = [mark for mark in marks if mark.athlete is athlete]
        instants += [mark.time_s for n, mark in enumerate(own, 1) if step_of(n, rules).disqualified]
    return min(instants, default=None)


def score_of(
    proposals: Iterable[Proposal], events: Sequence[MatchEvent], rules: RuleSet
) -> tuple[dict[Athlete, Tally], Result]:
    """Score and result of these proposals: pass only the confirmed ones for the score that stands.

    Points and advantages add up. What penalties give the opponent follows from how many marks
    are among the proposals, whichever of them were dismissed, changed or added by a person; the
    engine's separate proposals for it (kind penalty with points or an advantage) only announce it.
    """
    given = list(proposals)
    marks = {
        athlete: sorted(p.time_s for p in given if p.athlete is athlete and is_penalty_mark(p))
        for athlete in Athlete
    }
    tallies = {
        athlete: _tally(athlete, given, len(marks[athlete]), len(marks[athlete.other]), rules)
        for athlete in Athlete
    }
    return tallies, _result(tallies, events, marks, rules)


def _tally(
    athlete: Athlete, proposals: Sequence[Proposal], own: int, others: int, rules: RuleSet
) -> Tally:
    scored = [p for p in proposals if p.athlete is athlete and p.kind is not ProposalKind.PENALTY]
    steps = [step_of(count, rules) for count in range(1, others + 1)]
    return Tally(
        points=sum(p.points for p in scored) + sum(step.points for step in steps),
        advantages=sum(p.advantage for p in scored) + sum(step.advantages for step in steps),
        penalties=own,
    )


def _result(
    tallies: Mapping[Athlete, Tally],
    events: Sequence[MatchEvent],
    marks: Mapping[Athlete, Sequence[float]],
    rules: RuleSet,
) -> Result:
    """Who wins: what ends a match comes first, whatever the points."""
    endings = [
        (e.time_s, Result(e.athlete.other, "submission", sentence("gave_up", who=e.athlete)))
        for e in events
        if e.event is EventName.TAP and e.athlete is not None
    ]
    for athlete, times_s in marks.items():
        for count, time_s in enumerate(times_s, start=1):
            if step_of(count, rules).disqualified:
                why = sentence("disqualified", who=athlete, count=count)
                endings.append((time_s, Result(athlete.other, "disqualification", why)))
                break
    stops_s = min((e.time_s for e in events if e.event is EventName.END), default=float("inf"))
    endings = [ending for ending in endings if ending[0] <= stops_s]
    if endings:
        return min(endings, key=lambda ending: ending[0])[1]
    return _by_count(tallies, rules)


def leader(tallies: Mapping[Athlete, Tally], rules: RuleSet) -> tuple[Athlete, str] | None:
    """Who is ahead and by what: points, advantages or (fewer) penalties; None where level."""
    a, b = tallies[Athlete.A], tallies[Athlete.B]
    for decider in rules.deciders:
        if decider == "referee":
            break
        mine, theirs = getattr(a, decider), getattr(b, decider)
        if mine != theirs:
            fewest = decider == "penalties"
            return Athlete.A if (mine < theirs) is fewest else Athlete.B, decider
    return None


def _by_count(tallies: Mapping[Athlete, Tally], rules: RuleSet) -> Result:
    ahead = leader(tallies, rules)
    if ahead is None:
        return Result(None, "referee", sentence("level"))
    winner, decider = ahead
    best, least = (getattr(tallies[who], decider) for who in (winner, winner.other))
    why = sentence(f"leads_by_{decider}", who=winner, best=best, least=least)
    return Result(winner, decider, why)
