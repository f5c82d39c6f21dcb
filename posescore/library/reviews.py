"""Reviews of a library's matches: what the program made of them, and the log of what people did."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Final

from sqlalchemy import Connection

from posescore.errors import ConflictError, InputError
from posescore.library.analysis import Analysis
from posescore.library.job_table import JobTable
from posescore.library.review.edits import Edit
from posescore.library.review.entries import (
    REDO,
    UNDO,
    Effect,
    Entry,
    History,
    NewEntry,
    changed_since,
    history,
    nothing_of_yours,
)
from posescore.library.review.happened import Happening, happenings
from posescore.library.review.meanwhile import check_unchanged
from posescore.library.review.replay import replay, rules_named
from posescore.library.review.review import Review
from posescore.library.review.state import settings_in_force
from posescore.library.store import analysis_rows, entry_rows, match_rows
from posescore.library.store.damage import reading_row, replaying
from posescore.library.store.recent import Recent
from posescore.library.store.storage import Storage
from posescore.words import language

_REMEMBERED: Final = 32
"""Analyses, logs and reviews kept in memory: none of them ever changes once it is written."""


class Reviews(JobTable):
    """What the library knows of a match once it was analysed; a part of ``Library``.

    Parameters
    ----------
    storage
        The database.
    """

    def __init__(self, storage: Storage) -> None:
        super().__init__(storage)
        self._analyses: Recent[tuple[int, int | None], Analysis] = Recent(_REMEMBERED)
        self._logs: Recent[tuple[int, str], tuple[Entry, ...]] = Recent(_REMEMBERED)
        self._reviews: Recent[tuple[int, str, str], Review] = Recent(_REMEMBERED)

    def _analysis(self, connection: Connection, match_id: int, version: int | None) -> Analysis:
        folder = match_rows.read_match(connection, self.folder, match_id).folder
        if version is None:
            version = analysis_rows.newest_version(connection, match_id)
        known = self._analyses.get((match_id, version))
        if known is not None:
            return known
        row = analysis_rows.analysis_row(connection, match_id, version)
        return self._analyses.put((match_id, version), analysis_rows.analysis_of(row, folder))

    def review(
        self,
        match_id: int,
        opinion: str = "",
        version: int | None = None,
        author: str | None = None,
    ) -> Review:
        """The match as it stands, on the newest analysis or on an earlier one.

        ``author`` is whose undo and redo it tells; None: those of whoever was last.
        """
        with self._storage.read() as connection:
            base = self._analysis(connection, match_id, version)
            log = self._log(connection, match_id, opinion)
            review = self._review(connection, base, match_id, log)
        self._remember(match_id, opinion, log, review)
        return review if author is None else _as_seen_by(review, log, author)

    def _review(
        self, connection: Connection, base: Analysis, match_id: int, entries: Sequence[Entry]
    ) -> Review:
        info = match_rows.read_match(connection, self.folder, match_id).info
        opinion = entries[-1].opinion if entries else ""
        with reading_row(match_id, "entry"):
            fold = history(entries)
        rules, division = settings_in_force(fold.done, info.rules, info.division)
        known = self._reviews.get((match_id, opinion, language()))
        if known is not None and entries and not rules.endswith(".toml"):
            same = (known.last_entry_id, known.analysis_version, known.rules, known.division)
            if same == (entries[-1].id, base.version, rules, division):
                return known
        # A rule set of one's own is found by its path; the name inside it leads nowhere.
        rule_set = rules_named(rules)
        with replaying(match_id):
            return replace(replay(base, entries, rule_set, division), rules=rules)

    def _log(self, connection: Connection, match_id: int, opinion: str) -> tuple[Entry, ...]:
        """The log of one opinion; only what is new since the last time is read."""
        known = self._logs.get((match_id, opinion)) or ()
        last_id = known[-1].id if known else 0
        rows = entry_rows.rows_of(connection, match_id, opinion, last_id)
        return known + tuple(entry_rows.entry_of(row) for row in rows)

    def _remember(
        self, match_id: int, opinion: str, log: tuple[Entry, ...], review: Review
    ) -> None:
        """Keep what is on the disk for good: only ever called after the commit."""
        self._logs.put((match_id, opinion), log)
        self._reviews.put((match_id, opinion, language()), review)

    def edit(
        self,
        match_id: int,
        edit: Edit,
        author: str,
        opinion: str = "",
        seen: int | None = None,
    ) -> Review:
        """Do an edit; it is on the disk when this returns.

        Parameters
        ----------
        seen
            The newest entry that the author had seen (``Review.last_entry_id``); None does not
            ask.

        Raises
        ------
        InputError
            When the edit itself makes no sense. Nothing is kept of it.
        ConflictError
            When what it acts on is no longer there. Nothing is kept of it.
        ChangedMeanwhileError
            When it was changed since the author saw it. Nothing is kept of it.
        """
        with self._storage.write() as connection:
            base = self._analysis(connection, match_id, None)
            log = self._log(connection, match_id, opinion)
            now = self._review(connection, base, match_id, log)
            since = [] if seen is None else [entry for entry in log if entry.id > seen]
            if since:
                then = self._review(connection, base, match_id, log[: -len(since)])
                check_unchanged(edit, then, now, since)
            new = NewEntry(
                match_id, author, edit.kind, edit, edit.effect(now),
                opinion=opinion, analysis_version=base.version,
            )  # fmt: skip
            log, review = self._added(connection, base, log, new)
        self._remember(match_id, opinion, log, review)
        return _as_seen_by(review, log, author)

    def undo(self, match_id: int, author: str, opinion: str = "") -> Review:
        """Take back the author's own newest edit in force.

        Raises
        ------
        ConflictError
            When there is none, or somebody else went on from it; the sentence says who and what.
        """

        def mine(fold: History) -> Entry:
            met = fold.next_undo(author)
            if met is None:
                raise ConflictError(nothing_of_yours(match_id, UNDO, fold.next_undo()))
            later = fold.later_of_others(met)
            if later is not None:
                raise ConflictError(changed_since(match_id, later))
            return met

        return self._step(match_id, author, opinion, UNDO, mine)

    def redo(self, match_id: int, author: str, opinion: str = "") -> Review:
        """Put back what the author took back last; ConflictError where there is nothing."""

        def mine(fold: History) -> Entry:
            met = fold.next_redo(author)
            if met is None:
                raise ConflictError(nothing_of_yours(match_id, REDO, fold.next_redo()))
            return met

        return self._step(match_id, author, opinion, REDO, mine)

    def take_back(self, match_id: int, entry_id: int, author: str, opinion: str = "") -> Review:
        """Take back any edit in force, whoever made it; what was done since stays.

        Raises
        ------
        ConflictError
            When it is not in force.
        """

        def that(fold: History) -> Entry:
            return _found(match_id, entry_id, fold.done)

        return self._step(match_id, author, opinion, UNDO, that)

    def put_back(self, match_id: int, entry_id: int, author: str, opinion: str = "") -> Review:
        """Put any edit that was taken back in force again; ConflictError where it is in force."""

        def that(fold: History) -> Entry:
            return _found(match_id, entry_id, [taken.entry for taken in fold.undone])

        return self._step(match_id, author, opinion, REDO, that)

    def _step(
        self,
        match_id: int,
        author: str,
        opinion: str,
        kind: str,
        choose: Callable[[History], Entry],
    ) -> Review:
        with self._storage.write() as connection:
            base = self._analysis(connection, match_id, None)
            log = self._log(connection, match_id, opinion)
            met = choose(history(log))
            undoes, redoes = (met.id, None) if kind == UNDO else (None, met.id)
            new = NewEntry(
                match_id, author, kind, None, Effect(), undoes, redoes, opinion, base.version
            )
            log, review = self._added(connection, base, log, new)
        self._remember(match_id, opinion, log, review)
        return _as_seen_by(review, log, author)

    def last_entry_id(self, match_id: int, opinion: str = "") -> int:
        """The newest entry of a log; 0 for an untouched match. Quick: nothing is replayed."""
        with self._storage.read() as connection:
            return entry_rows.last_entry_id(connection, match_id, opinion)

    def _added(
        self, connection: Connection, base: Analysis, log: tuple[Entry, ...], new: NewEntry
    ) -> tuple[tuple[Entry, ...], Review]:
        """Write an entry and replay with it; an entry that cannot be replayed is not kept."""
        if not new.author.strip():
            raise InputError("author: say who does this; any name will do.")
        log = (*log, entry_rows.insert_entry(connection, new))
        return log, self._review(connection, base, new.match_id, log)

    def history(
        self, match_id: int, opinion: str = "", before_id: int | None = None
    ) -> tuple[Happening, ...]:
        """The newest entries of a log with what stood before and after each, newest first."""
        with self._storage.read() as connection:
            base = self._analysis(connection, match_id, None)
            info = match_rows.read_match(connection, self.folder, match_id).info
            log = self._log(connection, match_id, opinion)
        return happenings(base, log, info.rules, info.division, before_id)

    def log(self, match_id: int, opinion: str | None = None) -> list[Entry]:
        """Everything people did, oldest first; of one opinion, or of all (None)."""
        with self._storage.read() as connection:
            match_rows.read_match(connection, self.folder, match_id)
            rows = entry_rows.rows_of(connection, match_id, opinion)
            return [entry_rows.entry_of(row) for row in rows]

    def opinions(self, match_id: int) -> list[str]:
        """Names of the second opinions on a match."""
        with self._storage.read() as connection:
            match_rows.read_match(connection, self.folder, match_id)
            return entry_rows.opinions_of(connection, match_id)


def _as_seen_by(review: Review, log: Sequence[Entry], author: str) -> Review:
    """The review with the undo and redo of one author."""
    fold = history(log)
    return replace(review, next_undo=fold.next_undo(author), next_redo=fold.next_redo(author))


def _found(match_id: int, entry_id: int, among: Iterable[Entry]) -> Entry:
    for entry in among:
        if entry.id == entry_id:
            return entry
    raise ConflictError(f"match {match_id}: entry {entry_id} is not there to take back any more.")
