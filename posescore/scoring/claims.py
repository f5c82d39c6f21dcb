"""What an athlete has a claim to: a scoring position reached, waiting for its three seconds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from posescore.scoring.proposal import Criterion, ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.scoring.timeline import Group, Visit
from posescore.scoring.verdict import Verdict, verdict_on
from posescore.terms import Athlete, Position, State
from posescore.words import sentence, state_words, trade

POSITION_KIND: Final[Mapping[Group, ProposalKind]] = {
    Group.KNEE_ON_BELLY: ProposalKind.KNEE_ON_BELLY,
    Group.MOUNT: ProposalKind.MOUNT,
    Group.BACK_MOUNT: ProposalKind.BACK_MOUNT,
    Group.BACK_CONTROL: ProposalKind.BACK_CONTROL,
}
"""Positions that score by themselves, however they were reached."""

RANK: Final[Mapping[ProposalKind, int]] = {
    ProposalKind.TAKEDOWN: 0,
    ProposalKind.SWEEP: 0,
    ProposalKind.GUARD_PASS: 1,
    ProposalKind.KNEE_ON_BELLY: 2,
    ProposalKind.MOUNT: 3,
    ProposalKind.BACK_MOUNT: 3,
    ProposalKind.BACK_CONTROL: 3,
}
"""Ascending order of a chain: top, past the legs, knee-on-belly, mount or back."""


FEET: Final = (State(Position.STANDING),)
"""Where a landing comes from."""
STRAIGHT: Final = 0.8
"""Past the legs straight into mount or knee-on-belly: the clause names side control alone."""


def rank_of(group: Group) -> int:
    """The highest claim that three seconds in this group release, its criteria aside."""
    if group in (Group.GUARD, Group.TURTLE):
        return 0
    kind = POSITION_KIND.get(group)
    return 1 if kind is None else RANK[kind]


@dataclass(frozen=True, slots=True)
class Bar:
    """Why a claim is worth nothing even when the position is held."""

    reason: str
    clause: str
    criterion: str

    @classmethod
    def named(cls, rules: RuleSet, clause: str, asks: str, reason: str, **fields: object) -> Bar:
        """A bar by the names of its clause and of its sentences."""
        return cls(sentence(reason, **fields), rules.clauses[clause], sentence(asks))


@dataclass(slots=True, eq=False)
class Claim:
    """A scoring position reached, to be awarded, missed or explained.

    ``story`` is the first half of the reason ("{A} took {B} down from standing into mount");
    ``way`` and ``confidence`` cover how the position was reached, ``verdict`` the position itself.
    """

    kind: ProposalKind
    athlete: Athlete
    visit: Visit
    story: str
    clause: str
    path: tuple[State, ...]
    confidence: float = 1.0
    way: tuple[Criterion, ...] = ()
    bar: Bar | None = None
    note: str = ""
    reached_s: float = 0.0
    verdict: Verdict | None = None
    latest: Visit | None = None

    @property
    def rank(self) -> int:
        """Place in the ascending order."""
        return RANK[self.kind]

    @property
    def criteria(self) -> tuple[Criterion, ...]:
        """All criteria: of the way there, and of the position."""
        return self.way + (self.verdict.criteria if self.verdict else ())

    @property
    def sound(self) -> bool:
        """True when every criterion of the position was met at some time."""
        return self.verdict is None or self.verdict.met

    @property
    def worth(self) -> tuple[bool, bool]:
        """What a claim stands for, to compare two of one kind: not barred first, then sound."""
        return self.bar is None, self.sound

    @property
    def last_visit(self) -> Visit:
        """Where the athlete was last while the claim was open."""
        return self.latest or self.visit


@dataclass(slots=True)
class Chain:
    """The running chain of one athlete: open claims, and what was already scored."""

    claims: list[Claim] = field(default_factory=list)
    credited: set[ProposalKind] = field(default_factory=set)
    """Scored since the opponent last got out of it."""
    highest: int = 0
    """Highest rank reached since the opponent last got out of it."""

    def forget(self) -> None:
        """The opponent broke it: everything may score again."""
        self.credited.clear()
        self.highest = 0


def verdict_of(visit: Visit, rules: RuleSet) -> tuple[Verdict, float]:
    """The best that was seen of a visit's criteria, and from when on."""
    seen_s: dict[Verdict, float] = {}
    for hold in visit.holds:
        verdict = verdict_on(hold, rules)
        if verdict.met:
            return verdict, hold.start_s
        seen_s[verdict] = seen_s.get(verdict, 0.0) + hold.duration_s
    return max(seen_s, key=lambda verdict: round(seen_s[verdict], 6)), visit.start_s


def position_claim(
    visit: Visit, before: Visit | None, holder: Chain, rules: RuleSet
) -> Claim | None:
    """The claim that a position makes by itself: knee-on-belly, mount, either back."""
    kind = POSITION_KIND.get(visit.group)
    if kind is None or visit.upper is None:
        return None
    athlete, position = visit.upper, visit.entered.position
    verdict, reached_s = verdict_of(visit, rules)
    story = sentence("took", who=athlete, position=position)
    if before is not None and before.group is not visit.group:
        story = sentence("took_from", who=athlete, position=position, out_of=before.left.position)
    asks = sentence(f"asks_{kind}")
    return Claim(
        kind=kind,
        athlete=athlete,
        visit=visit,
        story=story,
        clause=rules.clauses[kind],
        path=(*(() if before is None else (before.left,)), visit.left),
        way=(Criterion(asks, True, state_words(visit.left), rules.clauses[kind]),),
        bar=_position_bar(kind, athlete, holder, rules),
        reached_s=reached_s,
        verdict=verdict,
    )


def _position_bar(
    kind: ProposalKind, athlete: Athlete, holder: Chain, rules: RuleSet
) -> Bar | None:
    if kind in holder.credited:
        return repeat_bar(kind, athlete, rules)
    if RANK[kind] < holder.highest:
        return Bar.named(rules, "order", "asks_order", "stepped_down", who=athlete)
    return None


def repeat_bar(kind: ProposalKind, athlete: Athlete, rules: RuleSet) -> Bar:
    """The bar of 3.2: the same position again, after it was left by choice or merely moved."""
    fields = {"who": athlete, "other": athlete.other, "kind": trade(kind)}
    return Bar.named(rules, "given_up", "asks_not_given_up", "same_counts_once", **fields)


def way_claim(
    kind: ProposalKind,
    visit: Visit,
    came_from: tuple[State, ...],
    story: str,
    clause: str,
    confidence: float,
    rules: RuleSet,
    way: tuple[Criterion, ...] = (),
    bar: Bar | None = None,
) -> Claim:
    """The claim that the way to a position makes.

    An opponent on all fours counts only under control from behind; that must be seen.
    """
    claim = Claim(
        kind=kind,
        athlete=visit.holder,
        visit=visit,
        story=story,
        clause=clause,
        path=(*came_from, visit.entered),
        confidence=confidence,
        way=way,
        bar=bar,
        note=sentence("no_pass")
        if visit.group is Group.PIN and kind is not ProposalKind.GUARD_PASS
        else "",
        reached_s=visit.start_s,
    )
    if visit.group is Group.TURTLE:
        verdict, claim.reached_s = verdict_of(visit, rules)
        if verdict.met and not verdict.seen_any and verdict.criteria:
            verdict = Verdict(verdict.criteria, verdict.criteria[0], False, 1.0, False)
        claim.verdict = verdict
    return claim


def pass_claim(
    visit: Visit,
    came_from: tuple[State, ...],
    seen: str,
    confidence: float,
    rules: RuleSet,
    bar: Bar | None,
) -> Claim:
    """The claim of a guard pass; ``seen`` is the guard there was to pass."""
    athlete, clause = visit.holder, rules.clauses["guard_pass"]
    if visit.group is not Group.PIN:
        confidence *= STRAIGHT
        clause = sentence("by_common_practice", clause=clause)
    in_pin = visit.group is Group.PIN or None
    guard = Criterion(sentence("asks_guard"), True, seen, clause, confidence)
    past = Criterion(sentence("asks_past_legs"), in_pin, state_words(visit.left), clause)
    story = sentence("passed", who=athlete, other=athlete.other, into=visit.entered.position)
    kind, way = ProposalKind.GUARD_PASS, () if bar else (guard, past)
    return way_claim(kind, visit, came_from, story, clause, confidence, rules, way, bar)


def longest(claims: Sequence[Claim]) -> Claim:
    """The claim of the highest rank; the latest among equals."""
    return max(claims, key=lambda claim: (claim.rank, claim.reached_s))
