"""A lesson's lines, each in two sentences for someone who has never trained."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

from posescore.export.evidence import look_at
from posescore.export.rows import LogLine, speak
from posescore.export.summary import summary_of
from posescore.export.words import PLAIN, kind_of, missing_criteria, why_of
from posescore.library.library import Library
from posescore.library.review.review import Verdict
from posescore.scoring.proposal import Criterion, Proposal, ProposalKind
from posescore.terms import Athlete


def lesson_lines(
    library: Library, match_id: int, proposed: bool = True, opinion: str = ""
) -> list[LogLine]:
    """Awards and near misses in the order of their frames; what people dismissed is left out."""
    review = library.review(match_id, opinion)
    summary = summary_of(review, library.match(match_id))
    lines = {x.number: x for x in (*summary.awards, *summary.proposed, *summary.near)}
    told = [lines[number] for number in sorted(lines) if _shown(lines[number], proposed)]
    return sorted(told, key=lambda line: look_at(line.item, review).frame_index)


def _shown(line: LogLine, proposed: bool) -> bool:
    decision = line.item.decision
    return proposed if decision is None else decision.verdict is not Verdict.DISMISSED


_SHARE: Final = re.compile(r" \(seen so \d+ ?% of the time\)")
"""How much of the time it was seen: more than a sentence for parents should carry."""


_HELD: Final = "held for "


def two_sentences(line: LogLine, names: Mapping[Athlete, str]) -> tuple[str, str]:
    """What happened, and what it is worth and why, for someone who has never trained."""
    shown = line.item.shown
    kind = kind_of(shown)
    who = names[shown.athlete] if shown.athlete else "Somebody"
    nearly = "nearly " if shown.kind is ProposalKind.NEAR else ""
    if shown.kind is ProposalKind.NONE:
        what = f"What {who} did looks like a {speak(kind)}."
    else:
        what = f"{who} {nearly}{PLAIN[kind]}; the trade calls it {speak(kind)}."
    return what, _worth(line, shown, names)


def _worth(line: LogLine, shown: Proposal, names: Mapping[Athlete, str]) -> str:
    decision = line.item.decision
    if decision is not None and decision.verdict is Verdict.DISMISSED:
        return f"It does not stand: {decision.author} dismissed it{_as_a_part(decision.reason)}."
    if shown.points:
        held = "Held for three seconds, it" if _was_held(shown) else "It"
        worth = f"{held} is worth {shown.points} points"
    elif shown.kind is ProposalKind.PENALTY:
        worth = "It counts as a penalty"
    else:
        worth = "It is worth an advantage, no points" if shown.advantage else "It is worth nothing"
        missing = missing_criteria(shown, names)
        if missing:
            worth += f", because {_because(missing[0])}"
        elif shown.why:
            worth += f": {why_of(line, names).rstrip('.')}"
    said = "nobody has confirmed it" if decision is None else f"{decision.author} decided so"
    return f"{worth}; {said}."


def _because(missing: Criterion) -> str:
    """What kept it from being points: too short, a criterion not met, or the way there."""
    seen = _SHARE.sub("", missing.seen)
    if missing.name.startswith(_HELD):
        return f"it was {seen}, not for {missing.name.removeprefix(_HELD)}"
    if missing.check:
        return f"one thing is missing: {missing.name} (seen instead: {seen})"
    return seen


def _as_a_part(reason: str) -> str:
    """A person's own words inside a sentence of ours."""
    said = reason.strip().rstrip(".")
    return f" (\u201c{said}\u201d)" if said else ""


def _was_held(shown: Proposal) -> bool:
    return any(each.met and each.name.startswith(_HELD) for each in shown.criteria)
