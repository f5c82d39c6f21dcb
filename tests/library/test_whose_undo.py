"""Undo takes back one's own newest entry, the history any entry; an edit says what it had seen."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from posescore.errors import ChangedMeanwhileError, ConflictError
from posescore.library.library import Library
from posescore.library.review.edits import AddAward, Change, Confirm, Dismiss, Relabel, RemoveHold
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete, Position
from tests.library.samples import INFO, analysis


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Library]:
    with Library(tmp_path / "library") as library:
        library.add_match(INFO)
        library.save_analysis(1, analysis())
        yield library


def lines(library: Library) -> list[str]:
    return [item.key for item in library.review(1).items]


def status(library: Library, key: str) -> str:
    item = library.review(1).item(key)
    assert item is not None
    return item.status


def test_undo_leaves_what_others_did_since(library: Library) -> None:
    first, second = lines(library)[:2]
    library.edit(1, Dismiss(first, "not held"), "Ann")
    library.edit(1, Confirm(second), "Ben")
    left = library.undo(1, "Ann")
    assert left.next_undo is None
    assert (status(library, first), status(library, second)) == ("proposed", "confirmed")
    assert library.redo(1, "Ann").next_redo is None
    assert (status(library, first), status(library, second)) == ("dismissed", "confirmed")
    with pytest.raises(ConflictError, match=r"nothing of yours to undo; Ben changed"):
        library.undo(1, "Cleo")


def test_undo_of_a_line_that_another_went_on_from_says_who_and_what(library: Library) -> None:
    first = lines(library)[0]
    mine = library.edit(1, Dismiss(first, "not held"), "Ann").last_entry_id
    library.edit(1, Change(first, points=3), "Ben")
    with pytest.raises(ConflictError, match=r"Ben changed the same .* since \(change a proposal"):
        library.undo(1, "Ann")
    assert status(library, first) == "changed"
    library.take_back(1, mine, "Ann")
    assert status(library, first) == "changed"
    assert [entry.author for entry in library.log(1)] == ["Ann", "Ben", "Ann"]


def test_any_entry_is_taken_back_and_put_back_where_it_was(library: Library) -> None:
    untouched = library.review(1)
    hold = untouched.holds[4].key
    named = library.edit(1, Relabel(hold, Position.HALF_GUARD, Athlete.A), "Ann").last_entry_id
    gone = library.edit(1, RemoveHold(library.review(1).holds[0].key), "Ben").last_entry_id
    both = library.review(1).holds
    library.take_back(1, named, "Cleo")
    assert [held.key for held in library.review(1).holds] == [
        held.key for held in untouched.holds[1:]
    ]
    library.put_back(1, named, "Ben")
    assert library.review(1).holds == both
    library.take_back(1, gone, "Ann")
    library.take_back(1, named, "Ann")
    assert library.review(1).holds == untouched.holds
    for wrong in (named, 99):
        with pytest.raises(ConflictError, match="not there to take back"):
            library.take_back(1, wrong, "Ann")


def test_an_edit_of_a_line_that_changed_since_it_was_seen_shows_both_sides(
    library: Library,
) -> None:
    first, second = lines(library)[:2]
    library.edit(1, Dismiss(first, "too short"), "Ben", seen=0)
    with pytest.raises(ChangedMeanwhileError) as caught:
        library.edit(1, Confirm(first), "Ann", seen=0)
    both = caught.value
    assert (both.by, both.line, both.last_entry_id) == ("Ben", first, 1)
    assert both.before.startswith("proposed: takedown, 2 points, {A}")
    assert both.now.startswith("Ben: dismissed: takedown, 2 points, {A}")
    assert "too short" in both.now
    library.edit(1, Confirm(second), "Ann", seen=0)  # another line: nobody is asked
    library.edit(1, Confirm(first), "Ann", seen=both.last_entry_id)
    assert status(library, first) == "confirmed"


def test_a_hold_that_changed_and_an_award_that_both_add_ask_too(library: Library) -> None:
    seen = library.review(1)
    library.edit(1, Relabel(seen.holds[4].key, Position.HALF_GUARD, Athlete.A), "Ben")
    with pytest.raises(ChangedMeanwhileError) as caught:
        library.edit(1, RemoveHold(seen.holds[4].key), "Ann", seen=0)
    assert "mount" in caught.value.before
    assert "half guard" in caught.value.now
    award = AddAward(Athlete.B, ProposalKind.SWEEP, 20.0, 2)
    library.edit(1, award, "Ben", seen=1)
    with pytest.raises(ChangedMeanwhileError, match="Ben"):
        library.edit(1, award, "Ann", seen=1)
    gone = next(item for item in seen.items if item.shown.kind is ProposalKind.MOUNT)
    with pytest.raises(ChangedMeanwhileError) as caught:
        library.edit(1, Confirm(gone.key), "Ann", seen=0)
    assert caught.value.did == "name a hold"
