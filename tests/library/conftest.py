from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from posescore.library.library import Library
from posescore.library.match import Match
from tests.library.samples import library_with_match


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[tuple[Library, Match]]:
    library, match = library_with_match(tmp_path / "library")
    with library:
        yield library, match
