"""The result of a match as CSV, in the columns that :mod:`posescore.library.results` reads."""

from __future__ import annotations

from posescore.export.tables import csv_text
from posescore.library.match import Match
from posescore.library.results import COLUMNS
from posescore.library.review.review import Review
from posescore.terms import Athlete


def result_csv(review: Review, match: Match) -> str:
    """One line: the result that stands and the official score; what is not known stays empty."""
    result, board = review.result, review.official_score
    who = [match.info.athlete(athlete).name for athlete in Athlete]
    said: list[object] = ["", "", ""]
    if result is not None:
        said = [str(result.winner or ""), str(result.by), result.submission]
    numbers: list[object] = [""] * 6
    if board is not None:
        numbers = [
            number
            for athlete in Athlete
            for number in (
                board[athlete].points, board[athlete].advantages, board[athlete].penalties
            )
        ]  # fmt: skip
    note = result.note if result is not None else ""
    return csv_text(COLUMNS, [[match.id, *who, *said, *numbers, note]])
