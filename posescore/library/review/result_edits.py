"""Edits of how the match ended: its result, and what the scoreboard showed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Final

from posescore.errors import InputError
from posescore.library.review.decisions import MOST_POINTS
from posescore.library.review.entries import Edit, Effect, Entry, Subject
from posescore.library.review.review import Review, inside_footage
from posescore.library.review.state import MatchState
from posescore.scoring.outcome import Outcome, WonBy
from posescore.scoring.proposal import Tally
from posescore.terms import Athlete

LONGEST_TEXT: Final = 200
"""Letters of a note, or of a submission's name."""


@dataclass(frozen=True, slots=True)
class SetResult(Edit):
    """Who won and how, as the officials have it; ``by`` None takes the result away.

    Parameters
    ----------
    winner
        None for a draw alone.
    submission
        Name of the submission, as people call it; "" where unknown.
    """

    kind = "set_result"
    words = "enter the result"
    by: WonBy | None
    winner: Athlete | None = None
    submission: str = ""
    note: str = ""

    @property
    def outcome(self) -> Outcome | None:
        """The result; None where it is taken away."""
        if self.by is None:
            return None
        return Outcome(self.winner, self.by, self.submission.strip(), self.note.strip())

    def looked_at(self, review: Review) -> object:
        """The result before."""
        return review.outcome

    def effect(self, review: Review) -> Effect:
        """Nothing to remember."""
        if self.by is WonBy.DRAW and self.winner is not None:
            raise InputError("winner: a draw has none; leave it out.")
        if self.by not in (None, WonBy.DRAW) and self.winner is None:
            raise InputError("winner: say who won, A or B.")
        if self.submission.strip() and self.by is not WonBy.SUBMISSION:
            raise InputError("submission: only a win by submission has one.")
        if max(len(self.submission), len(self.note)) > LONGEST_TEXT:
            raise InputError(f"note: {LONGEST_TEXT} letters at most.")
        if self.outcome == review.outcome:
            raise InputError("by: the match has that result already.")
        return Effect()

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Note it."""
        state.outcome = self.outcome


@dataclass(frozen=True, slots=True)
class SetScoreboard(Edit):
    """What the scoreboard showed; ``score`` None takes the reading away.

    Parameters
    ----------
    score
        Points, advantages and penalties of both athletes.
    at_s
        When, seconds of footage; None: at the end of the match, the official score.
    """

    kind = "set_scoreboard"
    words = "enter what the scoreboard showed"
    score: Mapping[Athlete, Tally] | None
    at_s: float | None = None

    def subject(self, entry: Entry) -> Subject:
        """The reading of that instant."""
        at_s = "" if self.at_s is None else f" {self.at_s:.3f}"
        return Subject(setting=f"{self.kind}{at_s}")

    def looked_at(self, review: Review) -> object:
        """The reading before."""
        return next((dict(r.score) for r in review.readings if r.at_s == self.at_s), None)

    def effect(self, review: Review) -> Effect:
        """Nothing to remember."""
        if self.at_s is not None:
            inside_footage(self.at_s, review.clock.end_s, "at_s")
        if self.score is None and self.looked_at(review) is None:
            raise InputError("score: there is no such reading to take away.")
        for athlete in Athlete if self.score is not None else ():
            assert self.score is not None
            if athlete not in self.score:
                raise InputError(f"score: give the numbers of {athlete} too.")
            for each in fields(Tally):
                number = getattr(self.score[athlete], each.name)
                if not 0 <= number <= MOST_POINTS:
                    raise InputError(f"{each.name}: {number} is not from 0 to {MOST_POINTS}.")
        if self.score is not None and dict(self.score) == self.looked_at(review):
            raise InputError("score: the scoreboard is entered so already.")
        return Effect()

    def apply(self, state: MatchState, entry: Entry) -> None:
        """Note it."""
        if self.score is None:
            state.readings.pop(self.at_s, None)
        else:
            state.readings[self.at_s] = self.score
