"""An edit that meets something else than its author had seen is refused, with both sides."""

from __future__ import annotations

from collections.abc import Sequence

from posescore.errors import ChangedMeanwhileError
from posescore.library.review.decisions import AddAward, LineEdit
from posescore.library.review.entries import Edit, Entry, did
from posescore.library.review.hold_edits import HoldEdit
from posescore.library.review.match_edits import AddEvent, RemoveEvent
from posescore.library.review.result_edits import SetResult, SetScoreboard
from posescore.library.review.review import Review
from posescore.library.review.saying import (
    holds_words,
    line_words,
    outcome_words,
    score_words,
)
from posescore.words import WORDS, clock_words


def check_unchanged(edit: Edit, then: Review, now: Review, since: Sequence[Entry]) -> None:
    """Refuse an edit whose author had seen something else than what stands now.

    Parameters
    ----------
    then, now
        The match as the author saw it, and as it stands.
    since
        What was done in between, oldest first.

    Raises
    ------
    ChangedMeanwhileError
        With what stood, what stands, and who changed it.
    """
    if not since or edit.looked_at(then) == edit.looked_at(now):
        return
    newest = _cause(edit, then, since)
    line = edit.proposal if isinstance(edit, LineEdit) else ""
    raise ChangedMeanwhileError(
        f"{newest.author} changed this since it was shown ({did(newest)}): look at it again.",
        by=newest.author,
        did=did(newest),
        line=line,
        before=stands(edit, then, then),
        now=stands(edit, now, then),
        last_entry_id=now.last_entry_id,
    )


def _cause(edit: Edit, then: Review, since: Sequence[Entry]) -> Entry:
    """The newest entry about the same line, else about holds under it, else of all."""
    item = then.item(edit.proposal) if isinstance(edit, LineEdit) else None
    if item is None:
        return since[-1]
    about = [entry for entry in since if entry.subject.line == item.key]
    under = [
        entry
        for entry in since
        if (held := entry.subject.stretch) and held.overlap_s(item.shown.evidence) > 0
    ]
    return (about or under or since)[-1]


def stands(edit: Edit, review: Review, then: Review) -> str:
    """What stands there that the edit is about: words with fields for names."""
    if isinstance(edit, LineEdit):
        return _line(edit.proposal, review)
    if isinstance(edit, AddAward):
        keys = edit.looked_at(review)
        assert isinstance(keys, tuple)
        return "; ".join(_line(key, review) for key in keys) or str(WORDS["stands"]["nothing"])
    if isinstance(edit, HoldEdit):
        made = edit.stretch(then.holds, then.clock.end_s)
        inside = (
            held
            for held in review.holds
            if held.hold.start_s < made.end_s and made.start_s < held.hold.end_s
        )
        return holds_words(inside)
    if isinstance(edit, SetResult):
        return outcome_words(review.outcome)
    if isinstance(edit, SetScoreboard):
        found = next((each.score for each in review.readings if each.at_s == edit.at_s), None)
        return score_words(found) if found else str(WORDS["stands"]["no_reading"])
    if isinstance(edit, AddEvent | RemoveEvent):
        return _event(edit, review)
    return str(edit.looked_at(review) or WORDS["stands"]["nothing"])


def _line(key: str, review: Review) -> str:
    item = review.item(key)
    if item is None:
        return str(WORDS["stands"]["nothing"])
    said = item.decision
    if said is None:
        return line_words(item.shown, "", None, "")
    words = line_words(said.seen, said.verdict, said.award, said.reason)
    return f"{said.author}: {words}"


def _event(edit: AddEvent | RemoveEvent, review: Review) -> str:
    words = WORDS["stands"]
    keys = edit.looked_at(review) if isinstance(edit, AddEvent) else (edit.event,)
    assert isinstance(keys, tuple)
    found = [event for key in keys if (event := review.event(key)) is not None]
    each = [
        words["event"].format(
            what=WORDS["events"][one.event.event]["text"], time=clock_words(one.event.time_s)
        )
        for one in found
    ]
    return "; ".join(each) or str(words["no_event"])
