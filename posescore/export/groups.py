"""A team or an event across its matches: standings, points won and lost, what waits."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from posescore.errors import NotFoundError
from posescore.export.across import Across, MatchLine, add_match
from posescore.export.across_page import position_words
from posescore.export.page import page
from posescore.library.athletes import folded
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.terms import Athlete
from posescore.words import capital, phrase, trade


@dataclass(slots=True)
class Group:
    """A team or an event.

    Parameters
    ----------
    members
        Every athlete of it with what they did in its matches.
    total
        All of them together.
    waiting
        Lines that nobody decided yet, by match.
    matches
        Its analysed matches, by their day.
    unanalysed
        Matches of it that were not analysed.
    """

    name: str
    members: dict[str, Across] = field(default_factory=dict)
    total: Across = field(default_factory=lambda: Across(""))
    waiting: Counter[int] = field(default_factory=Counter)
    matches: list[Match] = field(default_factory=list)
    unanalysed: list[Match] = field(default_factory=list)

    def standings(self) -> list[tuple[str, Counter[str], int, int]]:
        """Athletes with their results and points for and against, the best first."""
        rows = [
            (
                across.name,
                Counter(line.result for line in across.matches),
                sum(line.points_for for line in across.matches),
                sum(line.points_against for line in across.matches),
            )
            for across in self.members.values()
        ]
        return sorted(
            rows, key=lambda row: (-row[1]["won"], row[1]["lost"], row[3] - row[2], row[0])
        )


def team_of(library: Library, name: str) -> Group:
    """All matches in which somebody of a team stood; NotFoundError where nobody did."""
    wanted = folded(name)
    chosen = [
        (match, [a for a in Athlete if folded(match.info.athlete(a).team) == wanted])
        for match in library.matches()
    ]
    return _group(library, name, [(match, athletes) for match, athletes in chosen if athletes])


def event_of(library: Library, name: str) -> Group:
    """All matches of an event; NotFoundError where there is none."""
    wanted = folded(name)
    chosen = [(m, list(Athlete)) for m in library.matches() if folded(m.info.event) == wanted]
    return _group(library, name, chosen)


def _group(library: Library, name: str, chosen: Sequence[tuple[Match, Sequence[Athlete]]]) -> Group:
    if not chosen or not folded(name):
        raise NotFoundError(f"no match is of {name!r}: check the spelling.")
    group = Group(name)
    for match, athletes in sorted(
        chosen, key=lambda each: (str(each[0].info.held_on or ""), each[0].id)
    ):
        if match.analysis_version is None:
            group.unanalysed.append(match)
            continue
        review = library.review(match.id)
        group.matches.append(match)
        group.waiting[match.id] = len(review.undecided)
        for athlete in athletes:
            shown = match.info.name_of(athlete)
            member = group.members.setdefault(folded(shown), Across(shown))
            for across in (member, group.total):
                add_match(across, review, match, athlete)
    return group


def group_html(group: Group, heading: str) -> str:
    """The page of a team or an event."""
    scored = [
        (capital(trade(kind)), points) for kind, points in group.total.points_for.most_common()
    ]
    lost = [
        (position_words(where), points) for where, points in group.total.lost_from.most_common()
    ]
    return page(
        "group.html",
        heading=heading,
        info={"title": group.name},
        group=group,
        standings=group.standings(),
        scored=scored,
        lost=lost,
        lines=_lines(group.total.matches),
        waiting=sum(group.waiting.values()),
        results=("won", "lost", "level", "open"),
        most=max([points for _, points in (*scored, *lost)], default=0),
        next_match=next((m.id for m in group.matches if group.waiting[m.id]), None),
        all_matches=phrase("All matches"),
    )


def _lines(lines: Iterable[MatchLine]) -> dict[int, MatchLine]:
    """One line of every match."""
    return {line.match_id: line for line in reversed(list(lines))}
