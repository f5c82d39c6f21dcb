"""One athlete under one name, in every match: renamed, merged, given a team."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from posescore.errors import ConflictError, InputError
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Match, MatchInfo
from posescore.terms import Athlete


def folded(name: str) -> str:
    """A name as it is compared: case and blanks do not matter."""
    return " ".join(name.split()).casefold()


def change_athletes(
    library: Library, names: Iterable[str], name: str = "", team: str | None = None
) -> int:
    """Give athletes one name, a team, or both, wherever they stand; how many matches changed.

    Parameters
    ----------
    names
        As the matches have them. Several become one athlete under ``name``.
    name
        The new name; "" leaves each as it is.
    team
        The team; "" takes it away, None leaves it as it is.

    Raises
    ------
    InputError
        When nobody is named, or nothing is to change.
    ConflictError
        When two who met in one match would become one; nothing is changed then.
    """
    wanted, new = {folded(each) for each in names} - {""}, " ".join(name.split())
    if not wanted:
        raise InputError("names: choose at least one athlete.")
    if not new and team is None:
        raise InputError("name: write a new name or a team.")
    changed = [(match, _changed(match, wanted, new, team)) for match in library.matches()]
    for match, info in changed:
        met = folded(info.athlete_a.name), folded(info.athlete_b.name)
        if met[0] == met[1] != "" and info != match.info:
            raise ConflictError(
                f"both athletes of {match.info.title} would be {info.athlete_a.name}: they met, so "
                "they are two people."
            )
    new_infos = [(match.id, info) for match, info in changed if info != match.info]
    for match_id, info in new_infos:
        library.update_match(match_id, info)
    return len(new_infos)


def _changed(match: Match, wanted: set[str], name: str, team: str | None) -> MatchInfo:
    info, title = match.info, match.info.title
    made: dict[Athlete, AthleteInfo] = {}
    for athlete in Athlete:
        who = made[athlete] = info.athlete(athlete)
        if folded(who.name) not in wanted:
            continue
        if name:
            title = re.sub(rf"(?<!\w){re.escape(who.name)}(?!\w)", lambda _: name, title)
        made[athlete] = replace(
            who, name=name or who.name, team=who.team if team is None else " ".join(team.split())
        )
    return replace(info, title=title, athlete_a=made[Athlete.A], athlete_b=made[Athlete.B])


def teams_of(library: Library) -> dict[str, str]:
    """The team of every athlete who has one, by the folded name."""
    return {
        folded(who.name): who.team
        for match in library.matches()
        for who in (match.info.athlete_a, match.info.athlete_b)
        if who.name and who.team
    }
