"""A match for a class: every moment in two sentences."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter
from pydantic import BaseModel

from posescore.export.differences import ending_lines, result_line
from posescore.export.evidence import look_at
from posescore.export.rows import LogLine
from posescore.export.sentences import result_words, title_of, two_sentences, word_of
from posescore.library.library import Library
from posescore.library.review.review import Review
from posescore.terms import Athlete
from posescore.words import counted, phrase


class MomentOut(BaseModel):
    """One moment of a lesson: the footage pauses at its frame; it begins at ``start_s``.

    ``decided`` is false for what the program proposed and nobody confirmed; ``score`` are the
    confirmed points from then on.
    """

    line: str
    start_s: float
    time_s: float
    frame_index: int
    athlete: Athlete | None
    title: str
    what: str
    worth: str
    points: int
    word: str
    decided: bool
    score: dict[Athlete, int]
    clause: str


class LessonOut(BaseModel):
    """A match for a class: every moment in two sentences, and how it stands."""

    moments: list[MomentOut]
    result: str


def lesson_router(library: Library) -> APIRouter:
    """The endpoint for lessons."""
    router = APIRouter(prefix="/matches/{match_id}")

    @router.get("/lesson", summary="A match in two sentences for every moment")
    def lesson(match_id: int, proposed: bool = False, opinion: str = "") -> LessonOut:
        """Awards and near misses in time order; what people dismissed is left out."""
        from posescore.export.lesson import (
            confirmed_curve,
            lesson_lines,
            points_at,
        )  # brings what draws and hides faces

        match, review = library.match(match_id), library.review(match_id, opinion)
        names = match.info.names
        lines = lesson_lines(library, match_id, proposed, opinion)
        curve = confirmed_curve(review)
        return LessonOut(
            moments=[_moment(line, review, names, points_at(curve, line.time_s)) for line in lines],
            result=_ending(review, names),
        )

    return router


def _ending(review: Review, names: dict[Athlete, str]) -> str:
    """The result; without one it is open while lines wait, whatever is confirmed so far."""
    if review.outcome is not None or review.official_score is not None:
        return " ".join(ending_lines(review, names))
    waiting = len(review.undecided)
    if waiting:
        return phrase(
            "Still open: {lines} may change the score.", lines=counted(waiting, "undecided line")
        )
    said = result_line(review, names)
    return said or result_words(review.confirmed_result, names)


def _moment(
    line: LogLine, review: Review, names: dict[Athlete, str], score: Mapping[Athlete, int]
) -> MomentOut:
    what, worth = two_sentences(line, names, review.rule_set)
    shown, look = line.item.shown, look_at(line.item, review)
    return MomentOut(
        line=line.item.key,
        start_s=line.evidence.start_s,
        time_s=look.time_s,
        frame_index=look.frame_index,
        athlete=shown.athlete,
        title=title_of(line),
        what=what,
        worth=worth,
        points=shown.points,
        word=word_of(line),
        decided=line.item.decision is not None,
        score=dict(score),
        clause=shown.clause,
    )
