"""A new kind of edit is written in one place: its class."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from posescore.errors import InputError
from posescore.library.library import Library
from posescore.library.review.edits import EDITS, Edit
from posescore.library.review.entries import Effect, Entry, Stretch
from posescore.library.review.review import Review
from posescore.library.review.state import MatchState
from posescore.library.review.stretches import laid_over
from tests.library.samples import INFO, analysis


@pytest.fixture
def clear_after() -> Iterator[type[Edit]]:
    @dataclass(frozen=True, slots=True)
    class ClearAfter(Edit):
        kind = "clear_after"
        words = "clear all holds from an instant on"
        time_s: float

        def effect(self, review: Review) -> Effect:
            return Effect(stretch=Stretch(self.time_s, review.clock.end_s, ()))

        def apply(self, state: MatchState, entry: Entry) -> None:
            assert entry.effect.stretch is not None
            state.holds = laid_over(state.holds, entry.effect.stretch)

    yield ClearAfter
    del EDITS["clear_after"]


def test_it_is_kept_replayed_undone_and_checked(tmp_path: Path, clear_after: type[Edit]) -> None:
    with Library(tmp_path) as library:
        match = library.add_match(INFO)
        library.save_analysis(match.id, analysis())
        before = library.review(match.id).holds
        edit = Edit.from_json({"kind": "clear_after", "time_s": 24.0})
        after = library.edit(match.id, edit, "Ann").holds
        assert after == tuple(held for held in before if held.hold.end_s <= 24.0)
        assert len(after) < len(before)
    with Library(tmp_path) as library:
        review = library.review(match.id)
        assert review.holds == after
        assert review.next_undo is not None
        assert review.next_undo.edit == clear_after(24.0)  # type: ignore[call-arg]
        assert review.next_undo.edit.words == "clear all holds from an instant on"
        assert library.undo(match.id, "Ann").holds == before
    with pytest.raises(InputError, match="edit clear_after: time_s"):
        Edit.from_json({"kind": "clear_after", "time_s": "soon"})
