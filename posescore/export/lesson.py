"""A match for a class or for parents: one read-only HTML file, every moment in two sentences."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from posescore.errors import InputError
from posescore.export.clips import write_stretch
from posescore.export.differences import ending_lines
from posescore.export.evidence import look_at
from posescore.export.page import page
from posescore.export.report_content import shots_or_why, shown_text
from posescore.export.rows import ROUNDING_S, LogLine, frame_at
from posescore.export.sentences import Names, standing_words, two_sentences
from posescore.export.shots import USUAL, Shots, Showing
from posescore.export.summary import ScoreStep, curve_of, summary_of
from posescore.export.telling import LineText, data_address, text_of
from posescore.export.unnamed import Hide, hidden_text, shown_match
from posescore.footage.atomic import write_whole
from posescore.library.library import Library
from posescore.library.review.review import Review, Verdict
from posescore.terms import Athlete, Progress, silent
from posescore.words import phrase

CLIP_S: Final = 5.0
"""A clip ends at its moment and starts so long before."""
CLIP_WIDTH_PX: Final = 640
CLIP_QUALITY: Final = 28
"""Poorer than a clip to keep: a page of ten moments stays near 5 MB and goes through a mailbox."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment: what happened, and what it is worth; ``clip`` is an address of itself or "".

    ``score`` is how it stands then, by confirmed points alone.
    """

    text: LineText
    what: str
    worth: str
    clip: str
    score: Mapping[Athlete, int]

    @property
    def sort(self) -> str:
        """Which frame it gets: proposed, near or award."""
        if self.text.line.item.decision is None:
            return "proposed"
        return "award" if self.text.line.item.shown.points else "near"


def confirmed_curve(review: Review) -> tuple[ScoreStep, ...]:
    """Points over time, by what people let stand."""
    return curve_of([item.award for item in review.items if item.award is not None], review)


def points_at(curve: Sequence[ScoreStep], time_s: float) -> Mapping[Athlete, int]:
    """The points from that instant on."""
    reached = [step.points for step in curve if step.time_s <= time_s + ROUNDING_S]
    return reached[-1] if reached else dict.fromkeys(Athlete, 0)


def lesson_lines(
    library: Library, match_id: int, proposed: bool = True, opinion: str = ""
) -> list[LogLine]:
    """Awards and near misses in the order of their frames; what people dismissed is left out."""
    review = library.review(match_id, opinion)
    summary = summary_of(review, library.match(match_id))
    lines = {x.number: x for x in (*summary.awards, *summary.proposed, *summary.near)}
    shown = [line for _, line in sorted(lines.items()) if _shown(line, proposed)]
    return sorted(shown, key=lambda line: look_at(line.item, review).frame_index)


def _shown(line: LogLine, proposed: bool) -> bool:
    decision = line.item.decision
    if line.item.behind_end:
        return False
    return proposed if decision is None else decision.verdict is not Verdict.DISMISSED


def write_lesson(
    library: Library,
    match_id: int,
    out: Path,
    *,
    clips: bool = True,
    proposed: bool = True,
    opinion: str = "",
    showing: Showing = USUAL,
    progress: Progress = silent,
) -> Path:
    """Write the lesson of a match.

    Parameters
    ----------
    out
        An ``.html`` file.
    clips
        Put a clip of :data:`CLIP_S` seconds at every moment, else a picture.
    proposed
        Also show what nobody decided on yet, marked as that.
    showing
        Skeletons and hidden faces; :mod:`posescore.export.faces` says what hiding cannot do.

    Raises
    ------
    InputError
        When the file's name ends otherwise, or faces cannot be hidden.
    NotFoundError
        When there is no such match, or it was never analysed.
    StorageError
        When the file cannot be written; one that was there before is still there.
    """
    if out.suffix.lower() not in (".html", ".htm") or out.is_dir():
        raise InputError(f"{out}: name a file that ends in .html.")
    match, review = library.match(match_id), library.review(match_id, opinion)
    shots, no_pictures = shots_or_why(library, match, review, showing)
    match, hide = shown_match(match, showing)
    names = match.info.names
    moments = _moments(
        lesson_lines(library, match_id, proposed, opinion), names, shots, clips, review, hide,
        progress,
    )  # fmt: skip
    text = page(
        "lesson.html",
        heading=phrase("Lesson"),
        info=match.info,
        review=review,
        names=names,
        division=" ".join((review.division or {}).values()),
        moments=moments,
        undecided=sum(moment.sort == "proposed" for moment in moments),
        confirmed_result=standing_words(review, names),
        ending=[hide(said) for said in ending_lines(review, names)],
        no_pictures=no_pictures,
        has_clips=clips,
        drawn=showing.skeletons and shots is not None,
        shown_text=shown_text(showing, shots is None),
    )
    write_whole(out, text.encode("utf-8"))
    return out


def _moments(
    lines: Sequence[LogLine], names: Names, shots: Shots | None, clips: bool,
    review: Review, hide: Hide, progress: Progress,
) -> list[Moment]:  # fmt: skip
    made, curve = [], confirmed_curve(review)
    for done, line in enumerate(lines, 1):
        text = hidden_text(text_of(line, names, shots, review), hide)
        clip = _clip(shots, text.look_frame) if shots is not None and clips else ""
        what, worth = (hide(said) for said in two_sentences(line, names, review.rule_set))
        made.append(Moment(text, what, worth, clip, points_at(curve, line.time_s)))
        progress("filming", done, len(lines))
    return made


def _clip(shots: Shots, last: int) -> str:
    first = frame_at(shots.clock, max(0.0, shots.clock.time_s(last) - CLIP_S))
    width, height = shots.footage.size_px
    scale = min(1.0, CLIP_WIDTH_PX / width)
    size_px = (round(width * scale), round(height * scale))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "clip.mp4"
        write_stretch(shots, path, first, last, size_px=size_px, quality=CLIP_QUALITY)
        return data_address("video/mp4", path.read_bytes())
