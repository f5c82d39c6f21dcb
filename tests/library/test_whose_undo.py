"""Undo takes back one's own newest entry, never somebody else's."""

from __future__ import annotations

from pathlib import Path

import pytest

from posescore.errors import ConflictError
from posescore.library.library import Library
from posescore.library.review.edits import Confirm, Dismiss
from tests.library.samples import INFO, analysis


def test_another_persons_entry_stays(tmp_path: Path) -> None:
    with Library(tmp_path / "library") as library:
        match = library.add_match(INFO)
        library.save_analysis(match.id, analysis())
        first, second = [item.key for item in library.review(match.id).items][:2]
        library.edit(match.id, Dismiss(first, "not held"), "Ann")
        left = library.edit(match.id, Confirm(second), "Ben")
        with pytest.raises(
            ConflictError, match=r"Ben changed this match last \(confirm a proposal\)"
        ):
            library.undo(match.id, "Ann")
        now = library.review(match.id)
        assert now == left
        assert [entry.author for entry in library.log(match.id)] == ["Ann", "Ben"]
        library.undo(match.id, "Ben")
        with pytest.raises(
            ConflictError, match=r"what was taken back is Ben's \(confirm a proposal\)"
        ):
            library.redo(match.id, "Ann")
        assert library.undo(match.id, "Ann").next_undo is None
        assert library.redo(match.id, "Ann").next_undo is not None
