"""What stands in a match at a glance: kept, so that a list of hundreds replays no logs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from sqlalchemy import Connection, select
from sqlalchemy.dialects.sqlite import insert

from posescore import __version__
from posescore.errors import PoseScoreError
from posescore.library.match import Match
from posescore.library.review.review import Review
from posescore.library.store.plain import from_plain, to_plain
from posescore.library.store.schema import MATCH, STANDING
from posescore.terms import Athlete

_FORMAT: Final = 2
"""Rises when a standing holds something new."""
_KNOWN_IDS: Final = select(MATCH.c.id)


@dataclass(frozen=True, slots=True)
class Standing:
    """The shared review of an analysed match, summed up.

    Parameters
    ----------
    rules, division
        In force now: those the match was added with, or what a person chose later.
    waiting, total
        Proposals that nobody has decided yet, and all of them.
    points
        Confirmed points of both athletes.
    trouble
        Why there is no review, in a sentence; "" where there is one.
    doubt
        Why the footage should be read again, in a sentence; "" where nothing speaks for it.
    touched
        True where a person did anything to the match: who proposes nothing has settled nothing.
    behind_end
        Confirmed lines that lie behind the end of the match and ask for a word.
    """

    rules: str
    division: Mapping[str, str] | None
    waiting: int = 0
    total: int = 0
    points: Mapping[Athlete, int] = field(default_factory=dict)
    trouble: str = ""
    doubt: str = ""
    touched: bool = False
    behind_end: int = 0

    @classmethod
    def of(cls, review: Review, doubt: str = "") -> Standing:
        """Of a review."""
        score = review.confirmed_score
        return cls(
            review.rules,
            review.division,
            len(review.undecided),
            len(review.items),
            {athlete: score[athlete].points if athlete in score else 0 for athlete in Athlete},
            doubt=doubt,
            touched=bool(review.entries),
            behind_end=len(review.behind_end),
        )

    @classmethod
    def without_review(cls, match: Match, trouble: str) -> Standing:
        """Of a match whose review cannot be made."""
        return cls(match.info.rules, match.info.division, trouble=trouble)

    @property
    def lasts(self) -> bool:
        """True where it may be kept: a rule set in a file of a person's own may change any time."""
        return not self.trouble and not self.rules.endswith(".toml")


def basis_of(match: Match) -> str:
    """Everything that a standing depends on, as text; while that is the same, the standing is."""
    info = match.info
    division = dict(info.division) if info.division else None
    parts = [_FORMAT, __version__, match.analysis_version, match.entries, info.rules, division]
    return json.dumps(parts, sort_keys=True)


def read_standings(connection: Connection) -> dict[int, tuple[str, str]]:
    """Basis and content of every kept standing, by match."""
    rows = connection.execute(select(STANDING))
    return {row.match_id: (row.basis, row.content) for row in rows}


def standing_from(content: str) -> Standing | None:
    """Inverse of what :func:`write_standings` keeps; None where it cannot be read: make it anew."""
    try:
        return from_plain(Standing, json.loads(content), "standing")
    except (PoseScoreError, TypeError, ValueError, RecursionError):
        return None


def write_standings(connection: Connection, made: Iterable[tuple[Match, Standing]]) -> None:
    """Keep standings in place of older ones; a match deleted meanwhile is passed over."""
    known = set(connection.execute(_KNOWN_IDS).scalars())
    for match, standing in made:
        if match.id not in known:
            continue
        values = {"basis": basis_of(match), "content": json.dumps(to_plain(standing))}
        row = insert(STANDING).values(match_id=match.id, **values)
        connection.execute(row.on_conflict_do_update(index_elements=["match_id"], set_=values))
