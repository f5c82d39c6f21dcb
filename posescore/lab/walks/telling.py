"""What a walked match earns, and its truth as a file in the form of the sample match's."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from posescore.lab.walks.making import SCRAMBLE
from posescore.lab.walks.motion import FPS
from posescore.lab.walks.walking import WalkedMatch
from posescore.scoring.engine import propose
from posescore.scoring.log import MatchLog, log_to_json
from posescore.scoring.proposal import Proposal, ProposalKind, Ruling
from posescore.scoring.rules import RuleSet
from posescore.terms import STATES

EARNED = frozenset(
    {
        ProposalKind.TAKEDOWN, ProposalKind.SWEEP, ProposalKind.GUARD_PASS,
        ProposalKind.KNEE_ON_BELLY, ProposalKind.MOUNT, ProposalKind.BACK_MOUNT,
        ProposalKind.BACK_CONTROL,
    }
)  # fmt: skip


def ruling_of(match: WalkedMatch, rules: RuleSet | None = None) -> Ruling:
    """What the engine says of the true holds, checks and events."""
    end_s = len(match.state) / FPS
    return propose(match.holds, match.events, rules or RuleSet.load(), end_s=end_s)


def truth_json(match: WalkedMatch, rules: RuleSet | None = None) -> dict[str, Any]:
    """The truth as plain data: states, holds, events, awards, and what was none, and why."""
    rules = rules or RuleSet.load()
    ruling = ruling_of(match, rules)
    log = log_to_json(MatchLog(rules, None, match.holds, match.events))
    n = len(match.state)
    return {
        "version": 1,
        "about": "Walked and invented: no real person, event or match.",
        "rules": rules.name,
        "duration_s": round(n / FPS, 3),
        "frames_per_s": FPS,
        "n_frames": n,
        "states": _states(match),
        "holds": log["holds"],
        "events": log["events"],
        "awards": [_award(p) for p in ruling.proposals if p.points and p.kind in EARNED],
        "nothings": [_nothing(p) for p in ruling.proposals if not p.points and p.would_be],
        "moves": [
            {"start_s": round(m.start_s, 3), "end_s": round(m.end_s, 3), "kind": m.kind,
             "athlete": None if m.athlete is None else str(m.athlete)}
            for m in match.moves
        ],
    }  # fmt: skip


def _states(match: WalkedMatch) -> list[dict[str, Any]]:
    """Stretches of one state that tile the match; unclear bands belong to the scramble."""
    state = match.state.copy()
    state[state < 0] = SCRAMBLE
    edges = [0, *(k for k in range(1, len(state)) if state[k] != state[k - 1]), len(state)]
    rows = []
    for a, b in pairwise(edges):
        there = STATES[state[a]]
        row: dict[str, Any] = {
            "start_s": round(a / FPS, 3), "end_s": round(b / FPS, 3),
            "position": str(there.position),
        }  # fmt: skip
        if there.upper is not None:
            row["upper"] = str(there.upper)
        rows.append(row)
    return rows


def _award(proposal: Proposal) -> dict[str, Any]:
    return {
        "time_s": round(proposal.time_s, 3), "athlete": str(proposal.athlete),
        "kind": str(proposal.kind), "points": proposal.points, "clause": proposal.clause,
        "why": proposal.why,
    }  # fmt: skip


def failed_criterion(proposal: Proposal) -> str | None:
    """The check or the words of the criterion that failed, None where none is named."""
    failed = [c for c in proposal.criteria if c.met is False]
    return None if not failed else failed[-1].check or failed[-1].name


def _nothing(proposal: Proposal) -> dict[str, Any]:
    return {
        "time_s": round(proposal.time_s, 3),
        "start_s": round(proposal.evidence.start_s, 3), "end_s": round(proposal.evidence.end_s, 3),
        "athlete": str(proposal.athlete), "would_be": str(proposal.would_be),
        "failed_criterion": failed_criterion(proposal), "advantage": proposal.advantage,
        "clause": proposal.clause, "why": proposal.why,
    }  # fmt: skip
