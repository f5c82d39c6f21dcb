"""An athlete across the matches of a library, from what people confirmed.

Points count only where a person let them stand. Positions and how long they took come from the
holds of those matches, as people left them.

- **Points lost**: the opponents' confirmed points, by the position that the athlete was in just
  before the position that scored.
- **Time to stabilise**: seconds from the end of the position before to the points: the scramble
  and the seconds that count, and whatever was lost and regained on the way.
- **Conversion**: of the confirmed takedowns that landed in guard, of the guard passes and of the
  mounts: how many were followed by the next step in the same match before the opponent scored.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass, field
from statistics import mean
from typing import Any, Final

from posescore.errors import InputError, NotFoundError
from posescore.export.rows import ROUNDING_S
from posescore.export.tables import csv_text
from posescore.holds.event import EventName
from posescore.holds.hold import Hold
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.review import Review
from posescore.library.store.plain import utf8
from posescore.scoring.proposal import Proposal, ProposalKind
from posescore.terms import GUARDS, Athlete, Position

FORMAT: Final = "posescore-athlete"
VERSION: Final = 1
STEPS: Final = (
    (ProposalKind.TAKEDOWN, (ProposalKind.GUARD_PASS,)),
    (ProposalKind.GUARD_PASS, (ProposalKind.MOUNT, ProposalKind.BACK_MOUNT)),
    (ProposalKind.MOUNT, ()),
)
"""A step, and what converts it; an empty tuple stands for a submission of the opponent."""


@dataclass(frozen=True, slots=True)
class MatchLine:
    """One match of the athlete: confirmed numbers alone.

    ``result`` is won, lost, level or open: open while the match has no result.
    """

    match_id: int
    title: str
    event: str
    held_on: str
    athlete: Athlete
    opponent: str
    points_for: int
    points_against: int
    advantages_for: int
    advantages_against: int
    penalties: int
    result: str
    undecided: int


@dataclass(slots=True)
class Across:
    """Everything about one athlete across matches, added up match by match.

    Parameters
    ----------
    matches
        In the order of their days, those without one first.
    points_for, points_against
        Confirmed points by kind.
    lost_from
        Points of the opponents by the position that the athlete was in before.
    stabilised
        By kind: the seconds that each award took.
    tried, made
        How often each step was taken, and how often it led to the next.
    """

    name: str
    matches: list[MatchLine] = field(default_factory=list)
    points_for: Counter[str] = field(default_factory=Counter)
    points_against: Counter[str] = field(default_factory=Counter)
    lost_from: Counter[str] = field(default_factory=Counter)
    stabilised: dict[str, list[float]] = field(default_factory=dict)
    tried: Counter[ProposalKind] = field(default_factory=Counter)
    made: Counter[ProposalKind] = field(default_factory=Counter)

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """All of it as named tables, each a list of rows with the same columns."""
        kinds = sorted({*self.points_for, *self.points_against})
        rows: dict[str, Iterable[Sequence[Any]]] = {
            "matches": map(astuple, self.matches),
            "points": [(kind, self.points_for[kind], self.points_against[kind]) for kind in kinds],
            "lost_from": self.lost_from.most_common(),
            "stabilise": [
                (kind, len(each), round(mean(each), 2))
                for kind, each in sorted(self.stabilised.items())
            ],
            "conversions": [
                (str(step), " or ".join(to) or "submission", self.tried[step], self.made[step])
                for step, to in STEPS
            ],
            "trend": self._trend(),
        }
        return {
            name: [dict(zip(COLUMNS[name], row, strict=True)) for row in rows[name]]
            for name in rows
        }

    def _trend(self) -> list[tuple[Any, ...]]:
        """Points for and against by event, in the order of the first match of each."""
        events: dict[tuple[str, str], list[MatchLine]] = {}
        for line in self.matches:
            events.setdefault((line.held_on, line.event), []).append(line)
        return [
            (
                *event,
                len(lines),
                sum(line.result == "won" for line in lines),
                sum(line.points_for for line in lines),
                sum(line.points_against for line in lines),
            )
            for event, lines in events.items()
        ]


def across_matches(library: Library, name: str) -> Across:
    """Everything about the athlete of that name (case and outer blanks do not matter).

    Raises
    ------
    NotFoundError
        When no analysed match of the library has an athlete of that name.
    """
    wanted = _folded(name)
    if not wanted:
        raise InputError("name: give the athlete's name as the matches have it.")
    across = Across(name.strip())
    for match in sorted(library.matches(), key=lambda m: (str(m.info.held_on or ""), m.id)):
        athlete = next((a for a in Athlete if _folded(match.info.athlete(a).name) == wanted), None)
        if athlete is None or match.analysis_version is None:
            continue
        across.name = match.info.athlete(athlete).name.strip()
        add_match(across, library.review(match.id), match, athlete)
    if not across.matches:
        raise NotFoundError(
            f"no analysed match has an athlete named {across.name!r}: check the spelling."
        )
    return across


def athletes_of(library: Library) -> dict[str, int]:
    """Names of all athletes in analysed matches, each as spelled last, and their matches."""
    spelled: dict[str, str] = {}
    counted: Counter[str] = Counter()
    for match in sorted(library.matches(), key=lambda m: m.id):
        for athlete in Athlete if match.analysis_version is not None else ():
            name = match.info.athlete(athlete).name.strip()
            if name:
                spelled[_folded(name)] = name
                counted[_folded(name)] += 1
    return {spelled[folded]: counted[folded] for folded in sorted(spelled)}


def _folded(name: str) -> str:
    return " ".join(name.split()).casefold()


def add_match(across: Across, review: Review, match: Match, athlete: Athlete) -> None:
    """Add what one athlete did in one match."""
    across.matches.append(_match_line(review, match, athlete))
    awards = review.counted
    for award in awards:
        if not award.points or award.kind is ProposalKind.PENALTY or award.athlete is None:
            continue
        kind, before = str(award.kind), hold_before(review, award)
        if award.athlete is not athlete:
            across.points_against[kind] += award.points
            across.lost_from[position_before(review, award)] += award.points
            continue
        across.points_for[kind] += award.points
        if before is not None:
            across.stabilised.setdefault(kind, []).append(award.time_s - before.end_s)
    for who, points in ((athlete, across.points_for), (athlete.other, across.points_against)):
        from_penalties = _penalty_points(review, awards, who)
        if from_penalties:
            points[str(ProposalKind.PENALTY)] += from_penalties
    _count_steps(across, sorted(awards, key=lambda award: award.time_s), review, athlete)


def _penalty_points(review: Review, awards: Iterable[Proposal], who: Athlete) -> int:
    """What the opponent's penalties gave: they count by their marks, not by any award."""
    scored = (a.points for a in awards if a.athlete is who and a.kind is not ProposalKind.PENALTY)
    return review.confirmed_score[who].points - sum(scored)


def hold_before(review: Review, award: Proposal) -> Hold | None:
    """The last position, scramble left out, that had ended when the scoring position began."""
    starts_s = award.evidence.start_s + ROUNDING_S
    ended = [
        held.hold
        for held in review.holds
        if held.hold.position is not Position.SCRAMBLE and held.hold.end_s <= starts_s
    ]
    return max(ended, key=lambda hold: hold.end_s, default=None)


def position_before(review: Review, award: Proposal) -> str:
    """Where the one was who was scored on: ``closed_guard bottom``, ``standing``, ``unknown``."""
    before = hold_before(review, award)
    if before is None or award.athlete is None:
        return "unknown"
    if before.upper is None:
        return str(before.position)
    return f"{before.position} {'bottom' if before.upper is award.athlete else 'top'}"


def _count_steps(
    across: Across, awards: Sequence[Proposal], review: Review, athlete: Athlete
) -> None:
    taps_s = [
        marked.event.time_s
        for marked in review.events
        if marked.event.event is EventName.TAP
        and marked.event.athlete is athlete.other
        and marked.entry_id is not None
    ]
    for step, to in STEPS:
        for award in awards:
            if award.kind is not step or award.athlete is not athlete or not award.points:
                continue
            if step is ProposalKind.TAKEDOWN and not _in_guard(review, award):
                continue
            across.tried[step] += 1
            across.made[step] += _converted(award, to, awards, taps_s)


def _in_guard(review: Review, award: Proposal) -> bool:
    """Whether a takedown landed in guard, so that there was something to pass."""
    at_s = award.evidence.start_s + ROUNDING_S
    return any(
        held.hold.position in GUARDS and held.hold.interval.contains(at_s) for held in review.holds
    )


def _converted(
    award: Proposal, to: Sequence[ProposalKind], awards: Iterable[Proposal], taps_s: Sequence[float]
) -> bool:
    """Whether the next step came before the opponent scored; a chain may end at one instant."""
    later = [each for each in awards if each is not award and each.time_s >= award.time_s]
    answers = (each.time_s for each in later if each.points and each.athlete is not award.athlete)
    until_s = min(answers, default=float("inf"))
    mine = (each for each in later if each.athlete is award.athlete and each.kind in to)
    steps_s = [each.time_s for each in mine if each.points]
    if not to:
        steps_s = [time_s for time_s in taps_s if time_s >= award.time_s]
    return min(steps_s, default=float("inf")) < until_s


def _match_line(review: Review, match: Match, athlete: Athlete) -> MatchLine:
    mine, theirs = review.confirmed_score[athlete], review.confirmed_score[athlete.other]
    info = match.info
    return MatchLine(
        match.id,
        info.title,
        info.event,
        str(info.held_on or ""),
        athlete,
        info.name_of(athlete.other),
        mine.points,
        theirs.points,
        mine.advantages,
        theirs.advantages,
        mine.penalties,
        _result(review, athlete),
        len(review.undecided),
    )


def _result(review: Review, athlete: Athlete) -> str:
    result = review.result
    if result is None:
        return "open"
    if result.winner is None:
        return "level"
    return "won" if result.winner is athlete else "lost"


def across_json(across: Across) -> str:
    """The tables as one JSON object."""
    data = {"format": FORMAT, "version": VERSION, "athlete": across.name, **across.tables()}
    return utf8(json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False)) + "\n"


def across_csv(across: Across, table: str) -> str:
    """One of the tables as CSV.

    Raises
    ------
    InputError
        When there is no such table.
    """
    tables = across.tables()
    if table not in tables:
        raise InputError(f"table: {table!r} is not one of {', '.join(tables)}.")
    return csv_text(COLUMNS[table], (list(row.values()) for row in tables[table]))


COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "matches": tuple(MatchLine.__dataclass_fields__),
    "points": ("kind", "points_for", "points_against"),
    "lost_from": ("position", "points_against"),
    "stabilise": ("kind", "awards", "mean_seconds"),
    "conversions": ("step", "to", "tried", "made"),
    "trend": ("held_on", "event", "matches", "won", "points_for", "points_against"),
}
"""Columns of each table."""
