"""What an athlete has a claim to: a scoring position reached, waiting for its three seconds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from posescore.scoring.proposal import Criterion, ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.scoring.timeline import Group, Visit
from posescore.scoring.verdict import Verdict, verdict_on
from posescore.terms import Athlete, State
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
        return Bar(
            sentence("stepped_down", who=athlete),
            rules.clauses["order"],
            sentence("asks_order"),
        )
    return None


def repeat_bar(kind: ProposalKind, athlete: Athlete, rules: RuleSet) -> Bar:
    """The bar of 3.2: the same position again, after it was left by choice or merely moved."""
    return Bar(
        sentence("same_counts_once", who=athlete, other=athlete.other, kind=trade(kind)),
        rules.clauses["given_up"],
        sentence("asks_not_given_up"),
    )


def longest(claims: Sequence[Claim]) -> Claim:
    """The claim of the highest rank; the latest among equals."""
    return max(claims, key=lambda claim: (claim.rank, claim.reached_s))
