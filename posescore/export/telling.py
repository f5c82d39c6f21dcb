"""Lines of a score log as reports and lessons show them: sentences, and a picture."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass

from posescore.export.evidence import look_at
from posescore.export.rows import LogLine
from posescore.export.sentences import (
    Names,
    missing_criteria,
    seen_words,
    title_of,
    why_of,
    word_of,
)
from posescore.export.shots import Shots
from posescore.library.review.review import Review
from posescore.terms import Athlete
from posescore.words import WORDS, clock_words, phrase

PICTURE_WIDTH_PX = 720
"""Sharp at 75 mm on paper (240 dots an inch), and about 60 kB each."""


@dataclass(frozen=True, slots=True)
class Missing:
    """A criterion that was not met: what the rule asks, its clause, and what was seen."""

    name: str
    clause: str
    seen: str


@dataclass(frozen=True, slots=True)
class LineText:
    """One line in words; ``jpeg`` is the frame to look at, empty where there is none."""

    line: LogLine
    title: str
    athlete: Athlete | None
    athlete_name: str
    word: str
    decided_at: str
    why: str
    missing: tuple[Missing, ...]
    reason: str
    note: str
    clause: str
    at: str
    when: str
    stretch: str
    jpeg: bytes
    width_px: int
    height_px: int
    look_frame: int
    picture_text: str

    @property
    def picture(self) -> str:
        """The picture as the address of itself."""
        return data_address("image/jpeg", self.jpeg) if self.jpeg else ""


def data_address(media_type: str, data: bytes) -> str:
    """Bytes as a ``data:`` address (RFC 2397)."""
    return f"data:{media_type};base64,{b64encode(data).decode('ascii')}"


def text_of(line: LogLine, names: Names, shots: Shots | None, review: Review) -> LineText:
    """A line in words, with its picture."""
    shown, decision = line.item.shown, line.item.decision
    title, look = title_of(line), look_at(line.item, review)
    jpeg, (width_px, height_px) = b"", (0, 0)
    if shots is not None:
        jpeg, (width_px, height_px) = shots.jpeg(look.frame_index, PICTURE_WIDTH_PX)
    when = _frame_words(line.frame_index, line.time_s)
    if look.frame_index != line.frame_index:
        when += phrase(", pictured at frame {frame}", frame=look.frame_index)
    looked = _frame_words(look.frame_index, look.time_s)
    who = names[shown.athlete] if shown.athlete else str(WORDS["nobody"])
    return LineText(
        line=line,
        title=title,
        athlete=shown.athlete,
        athlete_name=who,
        word=word_of(line),
        decided_at="" if decision is None else f"{decision.made_at:%Y-%m-%d %H:%M} UTC",
        why=why_of(line, names),
        missing=tuple(
            Missing(phrase(each.name), each.clause, seen_words(each, names))
            for each in missing_criteria(shown)
        ),
        reason=decision.reason if decision is not None and decision.reason != shown.why else "",
        note=line.item.note,
        clause=shown.clause,
        at=clock_words(line.time_s),
        when=when,
        stretch=phrase("frames {first} to {last}", first=line.first_frame, last=line.last_frame),
        jpeg=jpeg,
        width_px=width_px,
        height_px=height_px,
        look_frame=look.frame_index,
        picture_text=phrase(
            "The footage at {frame}: {title}, {who}.", frame=looked, title=title, who=who
        ),
    )


def _frame_words(frame_index: int, time_s: float) -> str:
    """Say "frame 250, 10.000 s"."""
    return phrase("frame {frame}, {time} s", frame=frame_index, time=f"{time_s:.3f}")
