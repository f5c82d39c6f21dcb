"""The walk through a match: positions open claims, three seconds release them, losing settles them.

For each athlete the walk keeps the claims of the running chain: what was reached and still
waits for its three seconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import takewhile

from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Hold
from posescore.scoring import awarding
from posescore.scoring.claims import (
    POSITION_KIND,
    RANK,
    Chain,
    Claim,
    longest,
    position_claim,
    rank_of,
    verdict_of,
)
from posescore.scoring.match_clock import MatchClock
from posescore.scoring.paths import Before, path_claim
from posescore.scoring.proposal import Criterion, Proposal, ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.scoring.timeline import (
    TOLERANCE_S,
    Group,
    Lock,
    Visit,
    between,
    held_at,
    joined,
    latest,
    locks_of,
    overlaps,
    stretches_of,
    visits_of,
)
from posescore.scoring.verdict import clearest, qualified, verdict_on
from posescore.terms import Athlete, Interval, Position
from posescore.words import sentence

_TOP_ONLY = frozenset({ProposalKind.TAKEDOWN, ProposalKind.SWEEP})
_LOOKS_ON = frozenset({Group.KNEE_ON_BELLY, Group.MOUNT, Group.BACK_MOUNT})
_FROM_BEHIND = frozenset({ProposalKind.BACK_CONTROL, ProposalKind.BACK_MOUNT})


class Walk:
    """The state of one walk through a match."""

    def __init__(
        self,
        holds: Sequence[Hold],
        events: Sequence[MatchEvent],
        rules: RuleSet,
        clock: MatchClock,
    ) -> None:
        self.rules = rules
        self.seconds = rules.seconds
        self.events = events
        self.end_s = clock.end_s
        self.locks = locks_of(events, clock.end_s)
        self.visits = visits_of(holds, rules.seconds, clock.running)
        self.proposals: list[Proposal] = []
        self.athletes = {athlete: Chain() for athlete in Athlete}
        self.last: dict[Athlete, Visit] = {}
        self.before = Before(assumed_feet=_starts_on_feet(holds, rules))
        self.cuts = [e.time_s for e in events if e.event in (EventName.STOP, EventName.FLED)]

    # What a visit does ------------------------------------------------------------------

    def enter(self, visit: Visit) -> None:
        """Settle what this visit ends, open what it begins, award what it releases."""
        self._drop_fled(visit.start_s)
        if visit.group is Group.STANDING:
            self._stand(visit)
        else:
            self._ground(visit)

    def finish(self) -> None:
        """Settle what is still open when the match ends."""
        self._drop_fled(self.end_s)
        for athlete in Athlete:
            self._settle(athlete, self.end_s, [], sentence("before_end"), at_end=True)

    def _stand(self, visit: Visit) -> None:
        again = (
            self.before.ground is None
            or visit.duration_s >= self.seconds.standing_again - TOLERANCE_S
            or self._restarted(visit)
        )
        for athlete, chain in self.athletes.items():
            kept = [] if again else [c for c in chain.claims if c.kind in _TOP_ONLY]
            self._settle(athlete, visit.start_s, kept, sentence("before_standing"))
            if again or not self._gave_up(athlete, visit):
                chain.forget()
        if again:
            feet = self.before.feet
            one_phase = feet and visit.start_s - feet.end_s <= self.seconds.standing_again
            self.before = Before(feet=joined(feet, visit) if feet and one_phase else visit)
            self.last.clear()

    def _restarted(self, visit: Visit) -> bool:
        """True when the match was started anew right before this standing phase."""
        ground = self.before.ground
        return any(
            e.event is EventName.START
            and ground is not None
            and ground.end_s - TOLERANCE_S <= e.time_s <= visit.start_s + TOLERANCE_S
            for e in self.events
        )

    def _ground(self, visit: Visit) -> None:
        athlete = visit.holder
        counter = self._counter(visit)
        rival = self.athletes[athlete.other]
        restored = any(c.kind is ProposalKind.SWEEP and c.bar is None for c in rival.claims)
        end = sentence("before_other_on_top", other=athlete)
        self._settle(athlete.other, visit.start_s, [], end)
        rival.forget()
        self._shrink(visit)
        self._regain(visit)
        self._open(visit, restored, counter)
        self._release(visit)
        self._explain_trapped_leg(visit)
        self.before = Before(ground=visit)
        self.last = {athlete: visit}

    # What is opened ---------------------------------------------------------------------

    def _counter(self, visit: Visit) -> Claim | None:
        """The takedown that answers an opponent's takedown before it was held: only it counts."""
        athlete = visit.holder
        rival = self.athletes[athlete.other]
        first = next((c for c in rival.claims if c.kind is ProposalKind.TAKEDOWN), None)
        if first is None or first.bar is not None:
            return None
        attempt = latest(
            self.events,
            EventName.TAKEDOWN_ATTEMPT,
            athlete,
            first.visit.start_s,
            visit.start_s + self.seconds.event_slack,
        )
        if attempt is None:
            return None
        rival.claims.remove(first)
        clause, both = self.rules.clauses["counter"], {"who": athlete, "other": athlete.other}
        reason = sentence("countered", **both)
        failed = Criterion(
            sentence("asks_not_countered"), False, reason, clause, attempt.confidence
        )
        confidence = first.confidence * attempt.confidence
        none = awarding.none_for(first, visit.start_s, reason, clause, failed, confidence)
        self.proposals.append(none)
        return Claim(
            kind=ProposalKind.TAKEDOWN,
            athlete=athlete,
            visit=visit,
            story=sentence("took_down_countering", **both, into=visit.entered.position),
            clause=clause,
            path=(*first.path, visit.entered),
            confidence=attempt.confidence,
            way=(Criterion(sentence("asks_counter"), True, sentence("seen_marked"), clause),),
            reached_s=visit.start_s,
        )

    def _open(self, visit: Visit, restored: bool, counter: Claim | None) -> None:
        """Add the claims this visit makes to the chain."""
        holder = self.athletes[visit.holder]
        position = position_claim(visit, self.before.last, holder, self.rules)
        way = counter or path_claim(visit, self.before, holder, self.events, self.rules, restored)
        for waiting in holder.claims:
            waiting.latest = visit
            if waiting.kind in _TOP_ONLY and visit.group is not Group.TURTLE:
                waiting.verdict = None  # on all fours no longer: being on top is enough
        for claim in (way, position):
            if claim is None:
                continue
            waiting_too = [c for c in holder.claims if c.kind is claim.kind]
            if any(c.worth >= claim.worth for c in waiting_too):
                continue  # the position is the one already waited for
            holder.claims = [c for c in holder.claims if c not in waiting_too] + [claim]
            if claim.bar is None and claim.sound:
                holder.highest = max(holder.highest, claim.rank)

    def _regain(self, visit: Visit) -> None:
        """Forget what was scored where the opponent broke it, so that it may score again."""
        athlete = visit.holder
        last, holder = self.last.get(athlete), self.athletes[athlete]
        if last is None or self._gave_up(athlete, visit):
            return
        kind = POSITION_KIND.get(visit.group)
        if visit.group in (Group.GUARD, Group.TURTLE):
            holder.forget()
        elif kind is not None and last.group is visit.group:
            scramble_s = visit.start_s - last.end_s
            stopped = any(last.end_s - TOLERANCE_S <= s <= visit.start_s for s in self.cuts)
            if scramble_s >= self.seconds.regained_after - TOLERANCE_S and not stopped:
                holder.credited.discard(kind)
        elif kind is not None and RANK[kind] == rank_of(last.group):
            holder.credited.discard(kind)  # from mount to the back and again: the opponent turned

    def _gave_up(self, athlete: Athlete, visit: Visit) -> bool:
        """True when the athlete left the last position by choice."""
        last = self.last.get(athlete)
        if last is None:
            return False
        until_s = visit.start_s + self.seconds.event_slack
        return (
            latest(self.events, EventName.POSITION_GIVEN_UP, athlete, last.start_s, until_s)
            is not None
        )

    # What is awarded --------------------------------------------------------------------

    def _release(self, visit: Visit) -> None:
        """Award what three seconds in this visit release, in the order it was reached."""
        athlete = visit.holder
        holder = self.athletes[athlete]
        good = clearest(qualified(visit.holds, self.rules), self.rules)
        any_hold = self._stretches(visit, good if visit.group is Group.TURTLE else visit.holds)
        good_hold = self._stretches(visit, good)
        on_top_s, good_s = self._held_at(visit, any_hold), self._held_at(visit, good_hold)
        for claim in list(holder.claims):
            if claim.rank <= min(rank_of(visit.group), 1):
                at_s, stretches = on_top_s, any_hold
            elif claim.rank <= rank_of(visit.group) and not _own_hold_needed(claim, visit):
                at_s, stretches = good_s, good_hold
            else:
                continue
            if at_s is None or not claim.sound:
                continue
            holder.claims.remove(claim)
            self._award(claim, visit, at_s, _around(stretches, at_s))
        settled_s = good_s if visit.group in POSITION_KIND else on_top_s
        if settled_s is not None:
            kind = POSITION_KIND.get(visit.group)
            kept = [c for c in holder.claims if c.kind is kind or c.rank == 0]
            end = sentence("before_going_on", position=visit.entered.position)
            self._settle(athlete, settled_s, kept, end)

    def _award(self, claim: Claim, visit: Visit, at_s: float, stretch: Interval) -> None:
        if claim.bar is not None:
            if visit is claim.visit:  # where the chain moved on, nobody asks any more
                self.proposals.append(awarding.barred(claim, claim.bar, at_s, visit))
            return
        if claim.visit is visit:
            self._explain_before(claim, visit, stretch)
        self.athletes[claim.athlete].credited.add(claim.kind)
        freed = any(
            lock.interval.start_s < at_s and lock.interval.end_s > claim.reached_s - TOLERANCE_S
            for lock in self._locks_on(claim.athlete)
        )
        self.proposals.append(awarding.award(claim, visit, at_s, stretch, self.rules, freed))

    def _explain_before(self, claim: Claim, visit: Visit, stretch: Interval) -> None:
        """Say why the position did not score in an earlier stretch of the same visit."""
        failing = [
            hold
            for hold in visit.holds
            if hold.start_s < stretch.start_s - TOLERANCE_S and not verdict_on(hold, self.rules).met
        ]
        if claim.verdict is None or not failing:
            return
        for part in self._stretches(visit, failing):
            if part.duration_s >= self.seconds.hold - TOLERANCE_S:
                holds = tuple(h for h in failing if overlaps(h.interval, part))
                early = replace(visit, holds=holds)
                verdict, _ = verdict_of(early, self.rules)
                self._explain_unmet(
                    replace(claim, visit=early, verdict=verdict), part.start_s + self.seconds.hold
                )

    def _explain_trapped_leg(self, visit: Visit) -> None:
        """Half-guard after knee-on-belly or mount looks like mount: a leg is trapped."""
        before = self.before.ground
        if before is None or before.upper is not visit.upper or before.group not in _LOOKS_ON:
            return
        trapped = [h for h in visit.holds if h.position is Position.HALF_GUARD]
        at_s = held_at(self._stretches(visit, trapped), self.seconds.hold)
        if at_s is not None:
            self.proposals.append(awarding.trapped_leg(visit, before, at_s, self.rules))

    def _stretches(self, visit: Visit, holds: Sequence[Hold]) -> list[Interval]:
        locks = [k.interval for k in self._locks_on(visit.holder)]
        return stretches_of(holds, self.seconds, locks, self.cuts)

    def _held_at(self, visit: Visit, stretches: Sequence[Interval]) -> float | None:
        """When the three seconds are over; None if never, or the opponent fled before."""
        at_s = held_at(stretches, self.seconds.hold)
        rival = visit.holder.other
        fled = between(self.events, EventName.FLED, rival, visit.start_s, visit.end_s)
        return None if at_s is not None and any(e.time_s < at_s for e in fled) else at_s

    # What is missed ---------------------------------------------------------------------

    def _shrink(self, visit: Visit) -> None:
        """The lower athlete recovered guard, or turned to turtle: what that ends is settled."""
        athlete = visit.holder
        if visit.group not in (Group.GUARD, Group.TURTLE):
            return
        kept = _TOP_ONLY if visit.group is Group.GUARD else _TOP_ONLY | _FROM_BEHIND
        claims = [c for c in self.athletes[athlete].claims if c.kind in kept]
        end = "before_guard" if visit.group is Group.GUARD else "before_turtle"
        self._settle(athlete, visit.start_s, claims, sentence(end, other=athlete.other))

    def _settle(
        self, athlete: Athlete, at_s: float, kept: Sequence[Claim], end: str, at_end: bool = False
    ) -> None:
        """The chance of these points is gone: one advantage for the chain, or why there is none."""
        holder = self.athletes[athlete]
        gone = [c for c in holder.claims if c not in kept and c.bar is None]
        holder.claims = [c for c in holder.claims if c in kept]
        near: list[Claim] = []
        stuck: list[tuple[Claim, Lock]] = []
        for claim in gone:
            lock = self._never_free(claim)
            if not claim.sound and claim.verdict is not None and not claim.verdict.near:
                self._explain_unmet(claim, at_s)
            elif lock is not None:
                stuck.append((claim, lock))
            else:
                near.append(claim)
        if near:
            claim = longest(near)
            others = [c for c in near if c is not claim]
            held_s = self._longest_s(claim)
            self.proposals.append(awarding.missed(claim, others, at_s, held_s, end, self.rules))
        elif stuck:
            claim, lock = max(stuck, key=lambda pair: (pair[0].rank, pair[0].reached_s))
            at_end = at_end and lock.open
            self.proposals.append(awarding.caught(claim, at_s, at_end, lock.attacker, self.rules))

    def _explain_unmet(self, claim: Claim, at_s: float) -> None:
        if claim.visit.duration_s < self.seconds.hold - TOLERANCE_S:
            return
        none = awarding.unmet(claim, min(at_s, claim.visit.end_s), self.rules)
        if none is not None:
            self.proposals.append(none)

    def _longest_s(self, claim: Claim) -> float:
        visit = claim.last_visit if claim.kind in _TOP_ONLY else claim.visit
        stretches = self._stretches(visit, qualified(visit.holds, self.rules) or visit.holds)
        return max((stretch.duration_s for stretch in stretches), default=0.0)

    def _locks_on(self, athlete: Athlete) -> list[Lock]:
        return [lock for lock in self.locks if lock.attacker is athlete.other]

    def _never_free(self, claim: Claim) -> Lock | None:
        """The submission in which a position was reached and in which it was lost again."""
        for lock in self._locks_on(claim.athlete):
            inside = lock.interval.start_s <= claim.reached_s + TOLERANCE_S
            if inside and lock.interval.end_s >= claim.last_visit.end_s - TOLERANCE_S:
                return lock
        return None

    # What fleeing ends ------------------------------------------------------------------

    def _drop_fled(self, until_s: float) -> None:
        """An opponent who fled pays with points: what was under way is not counted besides."""
        for athlete, visit in self.last.items():
            if between(self.events, EventName.FLED, athlete.other, visit.start_s, until_s):
                self.athletes[athlete].claims.clear()


def _own_hold_needed(claim: Claim, visit: Visit) -> bool:
    """Mount and back mount each need three seconds of their own; neither releases the other."""
    pair = {Group.MOUNT, Group.BACK_MOUNT}
    return {claim.visit.group, visit.group} == pair


def _around(stretches: Sequence[Interval], at_s: float) -> Interval:
    return next(s for s in stretches if s.start_s <= at_s <= s.end_s + TOLERANCE_S)


def _starts_on_feet(holds: Sequence[Hold], rules: RuleSet) -> bool:
    """A match starts standing, unless a stretch of scramble is all that was seen first."""
    scramble = takewhile(lambda hold: hold.position is Position.SCRAMBLE, holds)
    return sum(hold.duration_s for hold in scramble) < rules.seconds.hold - TOLERANCE_S
