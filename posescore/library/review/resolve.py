"""Is this edit possible here, and what does it act on? Asked before anything is kept."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final

from posescore.errors import ConflictError, InputError
from posescore.holds.check import CHECKS
from posescore.library.review import edits
from posescore.library.review.entries import Effect
from posescore.library.review.hold_edits import edits_holds, stretch_of
from posescore.library.review.review import Review, ReviewItem, Verdict
from posescore.library.review.state import FRAME_OF_MATCH, changes_of
from posescore.scoring.log import NEEDS_ATHLETE
from posescore.scoring.proposal import Proposal, ProposalKind
from posescore.terms import Interval

MOST_POINTS: Final = 99
"""More in one award is a slip of the finger."""

SAME_EVENT_S: Final = 0.001


def effect_of(edit: edits.Edit, review: Review) -> Effect:
    """What the edit meets and makes on this review.

    Raises
    ------
    InputError
        When the edit makes no sense.
    ConflictError
        When what it acts on is no longer there.
    """
    if isinstance(edit, edits.Settle):
        return _settled(edit, review)
    if isinstance(edit, edits.SetCheck):
        _check_value(edit)
    if edits_holds(edit):
        return Effect(stretch=stretch_of(review.holds, edit, review.clock.end_s))
    return _EFFECT[type(edit)](edit, review)


_SETTLES: Final = (
    edits.Confirm, edits.Change, edits.Dismiss, edits.AddAward, edits.NameStretch,
)  # fmt: skip
"""Edits that a settled difference may make."""


def _settled(edit: edits.Settle, review: Review) -> Effect:
    if edit.one == edit.other:
        raise InputError("other: an opinion agrees with itself: name two.")
    if bool(edit.line) == (edit.stretch is not None):
        raise InputError("line: name the line or the stretch that is settled, one of the two.")
    inner = edit.inner
    if inner is None:
        return Effect()
    if not isinstance(inner, _SETTLES):
        raise InputError(f"do: {inner.kind} settles nothing.")
    return effect_of(inner, review)


def _check_value(edit: edits.SetCheck) -> None:
    kind = CHECKS[edit.check]
    if edit.value is not None and not kind.allows(edit.value):
        values = ", ".join(str(value) for value in kind.values)
        raise InputError(f"value: {edit.check} is one of {values}, not {edit.value!r}.")


def _item(key: str, review: Review) -> ReviewItem:
    item = review.item(key)
    if item is None:
        raise ConflictError(f"proposal {key} is no longer there: look at the match again.")
    return item


def _instant(time_s: float, review: Review, field: str = "time_s") -> None:
    if not 0 <= time_s <= review.clock.end_s:
        end_s = review.clock.end_s
        raise InputError(f"{field}: {time_s:g} s is outside the footage, 0 to {end_s:.3f} s.")


def _worth(award: ProposalKind | None, points: int | None, advantage: int | None) -> None:
    if award is ProposalKind.PENALTY and (points or advantage):
        raise InputError("points: a penalty is a mark; what it gives the opponent is counted.")
    for field, value, most in (("points", points, MOST_POINTS), ("advantage", advantage, 1)):
        if value is not None and not 0 <= value <= most:
            raise InputError(f"{field}: {value} is not from 0 to {most}.")


def _confirm(edit: edits.Confirm, review: Review) -> Effect:
    item = _item(edit.proposal, review)
    if item.added:
        raise ConflictError(f"{edit.proposal} was added by a person: there is nothing to confirm.")
    if item.proposal is None:
        raise ConflictError(f"{edit.proposal} is no longer proposed: add the award instead.")
    decision = item.decision
    if decision and decision.verdict is Verdict.CONFIRMED and not item.note:
        raise ConflictError(f"{edit.proposal} was confirmed by {decision.author} already.")
    return Effect(proposal=item.proposal)


def _change(edit: edits.Change, review: Review) -> Effect:
    item = _item(edit.proposal, review)
    _worth(edit.award, edit.points, edit.advantage)
    if edit.time_s is not None:
        _instant(edit.time_s, review)
    changes = changes_of(edit)
    if not changes:
        raise InputError("edit change: say what to change: athlete, award, points or time_s.")
    seen = _seen(item)
    if replace(seen, **changes) == seen and item.decision is None:
        raise InputError("edit change: nothing differs from the proposal; confirm it instead.")
    return Effect(proposal=seen)


def _seen(item: ReviewItem) -> Proposal:
    """What the person looks at in a line: an added award as it stands, else the proposal."""
    if item.decision and item.decision.verdict is Verdict.ADDED and item.decision.award:
        return item.decision.award
    return item.proposal or item.shown


def _dismiss(edit: edits.Dismiss, review: Review) -> Effect:
    item = _item(edit.proposal, review)
    if not edit.reason.strip():
        raise InputError("reason: say in a word or two why the proposal does not stand.")
    return Effect(proposal=_seen(item))


def _reopen(edit: edits.Reopen, review: Review) -> Effect:
    if _item(edit.proposal, review).decision is None:
        raise ConflictError(f"{edit.proposal} is undecided already.")
    return Effect()


def _add_award(edit: edits.AddAward, review: Review) -> Effect:
    _instant(edit.time_s, review)
    _worth(edit.award, edit.points, edit.advantage)
    if edit.award is ProposalKind.NONE:
        raise InputError("award: 'none' awards nothing; choose what was missed.")
    if not (edit.points or edit.advantage or edit.award is ProposalKind.PENALTY):
        raise InputError("points: an award is worth points or an advantage.")
    evidence = edit.evidence or Interval(edit.time_s, edit.time_s)
    _instant(evidence.start_s, review, "evidence")
    _instant(evidence.end_s, review, "evidence")
    award = Proposal(
        edit.time_s, edit.athlete, edit.award, edit.points, edit.advantage,
        clause="", why=edit.reason or "Seen by a person.", confidence=1.0, evidence=evidence,
    )  # fmt: skip
    return Effect(proposal=award)


def _add_event(edit: edits.AddEvent, review: Review) -> Effect:
    _instant(edit.time_s, review)
    if edit.event in FRAME_OF_MATCH and edit.athlete is not None:
        raise InputError(f"athlete: {edit.event} is nobody's; leave the athlete out.")
    if edit.event in NEEDS_ATHLETE and edit.athlete is None:
        raise InputError(f"athlete: say whose {edit.event} it is, A or B.")
    for marked in review.events:
        event = marked.event
        if (event.event, event.athlete) == (edit.event, edit.athlete) and abs(
            event.time_s - edit.time_s
        ) < SAME_EVENT_S:
            raise ConflictError(f"event {marked.key} is marked there already.")
    return Effect()


def _remove_event(edit: edits.RemoveEvent, review: Review) -> Effect:
    marked = review.event(edit.event)
    if marked is None:
        raise ConflictError(f"event {edit.event} is no longer there: look at the match again.")
    return Effect(event=marked.event)


def _swap(edit: edits.SwapAthletes, review: Review) -> Effect:
    _instant(edit.start_s, review, "start_s")
    end_s = review.clock.end_s if edit.end_s is None else edit.end_s
    _instant(end_s, review, "end_s")
    if end_s <= edit.start_s:
        raise InputError(f"end_s: {end_s:g} s must come after start_s, {edit.start_s:g} s.")
    return Effect(track_sha256=review.track_sha256)


def _set_rules(edit: edits.SetRules, review: Review) -> Effect:
    if edit.rules == review.rules:
        raise InputError(f"rules: the match is scored under {edit.rules} already.")
    return Effect()


def _set_division(edit: edits.SetDivision, review: Review) -> Effect:
    if edit.division == review.division:
        raise InputError("division: the match is in that division already.")
    return Effect()


_EFFECT: Final[Mapping[type[edits.Edit], Callable[[Any, Review], Effect]]] = {
    edits.Confirm: _confirm,
    edits.Change: _change,
    edits.Dismiss: _dismiss,
    edits.Reopen: _reopen,
    edits.AddAward: _add_award,
    edits.AddEvent: _add_event,
    edits.RemoveEvent: _remove_event,
    edits.SwapAthletes: _swap,
    edits.SetRules: _set_rules,
    edits.SetDivision: _set_division,
}
