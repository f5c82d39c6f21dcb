"""Edits of events and of the match as a whole, one type per kind."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from posescore.errors import ConflictError, InputError
from posescore.holds.event import EventName, MatchEvent
from posescore.library.review.decisions import AddAward, Change, Confirm, Dismiss
from posescore.library.review.entries import NEAR_EVENT_S, Edit, Effect, Entry, Subject
from posescore.library.review.hold_edits import NameStretch
from posescore.library.review.review import Review, SetAside, inside_footage
from posescore.library.review.state import FRAME_OF_MATCH, MatchState
from posescore.library.review.stretches import swapped
from posescore.scoring.log import NEEDS_ATHLETE
from posescore.terms import Athlete, Interval

SAME_EVENT_S: Final = 0.001


@dataclass(frozen=True, slots=True)
class AddEvent(Edit):
    """Mark an event at an instant."""

    kind = "add_event"
    words = "mark an event"
    event: EventName
    time_s: float
    athlete: Athlete | None = None

    def subject(self, entry: Entry) -> Subject:
        """The event."""
        return Subject(setting=self.event, athlete=self.athlete, time_s=self.time_s)

    def looked_at(self, review: Review) -> object:
        """Whether somebody marked the same."""
        wanted = Subject(setting=self.event, athlete=self.athlete, time_s=self.time_s)
        return tuple(
            each.key
            for each in review.events
            if wanted.meets(
                Subject(
                    setting=each.event.event,
                    athlete=each.event.athlete,
                    time_s=each.event.time_s,
                )
            )
        )

    def effect(self, review: Review) -> Effect:
        """Nothing to remember."""
        inside_footage(self.time_s, review.clock.end_s)
        if self.event in FRAME_OF_MATCH and self.athlete is not None:
            raise InputError(f"athlete: {self.event} is nobody's; leave the athlete out.")
        if self.event in NEEDS_ATHLETE and self.athlete is None:
            raise InputError(f"athlete: say whose {self.event} it is, A or B.")
        for marked in review.events:
            event = marked.event
            same = (event.event, event.athlete) == (self.event, self.athlete)
            if same and abs(event.time_s - self.time_s) < SAME_EVENT_S:
                raise ConflictError(f"event {marked.key} is marked there already.")
        return Effect()

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Add it."""
        state.events.append((MatchEvent(self.time_s, self.event, self.athlete), entry.id))


@dataclass(frozen=True, slots=True)
class RemoveEvent(Edit):
    """The event did not take place."""

    kind = "remove_event"
    words = "remove an event"
    event: str

    def subject(self, entry: Entry) -> Subject:
        """The event."""
        gone = entry.effect.event
        assert gone is not None
        return Subject(setting=gone.event, athlete=gone.athlete, time_s=gone.time_s)

    def looked_at(self, review: Review) -> object:
        """Whether it is there."""
        return review.event(self.event) is not None

    def effect(self, review: Review) -> Effect:
        """The event."""
        marked = review.event(self.event)
        if marked is None:
            raise ConflictError(f"event {self.event} is no longer there: look at the match again.")
        return Effect(event=marked.event)

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Remove it, or what another analysis has of it."""
        gone = entry.effect.event
        assert gone is not None
        near = [
            (abs(event.time_s - gone.time_s), index)
            for index, (event, _) in enumerate(state.events)
            if (event.event, event.athlete) == (gone.event, gone.athlete)
        ]
        if near and min(near)[0] <= NEAR_EVENT_S:
            del state.events[min(near)[1]]


@dataclass(frozen=True, slots=True)
class SwapAthletes(Edit):
    """A and B were exchanged by the program from ``start_s`` on, or up to ``end_s``.

    What a person said of an athlete in that stretch stays.
    """

    kind = "swap_athletes"
    words = "swap A and B"
    start_s: float
    end_s: float | None = None

    def subject(self, entry: Entry) -> Subject:
        """The stretch; to the end of all footage where none was said."""
        end_s = float("inf") if self.end_s is None else self.end_s
        return Subject(stretch=Interval(self.start_s, end_s))

    def looked_at(self, review: Review) -> object:
        """What is exchanged from there on."""
        return tuple(each for each in review.swaps if each.end_s > self.start_s)

    def effect(self, review: Review) -> Effect:
        """The track in which they were exchanged."""
        inside_footage(self.start_s, review.clock.end_s, "start_s")
        end_s = review.clock.end_s if self.end_s is None else self.end_s
        inside_footage(end_s, review.clock.end_s, "end_s")
        if end_s <= self.start_s:
            raise InputError(f"end_s: {end_s:g} s must come after start_s, {self.start_s:g} s.")
        return Effect(track_sha256=review.track_sha256)

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Exchange them in holds and inferred events; in another track it is set aside."""
        if entry.effect.track_sha256 != state.track_sha256:
            why = "A and B were exchanged in an earlier track; look whether this one needs it, too."
            state.set_aside.append(SetAside(entry, why))
            return
        end_s = state.end_s if self.end_s is None else self.end_s
        stretch = Interval(self.start_s, end_s)
        state.swaps.append(stretch)

        def inside(time_s: float) -> bool:
            return stretch.contains(time_s) or (self.end_s is None and time_s >= self.start_s)

        state.holds = swapped(state.holds, self.start_s, end_s)
        state.events = [
            (replace(event, athlete=event.athlete.other), entry_id)
            if event.athlete and entry_id is None and inside(event.time_s)
            else (event, entry_id)
            for event, entry_id in state.events
        ]


@dataclass(frozen=True, slots=True)
class SetRules(Edit):
    """Score the match under another rule set."""

    kind = "set_rules"
    words = "choose the rule set"
    rules: str

    def looked_at(self, review: Review) -> object:
        """The rule set in force."""
        return review.rules

    def effect(self, review: Review) -> Effect:
        """Nothing to remember."""
        if self.rules == review.rules:
            raise InputError(f"rules: the match is scored under {self.rules} already.")
        return Effect()

    def scored_under(
        self, rules: str, division: Mapping[str, str] | None
    ) -> tuple[str, Mapping[str, str] | None]:
        """The rule set of the edit."""
        return self.rules, division


@dataclass(frozen=True, slots=True)
class SetDivision(Edit):
    """Score the match in another division; None: unknown."""

    kind = "set_division"
    words = "choose the division"
    division: Mapping[str, str] | None

    def looked_at(self, review: Review) -> object:
        """The division in force."""
        return None if review.division is None else dict(review.division)

    def effect(self, review: Review) -> Effect:
        """Nothing to remember."""
        if self.division == review.division:
            raise InputError("division: the match is in that division already.")
        return Effect()

    def scored_under(
        self, rules: str, division: Mapping[str, str] | None
    ) -> tuple[str, Mapping[str, str] | None]:
        """The division of the edit."""
        return rules, self.division


# Opinions ---------------------------------------------------------------------------------------
class Taken(StrEnum):
    """Whose answer stands after two opinions differed."""

    ONE = "one"
    OTHER = "other"
    NEITHER = "neither"


@dataclass(frozen=True, slots=True)
class Settle(Edit):
    """Two opinions differed; from now on the shared log says this. Both opinions stay as they are.

    Parameters
    ----------
    one, other
        Names of the opinions, "" for the shared log.
    taken
        Whose answer stands; with neither, what the shared log says already.
    line
        The line of the score log that they differed on; "" for a stretch.
    stretch
        The stretch that they named differently; None for a line.
    do
        The edit that makes the shared log say so, as plain data; None where it says so already.
    """

    kind = "settle"
    words = "settle a difference"
    one: str
    other: str
    taken: Taken
    line: str = ""
    stretch: Interval | None = None
    do: Mapping[str, object] | None = None

    @property
    def inner(self) -> Edit | None:
        """The edit in :attr:`do`."""
        return None if self.do is None else Edit.from_json(self.do)

    def subject(self, entry: Entry) -> Subject:
        """The line or the stretch."""
        inner = self.inner
        if inner is not None:
            return inner.subject(entry)
        return Subject(line=self.line, stretch=self.stretch)

    def effect(self, review: Review) -> Effect:
        """That of the inner edit."""
        if self.one == self.other:
            raise InputError("other: an opinion agrees with itself: name two.")
        if bool(self.line) == (self.stretch is not None):
            raise InputError("line: name the line or the stretch that is settled, one of the two.")
        inner = self.inner
        if inner is None:
            return Effect()
        if not isinstance(inner, Confirm | Change | Dismiss | AddAward | NameStretch):
            raise InputError(f"do: {inner.kind} settles nothing.")
        return inner.effect(review)

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Do the inner edit."""
        if (inner := self.inner) is not None:
            inner.apply(state, replace(entry, edit=inner))
