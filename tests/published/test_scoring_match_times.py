"""Match times of the general competition guidelines, 1.3, and the values of 2.5.2."""

from __future__ import annotations

import pytest

from posescore.errors import InputError
from posescore.scoring.rules import RuleSet

TIMES = RuleSet.load().match_times
MINUTES = [
    ("adult", "white", 5), ("adult", "blue", 6), ("adult", "purple", 7), ("adult", "brown", 8),
    ("adult", "black", 10), ("juvenile", "white", 5), ("juvenile", "blue", 5),
    ("master 1", "white", 5), ("master 1", "blue", 5), ("master 1", "purple", 6),
    ("master 1", "brown", 6), ("master 1", "black", 6), ("master 2", "black", 5),
    ("master 4", "purple", 5), ("master 7", "blue", 5), ("4-6", "white", 2), ("7-9", "grey", 3),
    ("10-12", "yellow", 4), ("13-15", "green", 4),
]  # fmt: skip


@pytest.mark.parametrize(("age", "belt", "minutes"), MINUTES)  # 1.3
def test_match_time(age: str, belt: str, minutes: int) -> None:
    assert TIMES.match_s(TIMES.division(age, belt)) == minutes * 60


@pytest.mark.parametrize("words", ["master 2", "Master 2", "master_2", "MASTER2"])
def test_age_classes_by_other_spellings(words: str) -> None:
    assert TIMES.division(words).age == "master 2"


@pytest.mark.parametrize(
    ("age", "belt"), [("senior", None), ("adult", "pink"), ("adult", "green"), ("", None)]
)
def test_unknown_division(age: str, belt: str | None) -> None:
    with pytest.raises(InputError, match="use one of"):
        TIMES.division(age, belt)


def test_belt_unknown_where_it_decides() -> None:
    assert TIMES.match_s(TIMES.division("adult")) is None
    assert TIMES.match_s(TIMES.division("master 3")) == 300


def test_values() -> None:  # 2.5.2
    assert {str(kind): points for kind, points in RuleSet.load().points.items()} == {
        "takedown": 2, "sweep": 2, "knee_on_belly": 2, "guard_pass": 3, "mount": 4,
        "back_mount": 4, "back_control": 4, "out_of_area": 2, "fled": 2,
    }  # fmt: skip


def test_three_seconds_and_the_stalling_count() -> None:  # 3.1; penalties
    seconds = RuleSet.load().seconds
    assert (seconds.hold, seconds.stalling) == (3.0, 20.0)
