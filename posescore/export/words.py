"""What happened, in words for someone who has never trained, with the trade's term beside them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from posescore.export.rows import LogLine, speak, worth
from posescore.library.review.review import Review
from posescore.scoring.proposal import Criterion, Proposal, ProposalKind, Result, Tally
from posescore.terms import Athlete

PLAIN: Final[Mapping[ProposalKind, str]] = {
    ProposalKind.TAKEDOWN: "brought the opponent from standing to the mat",
    ProposalKind.SWEEP: "turned the opponent over from underneath",
    ProposalKind.GUARD_PASS: "got past the opponent's legs",
    ProposalKind.KNEE_ON_BELLY: "put a knee on the opponent's torso",
    ProposalKind.MOUNT: "sat astride the opponent's torso",
    ProposalKind.BACK_MOUNT: "sat astride the opponent's back",
    ProposalKind.BACK_CONTROL: "held the opponent from behind with both heels inside the thighs",
    ProposalKind.PENALTY: "broke a rule of conduct",
    ProposalKind.OUT_OF_AREA: "attacked while the pair left the mat",
    ProposalKind.FLED: "left the mat to keep the other from scoring",
    ProposalKind.NEAR: "came near a score",
    ProposalKind.NONE: "did what looked like a score",
}
_SURE: Final = ((0.9, "very sure"), (0.75, "fairly sure"), (0.5, "not very sure"), (0.0, "a guess"))
"""The same words as on the review page, from the surest down."""
SAFETY: Final = (
    "The referee's call stands; this page shows footage and reasons, and overturns nothing. Chokes "
    "and joint locks belong under a qualified instructor. Footage of minors needs consent."
)


def kind_of(proposal: Proposal) -> ProposalKind:
    """What it is, or would have been."""
    return proposal.would_be or proposal.kind


def capital(text: str) -> str:
    """With a capital first letter, the rest as it is."""
    return text[:1].upper() + text[1:]


def title_of(line: LogLine) -> str:
    """Say "Guard pass, 3 points"."""
    shown = line.item.shown
    return f"{capital(speak(kind_of(shown)))}, {worth(shown)}"


def sure_text(probability: float) -> str:
    """Say "fairly sure, 82 %": never 100 %, since only a person can be certain."""
    percent = min(99, max(1, round(probability * 100)))
    words = next(words for least, words in _SURE if probability >= least)
    return f"{words}, {percent} %"


def word_of(line: LogLine) -> str:
    """Who said so; what nobody confirmed says that instead, and how sure the program is."""
    decision = line.item.decision
    if decision is None:
        return f"Proposed, not confirmed: {sure_text(line.item.shown.confidence)}"
    return f"{capital(decision.verdict)} by {decision.author}"


def named(text: str, names: Mapping[Athlete, str]) -> str:
    """The engine's sentence with the athletes' names in place of the letters A and B."""
    return re.sub(r"\b[AB]\b", lambda letter: names[Athlete(letter.group())], text)


def why_of(line: LogLine, names: Mapping[Athlete, str]) -> str:
    """The reason in the line: with names where the engine wrote it, else as the person did."""
    item, why = line.item, line.item.shown.why
    written = [item.proposal] if item.proposal is not None else []
    if item.decision is not None and not item.added:
        written.append(item.decision.seen)
    return named(why, names) if why in [each.why for each in written] else why


def missing_criteria(proposal: Proposal, names: Mapping[Athlete, str]) -> tuple[Criterion, ...]:
    """The published criteria that were not met, with names in what was seen."""
    unmet = (criterion for criterion in proposal.criteria if criterion.met is False)
    return tuple(replace(criterion, seen=named(criterion.seen, names)) for criterion in unmet)


def result_words(result: Result | None, names: Mapping[Athlete, str]) -> str:
    """The result in one sentence."""
    return "Still open." if result is None else named(result.why, names)


def standing_words(review: Review, names: Mapping[Athlete, str]) -> str:
    """How it stands by people's decisions; an end only once every line is decided."""
    if not review.undecided:
        return result_words(review.confirmed_result, names)
    if len(review.undecided) == len(review.items):
        return "Nothing is confirmed yet."
    return f"If it ended so: {result_words(review.confirmed_result, names)}"


def waiting_words(review: Review) -> str:
    """How many lines nobody decided."""
    waiting = len(review.undecided)
    return f"{counted(waiting, 'line waits', 'lines wait')} for a person."


def clock_words(time_s: float) -> str:
    """Minutes and seconds of footage, say 1:07.5."""
    tenths = round(max(0.0, time_s) * 10)
    minutes, rest = divmod(tenths, 600)
    return f"{minutes}:{rest // 10:02d}.{rest % 10}"


def counted(count: int, word: str, plural: str = "") -> str:
    """Say "1 point", "2 points"."""
    return f"{count} {word if count == 1 else plural or word + 's'}"


def tally_words(tally: Tally) -> str:
    """Advantages and penalties in words."""
    advantages = counted(tally.advantages, "advantage")
    return f"{advantages}, {counted(tally.penalties, 'penalty', 'penalties')}"
