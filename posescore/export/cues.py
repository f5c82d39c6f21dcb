"""Holds and score log as WebVTT cues, for any player that shows captions or chapters."""

from __future__ import annotations

import html
from collections.abc import Iterator
from dataclasses import dataclass

from posescore.export.rows import LogLine, frames_of, lines_of
from posescore.export.sentences import Names, headline, why_of
from posescore.library.match import Match
from posescore.library.review.entries import ReviewHold
from posescore.library.review.review import Review
from posescore.library.store.plain import utf8
from posescore.terms import Interval
from posescore.words import confidence_words, state_words, with_names

SHORTEST_CUE_S = 2.0
"""An instant is shown this long: enough to read a line."""


@dataclass(frozen=True, slots=True)
class Cue:
    """One cue: its name, the stretch it is shown in, and its lines of plain text."""

    name: str
    shown: Interval
    lines: tuple[str, ...]

    def __str__(self) -> str:
        text = "\n".join(escaped(line) for line in self.lines if line)
        times = f"{timestamp(self.shown.start_s)} --> {timestamp(self.shown.end_s)}"
        return f"{self.name}\n{times}\n{text}\n"


def escaped(text: str) -> str:
    """One line of cue text: no markup, no line breaks."""
    return html.escape(" ".join(text.replace("\0", " ").split()), quote=False)


def timestamp(time_s: float) -> str:
    """Hours, minutes, seconds and milliseconds as WebVTT writes them."""
    total_ms = round(max(0.0, time_s) * 1000)
    minutes, ms = divmod(total_ms, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{ms // 1000:02d}.{ms % 1000:03d}"


def log_webvtt(review: Review, match: Match) -> str:
    """Cues for every hold and every line of the log, in the order in which they start."""
    cues = sorted(
        [*_hold_cues(review, match), *_line_cues(review, match)],
        key=lambda cue: (cue.shown.start_s, -cue.shown.end_s),
    )
    title = f"WEBVTT - {escaped(match.info.title)}\n"
    note = (
        "NOTE\nWhat reads 'Proposed, not confirmed' was seen by the program alone. "
        "The referee's call stands.\n"
    )
    return utf8("\n".join([title, note, *map(str, cues)]))


def _hold_cues(review: Review, match: Match) -> Iterator[Cue]:
    for number, held in enumerate(review.holds, 1):
        first, last = frames_of(review.clock, held.hold.interval)
        where = f"frames {first} to {last}, {held.hold.start_s:.3f} to {held.hold.end_s:.3f} s"
        yield Cue(
            f"hold {number}",
            _readable(held.hold.interval, 0.001, review),
            (_named(held, match), where),
        )


def _named(held: ReviewHold, match: Match) -> str:
    hold = held.hold
    words = with_names(state_words(hold.state), match.info.names)
    by = "edited by a person" if held.edited else confidence_words(hold.confidence)
    return f"{words} ({by})"


def _line_cues(review: Review, match: Match) -> Iterator[Cue]:
    for line in lines_of(review, match):
        yield Cue(
            f"line {line.number}", _shown(line, review), tuple(_texts(line, match.info.names))
        )


def _texts(line: LogLine, names: Names) -> Iterator[str]:
    shown, decision = line.item.shown, line.item.decision
    yield headline(line)
    why = why_of(line, names)
    yield f"{why} ({shown.clause})" if shown.clause else why
    if decision is not None and decision.reason:
        yield f"Reason: {decision.reason}"
    yield line.item.note
    yield f"frame {line.frame_index}, {line.time_s:.3f} s"


def _shown(line: LogLine, review: Review) -> Interval:
    """From where the evidence starts to the instant of the award, and long enough to read."""
    start_s = min(line.evidence.start_s, line.time_s)
    end_s = max(line.evidence.end_s, line.time_s)
    return _readable(Interval(start_s, end_s), SHORTEST_CUE_S, review)


def _readable(stretch: Interval, shortest_s: float, review: Review) -> Interval:
    end_s = max(stretch.end_s, min(stretch.start_s + shortest_s, review.clock.end_s))
    start_s = min(stretch.start_s, max(0.0, end_s - shortest_s))
    return Interval(start_s, max(end_s, start_s + 0.001))
