"""What stands somewhere in a match, in words with fields for names: a line, holds, an event.

For the history of a match and for an edit that met something else than its author had seen.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from posescore.library.review.entries import ReviewHold
from posescore.scoring.outcome import Outcome
from posescore.scoring.proposal import Proposal, Tally
from posescore.terms import Athlete
from posescore.words import WORDS, clock_words, counted, name_field, state_words, trade


def spoken(proposal: Proposal) -> str:
    """Say "guard pass, 3 points"."""
    kind = trade(proposal.would_be or proposal.kind)
    if proposal.points:
        return f"{kind}, {counted(proposal.points, 'point')}"
    if proposal.advantage:
        return kind if proposal.would_be is None else f"{kind}, an advantage"
    return kind if proposal.kind == "penalty" else f"{kind}, no points"


def spoken_for(proposal: Proposal) -> str:
    """Say "guard pass, 3 points, {A}, 0:17.0"."""
    who = name_field(proposal.athlete) if proposal.athlete else WORDS["stands"]["nobody"]
    return f"{spoken(proposal)}, {who}, {clock_words(proposal.time_s)}"


def line_words(seen: Proposal | None, verdict: str, award: Proposal | None, reason: str) -> str:
    """What stands in a line: only proposed, or what a person said of it."""
    words = WORDS["stands"]
    if not verdict:
        return words["proposed"].format(what=spoken_for(seen)) if seen else str(words["nothing"])
    shown = award or seen
    assert shown is not None
    said = words[verdict].format(what=spoken_for(shown))
    return f"{said} (\u201c{reason}\u201d)" if reason.strip() else str(said)


def holds_words(holds: Iterable[ReviewHold]) -> str:
    """Say "mount, {A} on top, 0:26.0 to 0:30.5; ..."."""
    words = WORDS["stands"]
    each = [
        words["hold"].format(
            what=state_words(held.hold.state),
            start=clock_words(held.hold.start_s),
            end=clock_words(held.hold.end_s),
        )
        for held in holds
    ]
    return "; ".join(each) or str(words["no_hold"])


def outcome_words(outcome: Outcome | None) -> str:
    """Say "{A} wins by submission (armbar)."; a sentence with fields for names."""
    words = WORDS["outcome"]
    if outcome is None:
        return str(words["none"])
    if outcome.winner is None:
        return str(words["draw"])
    by = WORDS["won_by"][outcome.by]
    named = f" ({outcome.submission})" if outcome.submission else ""
    return str(words["won"].format(who=name_field(outcome.winner), by=f"{by}{named}"))


def score_words(score: Mapping[Athlete, Tally]) -> str:
    """Say "5 to 2, advantages 1 to 0, penalties 0 to 1"; what both lack is left out."""
    words, (a, b) = WORDS["score"], (score[Athlete.A], score[Athlete.B])
    parts = [words["points"].format(a=a.points, b=b.points)]
    for name, mine, theirs in (
        ("advantages", a.advantages, b.advantages),
        ("penalties", a.penalties, b.penalties),
    ):
        if mine or theirs:
            parts.append(words[name].format(a=mine, b=theirs))
    return ", ".join(parts)
