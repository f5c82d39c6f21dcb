"""Short ways to write score logs down in tests."""

from __future__ import annotations

from typing import Any

from posescore.scoring.log import log_from_json
from posescore.scoring.proposal import Proposal, ProposalKind, Ruling, Tally
from posescore.terms import Athlete

HoldRow = tuple[Any, ...]
"""``(start_s, end_s, position[, upper[, checks]])``."""
EventRow = tuple[Any, ...]
"""``(time_s, event[, athlete])``."""


def log(holds: list[HoldRow], events: list[EventRow] = [], **fields: Any) -> dict[str, Any]:  # noqa: B006
    """A score log as parsed JSON."""
    hold_keys = ("start_s", "end_s", "position", "upper", "checks")
    event_keys = ("time_s", "event", "athlete")
    return {
        "rules": "sport-jiu-jitsu",
        "holds": [
            {k: v for k, v in zip(hold_keys, row, strict=False) if v is not None} for row in holds
        ],
        "events": [dict(zip(event_keys, row, strict=False)) for row in events],
    } | fields


def ruled(holds: list[HoldRow], events: list[EventRow] = [], **fields: Any) -> Ruling:  # noqa: B006
    """What the engine says of a log."""
    return log_from_json(log(holds, events, **fields)).ruling()


def tally(ruling: Ruling, athlete: str = "A") -> tuple[int, int, int]:
    """Points, advantages and penalties."""
    found: Tally = ruling.score[Athlete(athlete)]
    return found.points, found.advantages, found.penalties


def awards(ruling: Ruling) -> list[tuple[float, str, str, int, int]]:
    """Everything but the explanations of nothing: time, athlete, kind, points, advantage."""
    return [
        (round(p.time_s, 3), str(p.athlete), str(p.kind), p.points, p.advantage)
        for p in ruling.proposals
        if p.kind is not ProposalKind.NONE
    ]


def nones(ruling: Ruling) -> list[Proposal]:
    """The explanations of nothing."""
    return [p for p in ruling.proposals if p.kind is ProposalKind.NONE]
