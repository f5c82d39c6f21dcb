"""How long a match lasts: by age class and belt."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Self

from posescore.errors import InputError
from posescore.reading import Reader, listed


class Belt(StrEnum):
    """Colours of belts, children's too."""

    WHITE = "white"
    GREY = "grey"
    YELLOW = "yellow"
    ORANGE = "orange"
    GREEN = "green"
    BLUE = "blue"
    PURPLE = "purple"
    BROWN = "brown"
    BLACK = "black"


@dataclass(frozen=True, slots=True)
class Division:
    """Age class and belt of a match; the belt is None where nobody said it."""

    age: str
    belt: Belt | None = None

    def to_json(self) -> dict[str, str]:
        """As a score log writes it."""
        return {"age": self.age} | ({} if self.belt is None else {"belt": str(self.belt)})


@dataclass(frozen=True, slots=True)
class MatchTimes:
    """Minutes of a match by age class, or by belt within it where that matters."""

    minutes: Mapping[str, int | Mapping[Belt, int]]

    @classmethod
    def read(cls, top: Reader) -> Self:
        """From the table ``match_minutes`` of a rule set."""
        minutes: dict[str, int | Mapping[Belt, int]] = {}
        for age, entry in top.at("match_minutes").children().items():
            if isinstance(entry.value, Mapping):
                entry.only(Belt, "a belt")
                by_belt = entry.children().items()
                minutes[age] = {Belt(belt): value.whole(1) for belt, value in by_belt}
            else:
                minutes[age] = entry.whole(1)
        return cls(minutes)

    def division(self, age: str, belt: str | None = None) -> Division:
        """The division of these words; ``master_2``, ``Master 2`` and ``master2`` are one class.

        Raises
        ------
        InputError
            When there is no such age class or belt.
        """
        known = {_plain(name): name for name in self.minutes}
        if _plain(age) not in known:
            raise InputError(f"{age!r} is not an age class; use one of {listed(self.minutes)}.")
        name = known[_plain(age)]
        if belt is None:
            return Division(name)
        if belt.lower() not in list(Belt):
            raise InputError(f"{belt!r} is not a belt; use one of {listed(Belt)}.")
        found = Belt(belt.lower())
        allowed = self.minutes[name]
        if isinstance(allowed, Mapping) and found not in allowed:
            raise InputError(f"{name} has no {found} belt; use one of {listed(allowed)}.")
        return Division(name, found)

    def match_s(self, division: Division) -> float | None:
        """Seconds of match time; None where the belt decides and nobody said it."""
        minutes = self.minutes[division.age]
        if not isinstance(minutes, Mapping):
            return minutes * 60.0
        return None if division.belt is None else minutes[division.belt] * 60.0


def _plain(words: str) -> str:
    return re.sub(r"[\s_]+|years?$|-years?$", "", words.strip().lower())
