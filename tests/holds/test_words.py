from __future__ import annotations

import pytest

from posescore.holds.criteria.words import in_words
from posescore.holds.hold import CheckName


@pytest.mark.parametrize(
    ("share", "sure", "visible", "said"),
    [
        (0.96, 0.9, 1.0, "the other knee is on the mat (seen so 96% of the time)"),
        (0.2, 0.9, 1.0, "the other knee is on the mat, though most single instants look otherwise"),
        (0.9, 0.6, 1.0, "the other knee is on the mat (seen so 90% of the time); this view hardly"),
        (0.9, 0.9, 0.2, "the other knee is on the mat: what is usual, for both athletes are seen"),
    ],
)
def test_what_was_seen_is_said_with_its_doubts(
    share: float, sure: float, visible: float, said: str
) -> None:
    words = in_words(CheckName.OTHER_KNEE_DOWN, True, share, sure, visible)
    assert words.startswith(said)
