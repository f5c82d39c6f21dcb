"""How a match ended, as the officials have it: a winner and the way, and the scoreboard's score."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from posescore.scoring.proposal import Tally
from posescore.scoring.rules import RuleSet
from posescore.scoring.score import leader
from posescore.terms import Athlete


class WonBy(StrEnum):
    """The ways in which a match ends."""

    POINTS = "points"
    ADVANTAGES = "advantages"
    PENALTIES = "penalties"
    REFEREE = "referee"
    SUBMISSION = "submission"
    DISQUALIFICATION = "disqualification"
    WALKOVER = "walkover"
    INJURY = "injury"
    DRAW = "draw"


@dataclass(frozen=True, slots=True)
class Outcome:
    """Who won and how. ``winner`` is None for a draw; ``submission`` names a submission, or ""."""

    winner: Athlete | None
    by: WonBy
    submission: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """What the scoreboard showed at an instant of footage; None: at the end of the match."""

    at_s: float | None
    score: Mapping[Athlete, Tally]


def outcome_of_score(score: Mapping[Athlete, Tally], rules: RuleSet) -> Outcome | None:
    """Who won by a score; None where it is level, so that only the referee knows."""
    found = leader(score, rules)
    return None if found is None else Outcome(found[0], WonBy(found[1]))
