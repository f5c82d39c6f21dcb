"""Results of many matches from one table: CSV with a header, a line for each match.

The same columns are written by ``posescore.export.results``.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from posescore.errors import InputError, PoseScoreError
from posescore.library.athletes import folded
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.decisions import MOST_POINTS
from posescore.library.review.edits import Edit, SetResult, SetScoreboard
from posescore.library.review.review import Review
from posescore.scoring.outcome import WonBy
from posescore.scoring.proposal import Tally
from posescore.terms import Athlete

COLUMNS: Final = (
    "match", "athlete_a", "athlete_b", "winner", "by", "submission", "points_a", "advantages_a",
    "penalties_a", "points_b", "advantages_b", "penalties_b", "note",
)  # fmt: skip
MOST_LINES: Final = 2000
MOST_LETTERS: Final = 1_000_000


def _none(value: object) -> object:
    """An empty cell says nothing."""
    return None if isinstance(value, str) and not value.strip() else value


_Number = Annotated[Annotated[int, Field(ge=0, le=MOST_POINTS)] | None, BeforeValidator(_none)]


class ResultRow(BaseModel):
    """One line of the table. ``winner`` is A, B or a name; with a draw it stays empty.

    ``match`` is a number or a title; without it the two names find the match.
    """

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)

    match: str = Field(default="", max_length=200)
    athlete_a: str = Field(default="", max_length=120)
    athlete_b: str = Field(default="", max_length=120)
    winner: str = Field(default="", max_length=120)
    by: Annotated[WonBy | None, BeforeValidator(_none)] = None
    submission: str = Field(default="", max_length=80)
    points_a: _Number = None
    advantages_a: _Number = None
    penalties_a: _Number = None
    points_b: _Number = None
    advantages_b: _Number = None
    penalties_b: _Number = None
    note: str = Field(default="", max_length=200)


@dataclass(frozen=True, slots=True)
class Entered:
    """What became of one line of the table: the match and what was entered, or why nothing was."""

    line: int
    match_id: int | None
    title: str
    changed: bool
    problem: str = ""


def read_results(text: str, name: str = "results") -> list[tuple[int, ResultRow]]:
    """Lines of the table with their numbers.

    Raises
    ------
    InputError
        One sentence that names the line and the column. Nothing is entered of a broken table.
    """
    if len(text) > MOST_LETTERS:
        raise InputError(f"{name} is longer than {MOST_LETTERS} letters: give one event at a time.")
    lines = csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    try:
        heads = [head.strip().lower() for head in lines.fieldnames or []]
        _check_heads(heads, name)
        lines.fieldnames = heads
        rows = [(lines.line_num, row) for row in lines if any(_cells(row))]
    except csv.Error as error:
        raise InputError(f"{name}: line {lines.line_num} is not CSV: {error}.") from error
    if len(rows) > MOST_LINES:
        raise InputError(f"{name} has more than {MOST_LINES} lines: give one event at a time.")
    return [(number, _row(name, number, row)) for number, row in rows]


def _cells(row: Mapping[str | Any, Any]) -> Iterator[str]:
    for cell in row.values():
        yield from cell if isinstance(cell, list) else [cell or ""]


def _check_heads(heads: list[str], name: str) -> None:
    for head in heads:
        if head not in COLUMNS:
            known = ", ".join(COLUMNS)
            raise InputError(f"{name}: {head!r} is not a column; the header may name {known}.")
    twice = [head for head in heads if heads.count(head) > 1]
    if twice:
        raise InputError(f"{name}: the column {twice[0]!r} is there twice: keep one.")
    if "match" not in heads and not {"athlete_a", "athlete_b"} <= set(heads):
        raise InputError(f"{name}: the header must name match, or athlete_a and athlete_b.")


def _row(name: str, number: int, row: Mapping[str | Any, Any]) -> ResultRow:
    if None in row:
        raise InputError(f"{name}: line {number} has more cells than the header.")
    try:
        return ResultRow.model_validate({key: value or "" for key, value in row.items()})
    except ValidationError as error:
        first = error.errors()[0]
        column = ".".join(str(part) for part in first["loc"])
        raise InputError(f"{name}: line {number}, {column}: {first['msg']}.") from error


def enter_results(
    library: Library, rows: Iterable[tuple[int, ResultRow]], author: str
) -> list[Entered]:
    """Enter every line into the log of its match, and say what became of each.

    A line that fits no match, or says what is entered already, changes nothing and says so; the
    others are entered all the same.
    """
    return [_entered(library, number, row, author) for number, row in rows]


def _entered(library: Library, number: int, row: ResultRow, author: str) -> Entered:
    match: Match | None = None
    try:
        match = _match_of(library, row)
        review = library.review(match.id)
        edits = list(_edits(row, match, review))
        for edit in edits:
            library.edit(match.id, edit, author)
    except PoseScoreError as error:
        if match is None:
            return Entered(number, None, row.match, False, str(error))
        return Entered(number, match.id, match.info.title, False, str(error))
    return Entered(number, match.id, match.info.title, bool(edits))


def _match_of(library: Library, row: ResultRow) -> Match:
    if row.match:
        return library.find_match(row.match)
    wanted = {folded(row.athlete_a), folded(row.athlete_b)}
    if "" in wanted or len(wanted) < 2:
        raise InputError("match: name the match, or both athletes.")
    found = [
        match
        for match in library.matches()
        if {folded(match.info.athlete(athlete).name) for athlete in Athlete} == wanted
    ]
    if len(found) != 1:
        many = "no match" if not found else "several matches"
        raise InputError(f"match: {many} of {row.athlete_a} and {row.athlete_b}; give its number.")
    return found[0]


def _edits(row: ResultRow, match: Match, review: Review) -> Iterator[Edit]:
    """The edits that enter a line; none for what is entered already."""
    other_way = folded(row.athlete_a) == folded(match.info.athlete(Athlete.B).name) != ""
    slot: Callable[[Athlete], Athlete] = (lambda a: a.other) if other_way else (lambda a: a)
    if row.by is not None:
        winner = None if row.by is WonBy.DRAW else _winner(row, match, slot)
        made = SetResult(row.by, winner, row.submission, row.note)
        if made.outcome != review.outcome:
            yield made
    score = {
        slot(Athlete.A): _tally(row.points_a, row.advantages_a, row.penalties_a),
        slot(Athlete.B): _tally(row.points_b, row.advantages_b, row.penalties_b),
    }
    given = {athlete: tally for athlete, tally in score.items() if tally is not None}
    if len(given) == 1:
        raise InputError("points: give the numbers of both athletes.")
    if given and given != review.official_score:
        yield SetScoreboard(given)
    if row.by is None and not given:
        raise InputError("by: the line names neither a result nor a score.")


def _winner(row: ResultRow, match: Match, slot: Callable[[Athlete], Athlete]) -> Athlete:
    if row.winner.upper() in list(Athlete):
        return slot(Athlete(row.winner.upper()))
    for athlete in Athlete:
        if row.winner and folded(row.winner) == folded(match.info.athlete(athlete).name):
            return athlete
    raise InputError(f"winner: {row.winner!r} is neither A, B nor one of the two athletes.")


def _tally(points: int | None, advantages: int | None, penalties: int | None) -> Tally | None:
    if points is None and advantages is None and penalties is None:
        return None
    return Tally(points or 0, advantages or 0, penalties or 0)
