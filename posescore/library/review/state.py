"""Holds, events, swaps and decisions while a log is replayed over an analysis."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from posescore.holds.event import EventName, MatchEvent
from posescore.library.analysis import Analysis
from posescore.library.review import edits
from posescore.library.review.entries import Entry, ReviewHold
from posescore.library.review.hold_edits import edits_holds, laid_over, seen, swapped
from posescore.library.review.review import Decision, SetAside, Verdict
from posescore.scoring.proposal import Proposal
from posescore.terms import Interval

NEAR_EVENT_S: Final = 1.0
"""A removed event is the same in another analysis within this many seconds."""

FRAME_OF_MATCH: Final = frozenset({EventName.START, EventName.STOP, EventName.END})
"""Events that say when the match runs, not who did what."""


@dataclass(frozen=True, slots=True)
class Said:
    """The newest word of a person on one line of the score log.

    ``changes`` are the fields of the proposal that the person replaced; ``added`` is True for an
    award that no proposal stands behind.
    """

    entry: Entry
    verdict: Verdict
    seen: Proposal
    added: bool = False
    changes: Mapping[str, Any] = field(default_factory=dict)
    reason: str = ""
    replaces: int | None = None

    def decision(self, now: Proposal | None) -> Decision:
        """The decision, given what is proposed now.

        Where the proposal is worth what it was, its fresh instant and evidence are taken over.
        """
        award = None
        if self.verdict is not Verdict.DISMISSED:
            same = now is not None and worth(now) == worth(self.seen)
            award = replace(now if same and now else self.seen, **self.changes)
        entry = self.entry
        return Decision(
            entry.id, entry.author, entry.made_at, self.verdict, self.seen, award, self.reason,
            self.replaces,
        )  # fmt: skip


def worth(proposal: Proposal) -> tuple[object, ...]:
    """What a person decides on: kind, points and advantage."""
    return proposal.kind, proposal.points, proposal.advantage


@dataclass(slots=True)
class MatchState:
    """What the log made of an analysis so far."""

    end_s: float
    track_sha256: str
    holds: list[ReviewHold]
    events: list[tuple[MatchEvent, int | None]]
    said: dict[str, Said] = field(default_factory=dict)
    swaps: list[Interval] = field(default_factory=list)
    set_aside: list[SetAside] = field(default_factory=list)

    @classmethod
    def of(cls, base: Analysis) -> MatchState:
        """The analysis as it came."""
        return cls(
            base.clock.end_s,
            base.track_sha256,
            sorted((seen(hold) for hold in base.holds), key=lambda held: held.hold.start_s),
            [(event, None) for event in base.events],
        )

    def apply(self, entry: Entry) -> None:
        """Do what the entry says."""
        assert entry.edit is not None, "undo and redo are folded away before"
        if isinstance(entry.edit, edits.Settle):
            inner = entry.edit.inner
            if inner is not None:
                self.apply(replace(entry, edit=inner))
            return
        if edits_holds(entry.edit):
            assert entry.effect.stretch is not None
            self.holds = laid_over(self.holds, entry.effect.stretch)
        else:
            _APPLY[type(entry.edit)](self, entry, entry.edit)

    def exchanged(self) -> tuple[Interval, ...]:
        """Stretches swapped an odd number of times."""
        instants = sorted(at_s for swap in self.swaps for at_s in (swap.start_s, swap.end_s))
        pairs = zip(instants[::2], instants[1::2], strict=True)
        return _touching_joined([Interval(start_s, end_s) for start_s, end_s in pairs])


def _touching_joined(intervals: list[Interval]) -> tuple[Interval, ...]:
    joined: list[Interval] = []
    for interval in intervals:
        if interval.start_s == interval.end_s:
            continue
        if joined and joined[-1].end_s == interval.start_s:
            joined[-1] = Interval(joined[-1].start_s, interval.end_s)
        else:
            joined.append(interval)
    return tuple(joined)


def _say(state: MatchState, key: str, said: Said) -> None:
    before = state.said.get(key)
    if before is not None:
        said = replace(said, replaces=before.entry.id, added=before.added)
    state.said[key] = said


def _seen_in(entry: Entry) -> Proposal:
    assert entry.effect.proposal is not None
    return entry.effect.proposal


def _confirm(state: MatchState, entry: Entry, edit: edits.Confirm) -> None:
    said = Said(entry, Verdict.CONFIRMED, _seen_in(entry), reason=edit.reason)
    _say(state, edit.proposal, said)


def _change(state: MatchState, entry: Entry, edit: edits.Change) -> None:
    before = state.said.get(edit.proposal)
    verdict = Verdict.ADDED if before is not None and before.added else Verdict.CHANGED
    changes = changes_of(edit)
    said = Said(entry, verdict, _seen_in(entry), changes=changes, reason=edit.reason)
    _say(state, edit.proposal, said)


def changes_of(edit: edits.Change) -> dict[str, Any]:
    """The fields of a proposal that a change replaces."""
    wanted = {
        "athlete": edit.athlete,
        "kind": edit.award,
        "points": edit.points,
        "advantage": edit.advantage,
        "time_s": edit.time_s,
    }
    changes: dict[str, Any] = {k: value for k, value in wanted.items() if value is not None}
    if "kind" in changes:
        changes["would_be"] = None
    return changes


def _dismiss(state: MatchState, entry: Entry, edit: edits.Dismiss) -> None:
    said = Said(entry, Verdict.DISMISSED, _seen_in(entry), reason=edit.reason)
    _say(state, edit.proposal, said)


def _reopen(state: MatchState, entry: Entry, edit: edits.Reopen) -> None:
    state.said.pop(edit.proposal, None)


def _add_award(state: MatchState, entry: Entry, edit: edits.AddAward) -> None:
    said = Said(entry, Verdict.ADDED, _seen_in(entry), added=True, reason=edit.reason)
    _say(state, f"added-{entry.id}", said)


def _add_event(state: MatchState, entry: Entry, edit: edits.AddEvent) -> None:
    state.events.append((MatchEvent(edit.time_s, edit.event, edit.athlete), entry.id))


def _remove_event(state: MatchState, entry: Entry, edit: edits.RemoveEvent) -> None:
    gone = entry.effect.event
    assert gone is not None
    near = [
        (abs(event.time_s - gone.time_s), index)
        for index, (event, _) in enumerate(state.events)
        if (event.event, event.athlete) == (gone.event, gone.athlete)
    ]
    if near and min(near)[0] <= NEAR_EVENT_S:
        del state.events[min(near)[1]]


def _swap(state: MatchState, entry: Entry, edit: edits.SwapAthletes) -> None:
    if entry.effect.track_sha256 != state.track_sha256:
        why = "A and B were exchanged in an earlier track; look whether this one needs it, too."
        state.set_aside.append(SetAside(entry, why))
        return
    end_s = state.end_s if edit.end_s is None else edit.end_s
    stretch = Interval(edit.start_s, end_s)
    state.swaps.append(stretch)

    def inside(time_s: float) -> bool:
        return stretch.contains(time_s) or (edit.end_s is None and time_s >= edit.start_s)

    state.holds = swapped(state.holds, edit.start_s, end_s)
    state.events = [
        (replace(event, athlete=event.athlete.other), entry_id)
        if event.athlete and entry_id is None and inside(event.time_s)
        else (event, entry_id)
        for event, entry_id in state.events
    ]


def _settings(state: MatchState, entry: Entry, edit: edits.Edit) -> None:
    """Rule set and division are read off the log by :func:`settings_in_force`."""


def settings_in_force(
    entries: Iterable[Entry], rules: str, division: Mapping[str, str] | None
) -> tuple[str, Mapping[str, str] | None]:
    """Rule set and division after the entries in force, given those the match was added with."""
    for entry in entries:
        if isinstance(entry.edit, edits.SetRules):
            rules = entry.edit.rules
        elif isinstance(entry.edit, edits.SetDivision):
            division = entry.edit.division
    return rules, division


_APPLY: Final[Mapping[type[edits.Edit], Callable[[MatchState, Entry, Any], None]]] = {
    edits.Confirm: _confirm,
    edits.Change: _change,
    edits.Dismiss: _dismiss,
    edits.Reopen: _reopen,
    edits.AddAward: _add_award,
    edits.AddEvent: _add_event,
    edits.RemoveEvent: _remove_event,
    edits.SwapAthletes: _swap,
    edits.SetRules: _settings,
    edits.SetDivision: _settings,
}
