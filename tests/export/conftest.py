from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import AddAward, Change, Confirm, Dismiss
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete
from tests.export.filmed import film, filmed_match


@pytest.fixture(scope="session")
def footage(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return film(tmp_path_factory.mktemp("film"))


@pytest.fixture
def filmed(tmp_path: Path, footage: Path) -> Iterator[tuple[Library, Match]]:
    """A filmed match that nobody has looked at."""
    with Library(tmp_path / "library") as library:
        yield library, filmed_match(library, footage)


@pytest.fixture
def looked_at(filmed: tuple[Library, Match]) -> tuple[Library, Match]:
    """The same with decisions: confirmed, changed, dismissed, added; the rest is proposed."""
    library, match = filmed
    keys = {item.shown.kind: item.key for item in library.review(match.id).items}
    library.edit(match.id, Confirm(keys[ProposalKind.TAKEDOWN]), "Ann <b>Weber</b>")
    library.edit(match.id, Change(keys[ProposalKind.MOUNT], "it was B", athlete=Athlete.B), "Ben")
    library.edit(match.id, Dismiss(keys[ProposalKind.GUARD_PASS], "the legs held"), "Ann")
    added = AddAward(Athlete.B, ProposalKind.SWEEP, 47.1, 2, reason="seen from the stand")
    library.edit(match.id, added, "Ben")
    return library, library.match(match.id)
