"""Moments that people keep, and athletes under one name: nothing is lost, nobody is mixed up."""

from __future__ import annotations

from dataclasses import replace

import pytest

from posescore.errors import ConflictError, InputError, NotFoundError
from posescore.library.athletes import change_athletes, teams_of
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Match

Kept = tuple[Library, Match]


def test_moments_are_kept_in_sets_and_go_with_their_match(kept: Kept) -> None:
    library, match = kept
    first = library.keep_moment(match.id, (1.0, 3.0), ["Class  A", "Class A", "B"], "hips", "Kim")
    second = library.keep_moment(match.id, (0.0, 1.0), ["B"], "", "Ann")
    assert first.sets == ("Class A", "B")
    assert library.moments("B") == [first, second]
    assert library.moments("Class A") == [first]
    with pytest.raises(InputError, match="ends after its start"):
        library.keep_moment(match.id, (3.0, 1.0), ["B"], "", "Kim")
    library.forget_moment(first.id)
    with pytest.raises(NotFoundError):
        library.forget_moment(first.id)
    assert library.moments() == [second]
    library.delete_match(match.id)
    assert library.moments() == []


def test_athletes_are_renamed_merged_and_given_a_team(kept: Kept) -> None:
    library, match = kept
    a, b = AthleteInfo("Mira Ostrand", "white"), AthleteInfo("Dana Kern", "blue")
    library.update_match(
        match.id, replace(match.info, title="Mira Ostrand v Dana Kern", athlete_a=a, athlete_b=b)
    )
    other = library.add_match(
        replace(match.info, title="Final", athlete_a=AthleteInfo("M. Ostrand"), footage=None)
    )
    assert (
        change_athletes(library, ["mira  ostrand", "M. Ostrand"], "Mira Öst", "Harbour Hall") == 2
    )
    assert library.match(match.id).info.title == "Mira Öst v Dana Kern"
    assert library.match(match.id).info.athlete_a == AthleteInfo(
        "Mira Öst", "white", team="Harbour Hall"
    )
    assert library.match(other.id).info.athlete_a.name == "Mira Öst"
    assert teams_of(library) == {"mira öst": "Harbour Hall"}
    assert [found.id for found in library.matches("harbour")] == [other.id, match.id]
    with pytest.raises(ConflictError, match="two people"):
        change_athletes(library, ["Mira Öst", "Dana Kern"], "Dana Kern")
    assert library.match(match.id).info.athlete_a.name == "Mira Öst", "nothing is changed then"
    with pytest.raises(InputError):
        change_athletes(library, [], "Nobody")
