"""Everything a person can do to a match, one frozen type per kind.

Edits name what they act on by the keys of the review they were made on
(:class:`posescore.library.review.review.Review`): a key that is no longer there means that somebody
else was faster, and the edit is refused.

    decisions   Confirm, Change, Dismiss, Reopen, AddAward
    holds       SetEdge, Split, Merge, Relabel, AddHold, RemoveHold, NameStretch, SetCheck
    events      AddEvent, RemoveEvent
    the match   SwapAthletes, SetRules, SetDivision
    opinions    Settle
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar, Final, Self

from pydantic import ConfigDict

from posescore.errors import InputError
from posescore.holds.event import EventName
from posescore.holds.hold import CheckName
from posescore.library.store.plain import from_plain, to_plain
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete, Interval, Position


class Edge(StrEnum):
    """One of the two ends of a hold."""

    START = "start"
    END = "end"


class Keep(StrEnum):
    """Which of two merged holds gives the position."""

    FIRST = "first"
    SECOND = "second"


@dataclass(frozen=True, slots=True)
class Edit:
    """What all edits share: a kind, and the way to plain data and back."""

    kind: ClassVar[str] = ""
    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid", allow_inf_nan=False)

    def to_json(self) -> dict[str, object]:
        """Plain data, the kind included."""
        return {"kind": self.kind, **to_plain(self)}

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> Self:
        """Inverse of :meth:`to_json`; on :class:`Edit` itself it reads every kind.

        Raises
        ------
        InputError
            When the kind is unknown, a field is missing, unknown or of the wrong type.
        """
        fields = dict(data)
        kind = fields.pop("kind", None)
        made = EDITS.get(str(kind))
        if made is None or not issubclass(made, cls):
            known = ", ".join(name for name, edit in EDITS.items() if issubclass(edit, cls))
            raise InputError(f"kind: {kind!r} is no edit that is known here; use one of {known}.")
        return from_plain(made, fields, f"edit {kind}")


# Decisions --------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Confirm(Edit):
    """The proposal stands as proposed."""

    kind = "confirm"
    proposal: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Change(Edit):
    """Something else stands in the proposal's place. What is None stays as proposed."""

    kind = "change"
    proposal: str
    reason: str = ""
    athlete: Athlete | None = None
    award: ProposalKind | None = None
    points: int | None = None
    advantage: int | None = None
    time_s: float | None = None


@dataclass(frozen=True, slots=True)
class Dismiss(Edit):
    """The proposal does not stand; the reason is asked for."""

    kind = "dismiss"
    proposal: str
    reason: str


@dataclass(frozen=True, slots=True)
class Reopen(Edit):
    """The proposal is undecided again; an added award is taken back."""

    kind = "reopen"
    proposal: str


@dataclass(frozen=True, slots=True)
class AddAward(Edit):
    """What the program missed. ``evidence`` is the stretch that shows it; None: that instant."""

    kind = "add_award"
    athlete: Athlete
    award: ProposalKind
    time_s: float
    points: int = 0
    advantage: int = 0
    reason: str = ""
    evidence: Interval | None = None


# Holds ------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class SetEdge(Edit):
    """Move one end of a hold to an instant; a neighbour that touches it moves along."""

    kind = "set_edge"
    hold: str
    edge: Edge
    to_s: float


@dataclass(frozen=True, slots=True)
class Split(Edit):
    """Cut a hold in two at an instant inside it."""

    kind = "split"
    hold: str
    at_s: float


@dataclass(frozen=True, slots=True)
class Merge(Edit):
    """Make one hold of two that follow each other, the time between them included."""

    kind = "merge"
    first: str
    second: str
    keep: Keep = Keep.FIRST


@dataclass(frozen=True, slots=True)
class Relabel(Edit):
    """Name the position of a hold, and who is on top or behind."""

    kind = "relabel"
    hold: str
    position: Position
    upper: Athlete | None = None


@dataclass(frozen=True, slots=True)
class AddHold(Edit):
    """Name a position in a stretch that no hold covers yet."""

    kind = "add_hold"
    start_s: float
    end_s: float
    position: Position
    upper: Athlete | None = None


@dataclass(frozen=True, slots=True)
class RemoveHold(Edit):
    """Nothing is held there: the stretch becomes scramble."""

    kind = "remove_hold"
    hold: str


@dataclass(frozen=True, slots=True)
class NameStretch(Edit):
    """One position all over a stretch, whatever holds lie in it; scramble clears it.

    Holds of the same position and athlete that touch the stretch become one with it.
    """

    kind = "name_stretch"
    start_s: float
    end_s: float
    position: Position
    upper: Athlete | None = None


@dataclass(frozen=True, slots=True)
class SetCheck(Edit):
    """Say what a criterion looks like on a hold; None takes the check away."""

    kind = "set_check"
    hold: str
    check: CheckName
    value: bool | int | str | None


# Events -----------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class AddEvent(Edit):
    """Mark an event at an instant."""

    kind = "add_event"
    event: EventName
    time_s: float
    athlete: Athlete | None = None


@dataclass(frozen=True, slots=True)
class RemoveEvent(Edit):
    """The event did not take place."""

    kind = "remove_event"
    event: str


# The match --------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class SwapAthletes(Edit):
    """A and B were exchanged by the program from ``start_s`` on, or up to ``end_s``.

    What a person said of an athlete in that stretch stays.
    """

    kind = "swap_athletes"
    start_s: float
    end_s: float | None = None


@dataclass(frozen=True, slots=True)
class SetRules(Edit):
    """Score the match under another rule set."""

    kind = "set_rules"
    rules: str


@dataclass(frozen=True, slots=True)
class SetDivision(Edit):
    """Score the match in another division; None: unknown."""

    kind = "set_division"
    division: Mapping[str, str] | None


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


EDITS: Final[Mapping[str, type[Edit]]] = {
    edit.kind: edit
    for edit in (
        Confirm, Change, Dismiss, Reopen, AddAward,
        SetEdge, Split, Merge, Relabel, AddHold, RemoveHold, NameStretch, SetCheck,
        AddEvent, RemoveEvent, SwapAthletes, SetRules, SetDivision, Settle,
    )
}  # fmt: skip
"""Every edit by its kind, in the order of this page."""
