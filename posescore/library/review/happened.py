"""The history of a match: who did what and when, what stood before and what stood after."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from posescore.library.analysis import Analysis
from posescore.library.review.entries import Entry, Subject, history
from posescore.library.review.hold_edits import SetCheck
from posescore.library.review.match_edits import SwapAthletes
from posescore.library.review.result_edits import SetScoreboard
from posescore.library.review.saying import holds_words, line_words, outcome_words, score_words
from posescore.library.review.state import MatchState, settings_in_force
from posescore.words import WORDS, check_words, clock_words, name_field

MOST_SHOWN: Final = 100
"""Entries told at once: what stood before each is worked out from the log."""


@dataclass(frozen=True, slots=True)
class Happening:
    """One entry of the log, told.

    Parameters
    ----------
    entry
        The entry of the log.
    about
        The edit that it made, took back or put back.
    before, after
        What stood there: words with fields for names.
    time_s
        Where to look, seconds of footage; None where it is about the whole match.
    in_force
        True where an edit counts now; None for what took back or put back.
    taken_back_by
        Who took an edit back, "" where nobody did.
    """

    entry: Entry
    about: Entry
    before: str
    after: str
    time_s: float | None
    in_force: bool | None
    taken_back_by: str


@dataclass(slots=True)
class _Told:
    """A match while its log is told: what is in force, and what it comes to."""

    base: Analysis
    rules: str
    division: Mapping[str, str] | None
    done: dict[int, Entry]
    state: MatchState

    def take(self, entry: Entry, among: Mapping[int, Entry]) -> None:
        """Go on by one entry; only what reaches back makes the state anew."""
        if entry.edit is not None:
            self.done[entry.id] = entry
            self.state = self.state.copy()
            entry.edit.apply(self.state, entry)
            return
        if entry.undoes is not None:
            self.done.pop(entry.undoes, None)
        elif entry.redoes is not None:
            self.done[entry.redoes] = among[entry.redoes]
        self.bring_up()

    def bring_up(self) -> None:
        """Make the state anew from what is in force."""
        self.state = MatchState.of(self.base)
        for entry_id in sorted(self.done):
            entry = self.done[entry_id]
            assert entry.edit is not None
            entry.edit.apply(self.state, entry)

    def words(self, about: Entry) -> str:
        """What stands there that an entry is about."""
        subject, words = about.subject, WORDS["stands"]
        if subject.line:
            return self._line(subject.line, about)
        if isinstance(about.edit, SwapAthletes):
            return str(words["exchanged" if about.id in self.done else "as_found"])
        if subject.stretch is not None:
            return self._holds(about, subject)
        if subject.time_s is not None:
            return self._event(subject)
        return self._setting(about, subject.setting)

    def _line(self, key: str, about: Entry) -> str:
        said = self.state.said.get(key)
        if said is None:
            seen = None if key.startswith("added-") else about.effect.proposal
            return line_words(seen, "", None, "")
        decision = said.decision(None)
        return line_words(said.seen, said.verdict, decision.award, said.reason)

    def _holds(self, about: Entry, subject: Subject) -> str:
        stretch = subject.stretch
        assert stretch is not None
        inside = [
            held
            for held in self.state.holds
            if held.hold.start_s < stretch.end_s and stretch.start_s < held.hold.end_s
        ]
        if isinstance(about.edit, SetCheck) and len(inside) == 1:
            check = inside[0].hold.check(about.edit.check)
            return check_words(check.name, check.value) if check else WORDS["stands"]["unseen"]
        return holds_words(inside)

    def _event(self, subject: Subject) -> str:
        words = WORDS["stands"]
        for event, _ in self.state.events:
            here = Subject(setting=event.event, athlete=event.athlete, time_s=event.time_s)
            if here.meets(subject):
                what, time = WORDS["events"][event.event]["text"], clock_words(event.time_s)
                if event.athlete is None:
                    return str(words["event"].format(what=what, time=time))
                who = name_field(event.athlete)
                return str(words["event_of"].format(what=what, who=who, time=time))
        return str(words["no_event"])

    def _setting(self, about: Entry, setting: str) -> str:
        in_order = [self.done[entry_id] for entry_id in sorted(self.done)]
        if setting == "set_result":
            return outcome_words(self.state.outcome)
        if isinstance(about.edit, SetScoreboard):
            found = self.state.readings.get(about.edit.at_s)
            return score_words(found) if found else str(WORDS["stands"]["no_reading"])
        rules, division = settings_in_force(in_order, self.rules, self.division)
        if setting == "set_rules":
            return rules
        return " ".join((division or {}).values()) or str(WORDS["stands"]["no_division"])


def happenings(
    base: Analysis,
    log: Sequence[Entry],
    rules: str,
    division: Mapping[str, str] | None,
    before_id: int | None = None,
) -> tuple[Happening, ...]:
    """Tell the newest :data:`MOST_SHOWN` entries of a log, the newest first.

    Parameters
    ----------
    base
        The analysis that the match is shown on.
    log
        One opinion, oldest first, undo and redo included.
    rules, division
        Those the match was added under.
    before_id
        Only entries older than this one, to go on from where the last answer ended.
    """
    fold, by_id = history(log), {entry.id: entry for entry in log}
    wanted = [entry for entry in log if before_id is None or entry.id < before_id][-MOST_SHOWN:]
    if not wanted:
        return ()
    earlier = [entry for entry in log if entry.id < wanted[0].id]
    done = {entry.id: entry for entry in history(earlier).done}
    told = _Told(base, rules, division, done, MatchState.of(base))
    told.bring_up()
    found = []
    for entry in wanted:
        about = by_id[entry.undoes or entry.redoes or entry.id]
        before = told.words(about)
        told.take(entry, by_id)
        taken = fold.taken_back(entry.id)
        in_force = None if entry.edit is None else taken is None
        who = taken.by.author if taken else ""
        found.append(
            Happening(entry, about, before, told.words(about), where(about), in_force, who)
        )
    return tuple(reversed(found))


def where(about: Entry) -> float | None:
    """Where to look for what an entry is about, seconds of footage."""
    if about.effect.proposal is not None:
        return about.effect.proposal.time_s
    if isinstance(about.edit, SetScoreboard):
        return about.edit.at_s
    subject = about.subject
    return subject.stretch.start_s if subject.stretch else subject.time_s
