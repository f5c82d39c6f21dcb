"""A match as the library knows it: who, where, when, which footage, under which rules."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Final

from posescore.errors import InputError
from posescore.terms import Athlete

DEFAULT_RULES: Final = "sport-jiu-jitsu"
"""Rule set of a match for which nobody chose one."""


@dataclass(frozen=True, slots=True)
class AthleteInfo:
    """What tells one athlete from the other, and the team. Everything may stay empty."""

    name: str = ""
    gi_colour: str = ""
    belt: str = ""
    team: str = ""


@dataclass(frozen=True, slots=True)
class Footage:
    """The original footage: named and recognised, never copied.

    Parameters
    ----------
    path
        Where it lay when it was added.
    sha256
        Hash of the whole file, lower-case hex; recognises it after a move.
    size_bytes
        Size of the file.
    duration_s
        Length in seconds; None while unknown.
    """

    path: str
    sha256: str
    size_bytes: int
    duration_s: float | None = None


@dataclass(frozen=True, slots=True)
class MatchInfo:
    """Everything a person may say of a match apart from its scoring.

    Parameters
    ----------
    title
        Shown in lists. Must not be blank.
    athlete_a, athlete_b
        Who holds the two slots.
    event, mat
        Competition and mat, free text.
    held_on
        The day of the match; None where unknown.
    division
        As the score log writes it, such as ``{"age": "adult", "belt": "blue"}``; sets the
        match time.
    rules
        Name of the rule set the match is added under; later changes are part of the log.
    footage
        The original; None for a match known from its score log alone.
    note
        Free text.
    """

    title: str
    athlete_a: AthleteInfo = AthleteInfo()
    athlete_b: AthleteInfo = AthleteInfo()
    event: str = ""
    mat: str = ""
    held_on: date | None = None
    division: Mapping[str, str] | None = None
    rules: str = DEFAULT_RULES
    footage: Footage | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if not self.title.strip():
            raise InputError("title: a match needs one; give the file's name if nothing else.")

    def athlete(self, athlete: Athlete) -> AthleteInfo:
        """Who holds that slot."""
        return self.athlete_a if athlete is Athlete.A else self.athlete_b

    @property
    def names(self) -> dict[Athlete, str]:
        """Both names for people to read."""
        return {athlete: self.name_of(athlete) for athlete in Athlete}

    def name_of(self, athlete: Athlete) -> str:
        """Name for people to read: the athlete's, else the gi colour, else the letter."""
        who = self.athlete(athlete)
        if who.name:
            return who.name
        return f"{athlete} ({who.gi_colour})" if who.gi_colour else str(athlete)


@dataclass(frozen=True, slots=True)
class Match:
    """A match in the library.

    Parameters
    ----------
    id
        Number of the match, never used twice.
    info
        What people say of it.
    folder
        Where everything made from it lies: track, probabilities, proxy.
    added_at, changed_at
        UTC. ``changed_at`` moves with every edit, too.
    analysis_version
        The newest analysis, counted from 1; None before the first.
    entries
        How many entries the log of what people did holds.
    damage
        Where the library's row of it cannot be read: what is damaged, in a sentence. Then the
        title is a stand-in; "" for a sound match.
    """

    id: int
    info: MatchInfo
    folder: Path = field(compare=False)
    added_at: datetime
    changed_at: datetime
    analysis_version: int | None = None
    entries: int = 0
    damage: str = ""

    @property
    def proxy_path(self) -> Path:
        """Where the copy that browsers can play lies, or would lie."""
        return self.folder / "proxy.mp4"
