"""Decisions on proposals, one type per kind."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

from posescore.errors import ConflictError, InputError
from posescore.library.review.entries import Edit, Effect, Entry, Subject
from posescore.library.review.review import Review, ReviewItem, Verdict, inside_footage
from posescore.library.review.state import MatchState, Said, worth
from posescore.scoring.proposal import Proposal, ProposalKind
from posescore.terms import Athlete, Interval

MOST_POINTS: Final = 99
"""More in one award is a slip of the finger."""
SAME_AWARD_S: Final = 3.0
"""Awards that two people added themselves are the same within the seconds that a score is held."""


@dataclass(frozen=True, slots=True)
class LineEdit(Edit):
    """An edit of one line of the score log."""

    proposal: str

    def subject(self, entry: Entry) -> Subject:
        """The line."""
        return Subject(line=self.proposal)

    def looked_at(self, review: Review) -> object:
        """What is proposed in the line, and what was said of it."""
        item = review.item(self.proposal)
        if item is None:
            return None
        said = item.decision
        proposed = item.proposal and (item.proposal.athlete, *worth(item.proposal))
        return proposed, said and (said.entry_id, said.verdict)


@dataclass(frozen=True, slots=True)
class Confirm(LineEdit):
    """The proposal stands as proposed."""

    kind = "confirm"
    words = "confirm a proposal"
    reason: str = ""

    def effect(self, review: Review) -> Effect:
        """The proposal that the person saw."""
        item = _item(self.proposal, review)
        if item.added:
            sentence = "was added by a person: there is nothing to confirm."
            raise ConflictError(f"{self.proposal} {sentence}")
        if item.proposal is None:
            raise ConflictError(f"{self.proposal} is no longer proposed: add the award instead.")
        decision = item.decision
        said = decision is not None and not (item.note or decision.by_mark)
        if decision and said and decision.verdict is Verdict.CONFIRMED:
            raise ConflictError(f"{self.proposal} was confirmed by {decision.author} already.")
        return Effect(proposal=item.proposal)

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Note the word."""
        said = Said(entry, Verdict.CONFIRMED, _seen_in(entry), reason=self.reason)
        state.say(self.proposal, said)


@dataclass(frozen=True, slots=True)
class Change(LineEdit):
    """Something else stands in the proposal's place. What is None stays as proposed."""

    kind = "change"
    words = "change a proposal"
    reason: str = ""
    athlete: Athlete | None = None
    award: ProposalKind | None = None
    points: int | None = None
    advantage: int | None = None
    time_s: float | None = None

    @property
    def changes(self) -> dict[str, Any]:
        """The fields of a proposal that are replaced."""
        wanted = {
            "athlete": self.athlete,
            "kind": self.award,
            "points": self.points,
            "advantage": self.advantage,
            "time_s": self.time_s,
        }
        changes: dict[str, Any] = {k: value for k, value in wanted.items() if value is not None}
        return changes | ({"would_be": None} if "kind" in changes else {})

    def effect(self, review: Review) -> Effect:
        """The proposal that the person saw."""
        item = _item(self.proposal, review)
        _check_worth(self.award, self.points, self.advantage)
        if self.time_s is not None:
            inside_footage(self.time_s, review.clock.end_s)
        if not self.changes:
            raise InputError("edit change: say what to change: athlete, award, points or time_s.")
        seen = _seen(item)
        if replace(seen, **self.changes) == seen and item.decision is None:
            raise InputError("edit change: nothing differs from the proposal; confirm it instead.")
        return Effect(proposal=seen)

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Note the word."""
        before = state.said.get(self.proposal)
        verdict = Verdict.ADDED if before is not None and before.added else Verdict.CHANGED
        seen = _seen_in(entry)
        said = Said(entry, verdict, seen, changes=self.changes, reason=self.reason)
        state.say(self.proposal, said)


@dataclass(frozen=True, slots=True)
class Dismiss(LineEdit):
    """The proposal does not stand; the reason is asked for."""

    kind = "dismiss"
    words = "dismiss a proposal"
    reason: str

    def effect(self, review: Review) -> Effect:
        """The proposal that the person saw."""
        item = _item(self.proposal, review)
        if not self.reason.strip():
            raise InputError("reason: say in a word or two why the proposal does not stand.")
        return Effect(proposal=_seen(item))

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Note the word."""
        said = Said(entry, Verdict.DISMISSED, _seen_in(entry), reason=self.reason)
        state.say(self.proposal, said)


@dataclass(frozen=True, slots=True)
class Reopen(LineEdit):
    """The proposal is undecided again; an added award is taken back."""

    kind = "reopen"
    words = "open a proposal again"

    def effect(self, review: Review) -> Effect:
        """Nothing to remember."""
        if _item(self.proposal, review).decision is None:
            raise ConflictError(f"{self.proposal} is undecided already.")
        return Effect()

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Forget the word."""
        state.said.pop(self.proposal, None)
        state.opened.add(self.proposal)


@dataclass(frozen=True, slots=True)
class AddAward(Edit):
    """What the program missed. ``evidence`` is the stretch that shows it; None: that instant."""

    kind = "add_award"
    words = "add what was missed"
    athlete: Athlete
    award: ProposalKind
    time_s: float
    points: int = 0
    advantage: int = 0
    reason: str = ""
    evidence: Interval | None = None

    def subject(self, entry: Entry) -> Subject:
        """The line of its own."""
        return Subject(line=f"added-{entry.id}")

    def looked_at(self, review: Review) -> object:
        """Whether somebody added the same."""
        return tuple(
            item.key
            for item in review.items
            if item.added
            and (item.shown.athlete, item.shown.kind) == (self.athlete, self.award)
            and abs(item.shown.time_s - self.time_s) <= SAME_AWARD_S
        )

    def effect(self, review: Review) -> Effect:
        """The award."""
        inside_footage(self.time_s, review.clock.end_s)
        _check_worth(self.award, self.points, self.advantage)
        if self.award is ProposalKind.NONE:
            raise InputError("award: 'none' awards nothing; choose what was missed.")
        if not (self.points or self.advantage or self.award is ProposalKind.PENALTY):
            raise InputError("points: an award is worth points or an advantage.")
        evidence = self.evidence or Interval(self.time_s, self.time_s)
        inside_footage(evidence.start_s, review.clock.end_s, "evidence")
        inside_footage(evidence.end_s, review.clock.end_s, "evidence")
        award = Proposal(
            self.time_s, self.athlete, self.award, self.points, self.advantage,
            clause="", why=self.reason or "Seen by a person.", confidence=1.0, evidence=evidence,
        )  # fmt: skip
        return Effect(proposal=award)

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Note the award under a key of its own."""
        said = Said(entry, Verdict.ADDED, _seen_in(entry), added=True, reason=self.reason)
        state.say(f"added-{entry.id}", said)


def _item(key: str, review: Review) -> ReviewItem:
    item = review.item(key)
    if item is None:
        raise ConflictError(f"proposal {key} is no longer there: look at the match again.")
    return item


def _seen(item: ReviewItem) -> Proposal:
    """What the person looks at in a line: an added award as it stands, else the proposal."""
    if item.decision and item.decision.verdict is Verdict.ADDED and item.decision.award:
        return item.decision.award
    return item.proposal or item.shown


def _seen_in(entry: Entry) -> Proposal:
    assert entry.effect.proposal is not None
    return entry.effect.proposal


def _check_worth(award: ProposalKind | None, points: int | None, advantage: int | None) -> None:
    if award is ProposalKind.PENALTY and (points or advantage):
        raise InputError("points: a penalty is a mark; what it gives the opponent is counted.")
    for field, value, most in (("points", points, MOST_POINTS), ("advantage", advantage, 1)):
        if value is not None and not 0 <= value <= most:
            raise InputError(f"{field}: {value} is not from 0 to {most}.")
