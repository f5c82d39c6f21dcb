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
from posescore.terms import Athlete, Interval

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


NEAR_EVENT_S: Final = 1.0
"""An event marked again is the same one within this many seconds."""


@dataclass(frozen=True, slots=True)
class Subject:
    """What an edit is about, so that two edits of the same thing are known.

    Parameters
    ----------
    line
        Key of a line of the score log.
    stretch
        A stretch of holds.
    setting
        What the match has once: rule set, division, result; or the name of an event, then with
        ``athlete`` and ``time_s``.
    """

    line: str = ""
    stretch: Interval | None = None
    setting: str = ""
    athlete: Athlete | None = None
    time_s: float | None = None

    def meets(self, other: Subject) -> bool:
        """True where both are about the same line, overlapping holds or the same setting."""
        if self.line or other.line:
            return self.line == other.line
        if self.stretch is not None and other.stretch is not None:
            return self.stretch.overlap_s(other.stretch) > 0
        same = bool(self.setting) and self.setting == other.setting
        if self.time_s is None or other.time_s is None:
            return same
        near = abs(self.time_s - other.time_s) <= NEAR_EVENT_S
        return same and near and self.athlete == other.athlete


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

    def subject(self, entry: Entry) -> Subject:
        """What it is about, as the entry of the log has it."""
        return Subject(setting=self.kind)

    def looked_at(self, review: Any) -> object:
        """What a person looks at who makes this edit on a ``Review``; compared, never kept."""
        return None

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

    @property
    def subject(self) -> Subject:
        """What it is about; undo and redo are about nothing of their own."""
        return Subject() if self.edit is None else self.edit.subject(self)


@dataclass(frozen=True, slots=True)
class TakenBack:
    """An entry that is not in force, and the undo that took it back."""

    entry: Entry
    by: Entry


@dataclass(frozen=True, slots=True)
class History:
    """The log folded: entries in force, oldest first, and those that were taken back.

    Parameters
    ----------
    done
        In force.
    undone
        Not in force, in the order in which they were taken back.
    edited
        The newest edit of every author, by its id.
    """

    done: tuple[Entry, ...]
    undone: tuple[TakenBack, ...]
    edited: Mapping[str, int]

    def next_undo(self, author: str | None = None) -> Entry | None:
        """What an undo would take back: the author's newest entry in force (None: anybody's)."""
        return next((e for e in reversed(self.done) if author in (None, e.author)), None)

    def next_redo(self, author: str | None = None) -> Entry | None:
        """What a redo would put back: what the author took back last and edited nothing since."""
        for taken in sorted(self.undone, key=lambda taken: -taken.by.id):
            who = taken.by.author
            if author in (None, who) and taken.by.id > self.edited.get(who, 0):
                return taken.entry
        return None

    def taken_back(self, entry_id: int) -> TakenBack | None:
        """How an edit was taken back; None where it was not."""
        return next((taken for taken in self.undone if taken.entry.id == entry_id), None)

    def later_of_others(self, entry: Entry) -> Entry | None:
        """The newest entry in force, of somebody else and about the same, since an entry."""
        about = entry.subject
        for later in reversed(self.done):
            if later.id <= entry.id:
                return None
            if later.author != entry.author and later.subject.meets(about):
                return later
        return None


def history(entries: Iterable[Entry]) -> History:
    """Fold a log (one match, one opinion, oldest first) into what is in force.

    Any entry can be taken back, whatever was done since; put back, it is where it was.

    Raises
    ------
    ConflictError
        When an undo or redo in the log does not fit the entries before it.
    """
    done: dict[int, Entry] = {}
    undone: dict[int, TakenBack] = {}
    edited: dict[str, int] = {}
    for entry in entries:
        if entry.kind == UNDO:
            met = done.pop(_meant(entry, entry.undoes, done))
            undone[met.id] = TakenBack(met, entry)
        elif entry.kind == REDO:
            back = undone.pop(_meant(entry, entry.redoes, undone)).entry
            done[back.id] = back
        else:
            done[entry.id] = entry
            edited[entry.author] = entry.id
    in_order = tuple(done[entry_id] for entry_id in sorted(done))
    return History(in_order, tuple(undone.values()), edited)


def _meant(entry: Entry, meant: int | None, among: Mapping[int, object]) -> int:
    if meant is None or meant not in among:
        raise ConflictError(f"log entry {entry.id}: cannot {entry.kind} entry {meant} here.")
    return meant


def did(entry: Entry) -> str:
    """What an entry did, as in "confirm a proposal"."""
    return entry.edit.words if entry.edit else entry.kind


def nothing_of_yours(match_id: int, kind: str, newest: Entry | None) -> str:
    """Why nothing is taken back or put back: a sentence that says whose the newest entry is."""
    if newest is None:
        return f"match {match_id}: there is nothing to {kind}."
    return (
        f"match {match_id}: there is nothing of yours to {kind}; {newest.author} changed this "
        f"match last ({did(newest)}). The history takes back any entry."
    )


def changed_since(match_id: int, later: Entry) -> str:
    """Why one's own entry stays for now: somebody else went on from it."""
    return (
        f"match {match_id}: {later.author} changed the same thing since ({did(later)}); look at "
        "it, or take yours back in the history."
    )
