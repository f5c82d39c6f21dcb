"""The log of what people did to a match, and what an edit is.

Entries are added, never changed and never deleted.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar, Final, Self

from pydantic import ConfigDict

from posescore.errors import ConflictError, InputError
from posescore.holds.event import MatchEvent
from posescore.holds.hold import Hold
from posescore.library.review.older import proposal_of_older
from posescore.library.store.plain import from_plain, to_plain
from posescore.scoring.proposal import Proposal

UNDO: Final = "undo"
REDO: Final = "redo"


@dataclass(frozen=True, slots=True)
class ReviewHold:
    """A hold as it stands after people's edits.

    ``edited`` is True where a person touched it; ``named`` where a person said its position and
    upper athlete, which then outlast a swap of the athletes.
    """

    key: str
    hold: Hold
    edited: bool = False
    named: bool = False


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of footage and all the holds in it, as a person left them.

    Kept with the edit that made it, so that a later analysis with other holds cannot change it.
    """

    start_s: float
    end_s: float
    holds: tuple[ReviewHold, ...]


@dataclass(frozen=True, slots=True)
class Effect:
    """What an edit met and made when the person made it.

    Parameters
    ----------
    stretch
        For edits of holds: what stands in that stretch from then on.
    proposal
        For decisions: the proposal that the person saw, or the award that the person added.
    event
        For a removed event: the event.
    track_sha256
        For a swap: the track whose athletes were exchanged.
    """

    stretch: Stretch | None = None
    proposal: Proposal | None = None
    event: MatchEvent | None = None
    track_sha256: str | None = None

    def to_json(self) -> dict[str, object]:
        """Plain data without what is None."""
        return {name: value for name, value in to_plain(self).items() if value is not None}

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> Effect:
        """Inverse of :meth:`to_json`."""
        proposal = data.get("proposal")
        seen = {"proposal": proposal_of_older(proposal)} if isinstance(proposal, dict) else {}
        return from_plain(cls, {**data, **seen}, "effect")


EDITS: Final[dict[str, type[Edit]]] = {}
"""Every kind of edit by its name; a class that names its kind stands in it by itself."""


@dataclass(frozen=True, slots=True)
class Edit:
    """What all edits share. A new kind of edit is one class: its fields, and what stands here.

    Attributes
    ----------
    kind
        Its name in the log and in the API.
    words
        What it does, as in "undo: confirm a proposal".
    """

    kind: ClassVar[str] = ""
    words: ClassVar[str] = ""
    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid", allow_inf_nan=False)

    def __init_subclass__(cls) -> None:
        if cls.kind:
            EDITS[cls.kind] = cls

    def effect(self, review: Any) -> Effect:
        """What the edit meets and makes on a match as it stands (a ``Review``, which knows edits).

        Raises
        ------
        InputError
            When the edit makes no sense.
        ConflictError
            When what it acts on is no longer there.
        """
        raise NotImplementedError

    def apply(self, state: Any, entry: Entry) -> None:
        """Do it to what the log made of the match so far (a ``MatchState``); nothing by default."""

    def scored_under(
        self, rules: str, division: Mapping[str, str] | None
    ) -> tuple[str, Mapping[str, str] | None]:
        """Rule set and division in force after the edit, given those before."""
        return rules, division

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


@dataclass(frozen=True, slots=True)
class NewEntry:
    """One thing that a person does, before the library wrote it down.

    Parameters
    ----------
    author
        The name at the top of the page, or of the account.
    kind
        The edit's kind, or ``"undo"`` or ``"redo"``.
    edit, effect
        What was done; None for undo and redo.
    undoes, redoes
        Id of the entry that an undo takes back, or a redo puts in force again.
    opinion
        "" for the shared log; else the name of an independent second opinion.
    analysis_version
        The analysis the person looked at.
    """

    match_id: int
    author: str
    kind: str
    edit: Edit | None
    effect: Effect
    undoes: int | None = None
    redoes: int | None = None
    opinion: str = ""
    analysis_version: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry(NewEntry):
    """One thing that a person did.

    Parameters
    ----------
    id
        Rises through the whole library.
    made_at
        UTC.
    """

    id: int
    made_at: datetime


@dataclass(frozen=True, slots=True)
class History:
    """The log folded: entries in force, oldest first, and entries that can be put back."""

    done: tuple[Entry, ...]
    undone: tuple[Entry, ...]

    @property
    def next_undo(self) -> Entry | None:
        """What an undo would take back."""
        return self.done[-1] if self.done else None

    @property
    def next_redo(self) -> Entry | None:
        """What a redo would put back in force."""
        return self.undone[-1] if self.undone else None


def history(entries: Iterable[Entry]) -> History:
    """Fold a log (one match, one opinion, oldest first) into what is in force.

    Raises
    ------
    ConflictError
        When an undo or redo in the log does not fit the entries before it.
    """
    done: list[Entry] = []
    undone: list[Entry] = []
    for entry in entries:
        if entry.kind == UNDO:
            _move(done, undone, entry, entry.undoes)
        elif entry.kind == REDO:
            _move(undone, done, entry, entry.redoes)
        else:
            done.append(entry)
            undone.clear()
    return History(tuple(done), tuple(undone))


def _move(source: list[Entry], target: list[Entry], entry: Entry, meant: int | None) -> None:
    if not source or source[-1].id != meant:
        raise ConflictError(f"log entry {entry.id}: cannot {entry.kind} entry {meant} here.")
    target.append(source.pop())


def not_yours(match_id: int, kind: str, met: Entry) -> str:
    """Why somebody else's entry stays: a sentence that says whose it is and what it did."""
    did = met.edit.words if met.edit else met.kind
    if kind == UNDO:
        return (
            f"match {match_id}: {met.author} changed this match last ({did}); {kind} takes back "
            "your own entries alone. Change the line itself if you disagree."
        )
    return (
        f"match {match_id}: what was taken back is {met.author}'s ({did}); only {met.author} puts "
        "it back. Decide on the line itself if you disagree."
    )
