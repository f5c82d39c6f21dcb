"""The lines of a score log as every export writes them: seconds, frames, who said what."""

from __future__ import annotations

from dataclasses import dataclass

from posescore.footage.clock import FrameClock
from posescore.library.match import Match
from posescore.library.review.review import Review, ReviewItem, Verdict
from posescore.scoring.proposal import Proposal, ProposalKind
from posescore.terms import Athlete, Interval

ROUNDING_S = 1e-6
"""Sums of seconds miss a frame's time by less than this; it still is that frame."""


def frame_at(clock: FrameClock, time_s: float) -> int:
    """Index of the frame shown at an instant that was computed."""
    return clock.frame_index(time_s + ROUNDING_S)


def speak(word: str) -> str:
    """A kind or position for people to read."""
    return word.replace("_", " ").replace("knee on belly", "knee-on-belly")


def worth(proposal: Proposal) -> str:
    """What an award is worth, in words."""
    if proposal.points:
        return f"{proposal.points} points"
    if proposal.advantage:
        return "an advantage"
    return "a mark" if proposal.kind is ProposalKind.PENALTY else "no points"


@dataclass(frozen=True, slots=True)
class LogLine:
    """One line of the score log.

    Parameters
    ----------
    number
        From 1, in time order.
    item
        The line itself.
    time_s, frame_index
        Its instant.
    evidence, first_frame, last_frame
        The stretch that shows it, and the frames shown at its start and just before its end.
    athlete_name
        For people to read; "" where the line is nobody's.
    """

    number: int
    item: ReviewItem
    time_s: float
    frame_index: int
    evidence: Interval
    first_frame: int
    last_frame: int
    athlete_name: str

    @property
    def status(self) -> str:
        """``proposed`` until a person spoke, else the verdict."""
        return self.item.status

    @property
    def headline(self) -> str:
        """The line in words. What nobody confirmed says so first."""
        shown, decision = self.item.shown, self.item.decision
        what = f"{speak(shown.would_be or shown.kind)}, {worth(shown)}"
        if self.athlete_name:
            what += f", {self.athlete_name}"
        if decision is None:
            return f"Proposed, not confirmed: {what}"
        words = {
            Verdict.CONFIRMED: "Confirmed",
            Verdict.CHANGED: "Changed",
            Verdict.DISMISSED: "Dismissed",
            Verdict.ADDED: "Added",
        }
        return f"{words[decision.verdict]} by {decision.author}: {what}"


def lines_of(review: Review, match: Match) -> list[LogLine]:
    """All lines of a match's score log, in time order."""
    return [_line(number, item, review, match) for number, item in enumerate(review.items, 1)]


def _line(number: int, item: ReviewItem, review: Review, match: Match) -> LogLine:
    shown, clock = item.shown, review.clock
    first, last = frames_of(clock, shown.evidence)
    return LogLine(
        number,
        item,
        shown.time_s,
        frame_at(clock, shown.time_s),
        shown.evidence,
        first,
        last,
        name_of(match, shown.athlete),
    )


def frames_of(clock: FrameClock, stretch: Interval) -> tuple[int, int]:
    """First and last frame shown inside a half-open stretch."""
    first = frame_at(clock, stretch.start_s)
    return first, max(first, clock.frame_index(stretch.end_s - ROUNDING_S))


def name_of(match: Match, athlete: Athlete | None) -> str:
    """The athlete's name, or "" for nobody."""
    return "" if athlete is None else match.info.name_of(athlete)
