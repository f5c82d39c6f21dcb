"""Matches: kept, found, sorted, deleted with everything made from them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from posescore.errors import ConflictError, InputError, NotFoundError
from posescore.export.export import FORMATS, export_text
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Footage, Match, MatchInfo
from posescore.library.review.edits import Confirm, Dismiss
from posescore.terms import Athlete
from tests.library.samples import INFO, analysis

Kept = tuple[Library, Match]


def test_what_is_said_of_a_match_comes_back(kept: Kept) -> None:
    library, match = kept
    assert match.info == INFO
    assert library.match(match.id) == match
    assert match.folder.is_dir()
    changed = replace(INFO, mat="4", note="heel hook at the end?", division=None)
    assert library.update_match(match.id, changed).info == changed


def test_names_fall_back_to_the_gi_and_the_letter() -> None:
    info = MatchInfo("x", AthleteInfo(gi_colour="white"))
    assert info.name_of(Athlete.A) == "A (white)"
    assert info.name_of(Athlete.B) == "B"
    assert INFO.name_of(Athlete.B) == "Dana Külve"


def test_search_finds_every_word_in_any_field_and_takes_no_wildcards(tmp_path: Path) -> None:
    with Library(tmp_path) as library:
        first = library.add_match(INFO)
        second = library.add_match(MatchInfo("100% final", event="Harbour Open"))

        def found(words: str) -> list[int]:
            return [match.id for match in library.matches(words)]

        assert found("harbour") == [second.id, first.id]
        assert found("KÜLVE harbour") == [first.id]
        assert found("mira 2026-05") == [first.id]
        assert found("%") == [second.id]
        assert found("_") == []
        assert found("nobody") == []


def test_sorting_puts_what_lacks_the_field_last(tmp_path: Path) -> None:
    with Library(tmp_path) as library:
        for title, day in (("b", date(2026, 1, 2)), ("A", None), ("c", date(2026, 3, 4))):
            library.add_match(MatchInfo(title, held_on=day))

        def titles(sort: str, descending: bool) -> list[str]:
            listed = library.matches(sort=sort, descending=descending)  # type: ignore[arg-type]
            return [match.info.title for match in listed]

        assert titles("title", False) == ["A", "b", "c"]
        assert titles("held_on", True) == ["c", "b", "A"]
        assert titles("held_on", False) == ["b", "c", "A"]
        assert titles("added", True) == ["c", "A", "b"]


def test_a_match_is_named_by_number_or_title(kept: Kept) -> None:
    library, match = kept
    assert library.find_match(str(match.id)) == match
    assert library.find_match("second ROUND") == match
    assert library.find_match("round") == match
    library.add_match(MatchInfo("Second round, filmed again"))
    assert library.find_match("Second round") == match, "the exact title wins"
    with pytest.raises(NotFoundError, match="several"):
        library.find_match("round")
    for nothing in ("quarter", "77"):
        with pytest.raises(NotFoundError, match=nothing):
            library.find_match(nothing)


def test_footage_is_recognised_by_its_hash(kept: Kept) -> None:
    library, match = kept
    assert library.match_of_footage("ab" * 32) == match
    assert library.match_of_footage("cd" * 32) is None


def test_deleting_takes_everything_made_from_the_match_and_nothing_else(kept: Kept) -> None:
    library, match = kept
    other = library.add_match(MatchInfo("stays"))
    review = library.review(match.id)
    library.edit(match.id, Confirm(review.undecided[0].key), "Ann")
    library.undo(match.id, "Ann")
    job = library.queue_job(match.id)
    with pytest.raises(ConflictError, match="wait for its end"):
        library.delete_match(match.id)
    library.end_job(job.id)
    library.delete_match(match.id)
    assert not match.folder.exists()
    assert [each.id for each in library.matches()] == [other.id]
    assert library.jobs() == []
    for gone in (library.match, library.review, library.log, library.delete_match):
        with pytest.raises(NotFoundError):
            gone(match.id)
    assert library.add_match(MatchInfo("new")).id not in (match.id, other.id)


def test_a_broken_file_name_and_broken_words_are_kept(tmp_path: Path) -> None:
    path = "/films/caf\udce9 \x00.mp4"
    info = replace(INFO, title="caf\udce9", footage=Footage(path, "cd" * 32, 1))
    with Library(tmp_path) as library:
        match = library.add_match(info)
        assert library.match(match.id).info == info
        assert [each.id for each in library.matches("caf\udce9")] == [match.id]
        library.save_analysis(match.id, analysis())
        key = library.review(match.id).undecided[0].key
        review = library.edit(match.id, Dismiss(key, "\ud800\x00"), " A\ud800nn ")
        assert review.entries[0].author == "A?nn"
        for name in FORMATS:
            export_text(library, match.id, name).encode("utf-8")


@pytest.mark.parametrize("number", [0, -1, 99, 2**63, 10**30])
def test_a_number_that_no_match_has(tmp_path: Path, number: int) -> None:
    with Library(tmp_path) as library:
        for ask in (
            library.match, library.analysis, library.review, library.log,
            library.opinions, library.delete_match, library.queue_job, library.jobs, library.job,
            lambda number: library.update_match(number, INFO),
            lambda number: library.find_match(str(number)),
            lambda number: library.edit(number, Confirm("x"), "Ann"),
            lambda number: library.undo(number, "Ann"),
        ):  # fmt: skip
            with pytest.raises(NotFoundError):
                ask(number)


@pytest.mark.parametrize(
    ("wrong", "names"),
    [
        ({"rules": "house-rules"}, "house-rules"),
        ({"division": {"age": "ancient"}}, "ancient"),
    ],
)
def test_a_match_under_unknown_rules_is_refused_and_not_kept(
    tmp_path: Path, wrong: dict[str, object], names: str
) -> None:
    with Library(tmp_path) as library:
        with pytest.raises(InputError, match=names):
            library.add_match(replace(INFO, **wrong))  # type: ignore[arg-type]
        assert library.matches() == []
    with pytest.raises(InputError, match="title"):
        MatchInfo("  ")
