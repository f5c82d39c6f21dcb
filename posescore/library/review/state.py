"""Holds, events, swaps and decisions while a log is replayed over an analysis."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from posescore.holds.event import EventName, MatchEvent
from posescore.library.analysis import Analysis
from posescore.library.review.entries import Entry, ReviewHold
from posescore.library.review.review import Decision, SetAside, Verdict
from posescore.library.review.stretches import seen
from posescore.scoring.outcome import Outcome
from posescore.scoring.proposal import Proposal, Tally
from posescore.terms import Athlete, Interval

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
    """What the log made of an analysis so far.

    ``opened`` are lines that were opened again; ``readings`` what the scoreboard showed, by the
    instant, None for the end of the match.
    """

    end_s: float
    track_sha256: str
    holds: list[ReviewHold]
    events: list[tuple[MatchEvent, int | None]]
    said: dict[str, Said] = field(default_factory=dict)
    swaps: list[Interval] = field(default_factory=list)
    set_aside: list[SetAside] = field(default_factory=list)
    opened: set[str] = field(default_factory=set)
    outcome: Outcome | None = None
    readings: dict[float | None, Mapping[Athlete, Tally]] = field(default_factory=dict)

    @classmethod
    def of(cls, base: Analysis) -> MatchState:
        """The analysis as it came."""
        return cls(
            base.clock.end_s,
            base.track_sha256,
            sorted((seen(hold) for hold in base.holds), key=lambda held: held.hold.start_s),
            [(event, None) for event in base.events],
        )

    def copy(self) -> MatchState:
        """The same, to go on from without changing this one."""
        return replace(
            self,
            holds=list(self.holds),
            events=list(self.events),
            said=dict(self.said),
            swaps=list(self.swaps),
            set_aside=list(self.set_aside),
            opened=set(self.opened),
            readings=dict(self.readings),
        )

    def say(self, key: str, said: Said) -> None:
        """Note the newest word on a line, in place of the one before."""
        before = self.said.get(key)
        if before is not None:
            said = replace(said, replaces=before.entry.id, added=before.added)
        self.said[key] = said
        self.opened.discard(key)

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


def settings_in_force(
    entries: Iterable[Entry], rules: str, division: Mapping[str, str] | None
) -> tuple[str, Mapping[str, str] | None]:
    """Rule set and division after the entries in force, given those the match was added with."""
    for entry in entries:
        if entry.edit is not None:
            rules, division = entry.edit.scored_under(rules, division)
    return rules, division
