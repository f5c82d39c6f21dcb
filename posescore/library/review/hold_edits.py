"""Edits of holds, one type per kind."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from posescore.errors import ConflictError, InputError
from posescore.holds.check import CHECKS
from posescore.holds.hold import Check, CheckName, Hold
from posescore.library.review.entries import Edit, Effect, Entry, ReviewHold, Stretch, Subject
from posescore.library.review.review import Review, inside_footage
from posescore.library.review.state import MatchState
from posescore.library.review.stretches import (
    TOUCHING_S,
    Holds,
    laid_over,
    moved,
    one_of,
    seen,
    touched,
)
from posescore.terms import Athlete, Interval, Position, State
from posescore.words import trade

SHORTEST_S: Final = 0.01
"""No edit leaves a hold shorter than this: well under a frame at 60 frames a second."""


class Edge(StrEnum):
    """One of the two ends of a hold."""

    START = "start"
    END = "end"


class Keep(StrEnum):
    """Which of two merged holds gives the position."""

    FIRST = "first"
    SECOND = "second"


@dataclass(frozen=True, slots=True)
class HoldEdit(Edit):
    """An edit whose outcome is a stretch of holds."""

    def stretch(self, holds: Holds, end_s: float) -> Stretch:
        """All holds in the part of the footage that the edit touches, as it leaves them.

        Parameters
        ----------
        holds
            In time order.
        end_s
            The end of the footage.

        Raises
        ------
        InputError
            When the edit makes no sense for that hold.
        ConflictError
            When the hold is no longer there, or the stretch is taken.
        """
        raise NotImplementedError

    def subject(self, entry: Entry) -> Subject:
        """The stretch that it left."""
        made = entry.effect.stretch
        assert made is not None
        return Subject(stretch=Interval(made.start_s, made.end_s))

    def looked_at(self, review: Review) -> object:
        """The holds and criteria in the stretch that it would leave; None where it can't be."""
        try:
            made = self.stretch(review.holds, review.clock.end_s)
        except (InputError, ConflictError):
            return None
        return tuple(
            (held.key, tuple((check.name, check.value) for check in held.hold.checks))
            for held in review.holds
            if held.hold.start_s < made.end_s and made.start_s < held.hold.end_s
        )

    def effect(self, review: Review) -> Effect:
        """The stretch that stands from then on."""
        return Effect(stretch=self.stretch(review.holds, review.clock.end_s))

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Lay the stretch over the holds."""
        assert entry.effect.stretch is not None
        state.holds = laid_over(state.holds, entry.effect.stretch)


@dataclass(frozen=True, slots=True)
class SetEdge(HoldEdit):
    """Move one end of a hold to an instant; a neighbour that touches it moves along."""

    kind = "set_edge"
    words = "move the edge of a hold"
    hold: str
    edge: Edge
    to_s: float

    def stretch(self, holds: Holds, end_s: float) -> Stretch:
        """The hold, and the neighbour that moves along."""
        inside_footage(self.to_s, end_s, "to_s")
        index = _index(holds, self.hold)
        held, at_end = holds[index], self.edge is Edge.END
        hold, to_s = held.hold, self.to_s
        before_s = hold.end_s if at_end else hold.start_s
        if to_s == before_s:
            raise InputError(f"to_s: the {self.edge} of the hold is at {to_s:g} s already.")
        whole = (hold.start_s, to_s) if at_end else (to_s, hold.end_s)
        if whole[1] - whole[0] < SHORTEST_S:
            raise InputError(f"to_s: {to_s:g} s leaves nothing of the hold; remove it instead.")
        changed = [moved(held, *whole)]
        beside = index + (1 if at_end else -1)
        if 0 <= beside < len(holds):
            changed += _pushed(holds[beside], before_s, to_s, at_end)
        changed.sort(key=lambda each: each.hold.start_s)
        return Stretch(
            min(hold.start_s, changed[0].hold.start_s), max(hold.end_s, changed[-1].hold.end_s),
            tuple(changed),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Split(HoldEdit):
    """Cut a hold in two at an instant inside it."""

    kind = "split"
    words = "split a hold"
    hold: str
    at_s: float

    def stretch(self, holds: Holds, end_s: float) -> Stretch:
        """Both parts."""
        held, at_s = _hold(holds, self.hold), self.at_s
        hold = held.hold
        if min(at_s - hold.start_s, hold.end_s - at_s) < SHORTEST_S:
            where = f"{hold.start_s:g} to {hold.end_s:g} s"
            raise InputError(f"at_s: {at_s:g} s is not inside the hold, {where}.")
        parts = (replace(hold, end_s=at_s), replace(hold, start_s=at_s))
        return Stretch(hold.start_s, hold.end_s, tuple(touched(held, part) for part in parts))


@dataclass(frozen=True, slots=True)
class Merge(HoldEdit):
    """Make one hold of two that follow each other, the time between them included."""

    kind = "merge"
    words = "merge two holds"
    first: str
    second: str
    keep: Keep = Keep.FIRST

    def stretch(self, holds: Holds, end_s: float) -> Stretch:
        """The one hold."""
        index = _index(holds, self.first)
        if _index(holds, self.second) != index + 1:
            raise InputError("second: only a hold and the one that follows it can be merged.")
        first, second = holds[index], holds[index + 1]
        merged = one_of(first, second, first if self.keep is Keep.FIRST else second)
        return Stretch(first.hold.start_s, second.hold.end_s, (merged,))


@dataclass(frozen=True, slots=True)
class Relabel(HoldEdit):
    """Name the position of a hold, and who is on top or behind."""

    kind = "relabel"
    words = "name a hold"
    hold: str
    position: Position
    upper: Athlete | None = None

    def stretch(self, holds: Holds, end_s: float) -> Stretch:
        """The hold, named."""
        held = _hold(holds, self.hold)
        state = _state(self.position, self.upper)
        hold = replace(
            held.hold,
            position=state.position,
            upper=state.upper,
            confidence=1.0,
            checks=held.hold.checks if held.hold.state == state else (),
        )
        return Stretch(hold.start_s, hold.end_s, (touched(held, hold, named=True),))


@dataclass(frozen=True, slots=True)
class AddHold(HoldEdit):
    """Name a position in a stretch that no hold covers yet."""

    kind = "add_hold"
    words = "add a hold"
    start_s: float
    end_s: float
    position: Position
    upper: Athlete | None = None

    def stretch(self, holds: Holds, end_s: float) -> Stretch:
        """The new hold."""
        _check_stretch(self.start_s, self.end_s, end_s)
        state = _state(self.position, self.upper)
        for held in holds:
            if held.hold.start_s < self.end_s and self.start_s < held.hold.end_s:
                raise ConflictError(f"hold {held.key} lies in that stretch: edit it instead.")
        return _only(Hold(self.start_s, self.end_s, state.position, state.upper))


@dataclass(frozen=True, slots=True)
class RemoveHold(HoldEdit):
    """Nothing is held there: the stretch becomes scramble."""

    kind = "remove_hold"
    words = "remove a hold"
    hold: str

    def stretch(self, holds: Holds, end_s: float) -> Stretch:
        """An empty one."""
        hold = _hold(holds, self.hold).hold
        return Stretch(hold.start_s, hold.end_s, ())


@dataclass(frozen=True, slots=True)
class NameStretch(HoldEdit):
    """One position all over a stretch, whatever holds lie in it; scramble clears it.

    Holds of the same position and athlete that touch the stretch become one with it.
    """

    kind = "name_stretch"
    words = "name a stretch"
    start_s: float
    end_s: float
    position: Position
    upper: Athlete | None = None

    def stretch(self, holds: Holds, end_s: float) -> Stretch:
        """One hold over the stretch and what it becomes one with, or nothing."""
        _check_stretch(self.start_s, self.end_s, end_s)
        state = _state(self.position, self.upper)
        if state.position is Position.SCRAMBLE:
            return Stretch(self.start_s, self.end_s, ())
        alike = [
            held.hold
            for held in holds
            if held.hold.state == state
            and held.hold.start_s <= self.end_s + TOUCHING_S
            and held.hold.end_s >= self.start_s - TOUCHING_S
        ]
        longest = max(alike, key=lambda hold: hold.duration_s, default=None)
        first_s = min([self.start_s, *(hold.start_s for hold in alike)])
        last_s = max([self.end_s, *(hold.end_s for hold in alike)])
        checks = longest.checks if longest else ()
        return _only(Hold(first_s, last_s, state.position, state.upper, 1.0, checks))


@dataclass(frozen=True, slots=True)
class SetCheck(HoldEdit):
    """Say what a criterion looks like on a hold; None takes the check away."""

    kind = "set_check"
    words = "set a criterion"
    hold: str
    check: CheckName
    value: bool | int | str | None

    def stretch(self, holds: Holds, end_s: float) -> Stretch:
        """The hold, with the check in its place."""
        known = CHECKS[self.check]
        if self.value is not None and not known.allows(self.value):
            values = ", ".join(str(value) for value in known.values)
            raise InputError(f"value: {self.check} is one of {values}, not {self.value!r}.")
        held = _hold(holds, self.hold)
        checks = tuple(check for check in held.hold.checks if check.name is not self.check)
        if self.value is not None:
            checks += (Check(self.check, self.value, 1.0, "as a person saw it"),)
        if checks == held.hold.checks:
            raise InputError(f"value: {self.check} is that already.")
        hold = replace(held.hold, checks=checks)
        return Stretch(hold.start_s, hold.end_s, (touched(held, hold),))


# What they share ---------------------------------------------------------------------------------
def _index(holds: Holds, key: str) -> int:
    for index, held in enumerate(holds):
        if held.key == key:
            return index
    raise ConflictError(f"hold {key} is no longer there: look at the match again.")


def _hold(holds: Holds, key: str) -> ReviewHold:
    return holds[_index(holds, key)]


def _only(hold: Hold) -> Stretch:
    """A hold that a person named, alone in its stretch."""
    return Stretch(hold.start_s, hold.end_s, (touched(seen(hold), hold, named=True),))


def _check_stretch(start_s: float, end_s: float, footage_end_s: float) -> None:
    inside_footage(start_s, footage_end_s, "start_s")
    inside_footage(end_s, footage_end_s, "end_s")
    if end_s - start_s < SHORTEST_S:
        raise InputError(f"end_s: {end_s:g} s must come after start_s, {start_s:g} s.")


def _state(position: Position, upper: Athlete | None) -> State:
    if position.has_upper and upper is None:
        raise InputError(f"upper: say who is on top or behind in {trade(position)}, A or B.")
    if upper is not None and not position.has_upper:
        raise InputError(f"upper: nobody is on top in {trade(position)}; leave it out.")
    return State(position, upper)


def _pushed(neighbour: ReviewHold, before_s: float, to_s: float, at_end: bool) -> list[ReviewHold]:
    """The neighbour of a moved edge where it moves along, else nothing."""
    hold = neighbour.hold
    edge_s = hold.start_s if at_end else hold.end_s
    overrun = to_s > edge_s if at_end else to_s < edge_s
    if abs(edge_s - before_s) > TOUCHING_S and not overrun:
        return []
    whole = (to_s, hold.end_s) if at_end else (hold.start_s, to_s)
    if whole[1] - whole[0] < SHORTEST_S:
        raise InputError(f"to_s: {to_s:g} s leaves nothing of the neighbour; remove it first.")
    return [moved(neighbour, *whole)]
