"""The lines of a score log as every export writes them: seconds, frames, who said what."""

from __future__ import annotations

from dataclasses import dataclass

from posescore.footage.clock import FrameClock
from posescore.library.match import Match
from posescore.library.review.review import Review, ReviewItem
from posescore.terms import Athlete, Interval

ROUNDING_S = 1e-6
"""Sums of seconds miss a frame's time by less than this; it still is that frame."""


def frame_at(clock: FrameClock, time_s: float) -> int:
    """Index of the frame shown at an instant that was computed."""
    return clock.frame_index(time_s + ROUNDING_S)


@dataclass(frozen=True, slots=True)
class LogLine:
    """One line of the score log.

    Parameters
    ----------
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
