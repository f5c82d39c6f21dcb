"""Results and official scores: typed, read from a table, kept in the log, and what stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from posescore.errors import InputError
from posescore.export.differences import differences, official_line, result_line
from posescore.export.results import result_csv
from posescore.library.library import Library
from posescore.library.match import AthleteInfo
from posescore.library.results import COLUMNS, Entered, enter_results, read_results
from posescore.library.review.edits import Confirm, Edit, SetResult, SetScoreboard
from posescore.scoring.outcome import Outcome, WonBy
from posescore.scoring.proposal import ProposalKind, Tally
from posescore.terms import Athlete
from tests.library.samples import INFO, analysis

A, B = Athlete.A, Athlete.B
BOARD = {A: Tally(5, 1, 0), B: Tally(2, 0, 1)}


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Library]:
    with Library(tmp_path / "library") as library:
        library.add_match(INFO)
        library.save_analysis(1, analysis())
        yield library


def enter(library: Library, text: str) -> list[Entered]:
    return enter_results(library, read_results(text), "Ann")


def test_what_a_person_enters_stands_then_the_official_score(library: Library) -> None:
    assert library.review(1).result is None
    by_board = library.edit(1, SetScoreboard(BOARD), "Ann")
    assert by_board.result == Outcome(A, WonBy.POINTS)
    entered = library.edit(1, SetResult(WonBy.SUBMISSION, B, "armbar"), "Ben")
    assert entered.result == Outcome(B, WonBy.SUBMISSION, "armbar")
    assert [(e.author, e.kind) for e in library.log(1)] == [
        ("Ann", "set_scoreboard"), ("Ben", "set_result")
    ]  # fmt: skip
    assert library.undo(1, "Ben").result == by_board.result
    level = library.edit(1, SetScoreboard({A: Tally(), B: Tally()}), "Ann")
    assert level.result is None, "who won a level match only the referee knows"
    assert "enter who won" in result_line(level, INFO.names)


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        (SetResult(WonBy.DRAW, A), "a draw has none"),
        (SetResult(WonBy.POINTS), "say who won"),
        (SetResult(WonBy.POINTS, A, "armbar"), "only a win by submission"),
        (SetResult(WonBy.POINTS, A, note="x" * 201), "200 letters"),
        (SetResult(None), "that result already"),
        (SetScoreboard(None), "no such reading"),
        (SetScoreboard({A: Tally()}), "numbers of B"),
        (SetScoreboard({A: Tally(100), B: Tally()}), "100 is not from 0 to 99"),
        (SetScoreboard(BOARD, at_s=1e6), "outside the footage"),
    ],
)
def test_what_makes_no_sense_is_refused(library: Library, edit: Edit, says: str) -> None:
    with pytest.raises(InputError, match=says):
        library.edit(1, edit, "Ann")
    assert library.log(1) == []


def test_every_difference_is_told_in_the_order_of_the_match(library: Library) -> None:
    key = next(i.key for i in library.review(1).items if i.shown.kind is ProposalKind.TAKEDOWN)
    library.edit(1, Confirm(key), "Ann")
    library.edit(1, SetScoreboard({A: Tally(2), B: Tally()}, at_s=14.0), "Ann")
    review = library.edit(1, SetScoreboard(BOARD), "Ann")
    found = differences(review, INFO.names)
    times_s = [each.time_s for each in found if each.time_s is not None]
    assert times_s == sorted(times_s)
    board = [each for each in found if each.board]
    assert [(each.time_s, each.confirmed, each.differs) for each in board] == [
        (14.0, "2 to 0", False), (None, "2 to 0", True)
    ]  # fmt: skip
    assert not any("takedown" in each.what for each in found), "there all say the same"
    assert "the confirmed log says 2 to 0" in official_line(review)


def test_a_table_is_read_and_written_alike(library: Library) -> None:
    library.add_match(replace(INFO, title="Final", athlete_a=AthleteInfo("Tove Lind")))
    library.save_analysis(2, analysis())
    text = (
        "\ufeffmatch,athlete_a,athlete_b,Winner,by,submission,points_a,points_b\r\n"
        "1,,,A,submission,armbar,2,0\r\n"
        ",Dana Külve,tove  LIND,Dana Külve,points,,4,1\r\n"
        "\r\n"
        "No such,,,A,points,,,\r\n"
    )
    first, second, third = enter(library, text)
    assert (first.match_id, first.changed, first.problem) == (1, True, "")
    assert (second.match_id, second.changed) == (2, True)
    assert "none of that number or title" in third.problem
    other_way = library.review(2)
    assert other_way.result == Outcome(B, WonBy.POINTS)
    assert other_way.official_score == {A: Tally(1), B: Tally(4)}
    for number in (1, 2):
        review = library.review(number)
        again = enter(library, result_csv(review, library.match(number)))
        assert [(each.changed, each.problem) for each in again] == [(False, "")]
        assert library.review(number).last_entry_id == review.last_entry_id


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "must name match"),
        ("winner,by\nA,points\n", "must name match"),
        ("match,colour\n1,red\n", "'colour' is not a column"),
        ("match,match\n1,1\n", "there twice"),
        ("match,by\n1,magic\n", "line 2, by"),
        ("match,points_a\n1,many\n", "line 2, points_a"),
        ("match,points_a\n1,100\n", "line 2, points_a"),
        ("match,by\n1,points,A\n", "line 2 has more cells"),
        ('match,by\n"1,points\n', "is not CSV"),
    ],
)
def test_a_broken_table_enters_nothing(library: Library, text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        enter(library, text)
    assert library.log(1) == []


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("1,,points,", "is neither A, B nor"),
        ("1,Somebody,points,", "is neither A, B nor"),
        ("1,A,,", "neither a result nor a score"),
        ("1,A,points,3", "numbers of both"),
    ],
)
def test_a_line_that_says_too_little_says_so(library: Library, line: str, says: str) -> None:
    (found,) = enter(library, f"match,winner,by,points_a\n{line}\n")
    assert says in found.problem
    assert library.log(1) == []


def test_the_columns_are_documented() -> None:
    formats = (Path(__file__).parents[2] / "docs" / "formats.md").read_text("utf-8")
    for column in COLUMNS:
        assert f"`{column}`" in formats
