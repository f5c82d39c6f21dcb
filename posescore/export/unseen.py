"""What was not seen of a match: an athlete, what is in doubt, cuts, and what nobody looks for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from posescore.library.review.review import Review
from posescore.pose.track import FindingKind
from posescore.terms import Interval, Position
from posescore.words import WORDS, counted, seconds_words

DOUBTFUL_BELOW: Final = 0.6
"""A position less sure than this is doubtful, as on the page of a match."""


@dataclass(frozen=True, slots=True)
class Unseen:
    """Seconds and numbers of a match up to its end.

    Parameters
    ----------
    missing_s
        An athlete was not found.
    mixed_s
        A and B may be exchanged, or both skeletons lie on one athlete.
    doubtful_s
        The position is a guess.
    unnamed_s
        No position is named: nothing was held, or nothing could be told.
    cuts
        How often the camera changes its view.
    whole_s
        Length of the match in the footage.
    """

    missing_s: float
    mixed_s: float
    doubtful_s: float
    unnamed_s: float
    cuts: int
    whole_s: float


def unseen_of(review: Review) -> Unseen:
    """Count what was not seen, up to the end of the match."""
    live = Interval(0.0, review.end_s)
    by_kind: dict[FindingKind, list[Interval]] = {kind: [] for kind in FindingKind}
    for finding in review.findings:
        if finding.interval.start_s < live.end_s:
            by_kind[finding.kind].append(finding.interval)
    named = [held.hold for held in review.holds if held.hold.position is not Position.SCRAMBLE]
    doubtful = [hold.interval for hold in named if hold.confidence < DOUBTFUL_BELOW]
    mixed = by_kind[FindingKind.POSSIBLE_SWAP] + by_kind[FindingKind.MERGED]
    return Unseen(
        missing_s=_covered_s(by_kind[FindingKind.ATHLETE_MISSING], live),
        mixed_s=_covered_s(mixed, live),
        doubtful_s=_covered_s(doubtful, live),
        unnamed_s=max(0.0, live.duration_s - _covered_s((hold.interval for hold in named), live)),
        cuts=len(by_kind[FindingKind.CUT]),
        whole_s=live.duration_s,
    )


def _covered_s(stretches: Iterable[Interval], live: Interval) -> float:
    """Seconds that the stretches cover together; what two cover counts once."""
    total_s, reached_s = 0.0, live.start_s
    for each in sorted(stretches):
        start_s, end_s = max(each.start_s, reached_s), min(each.end_s, live.end_s)
        if end_s > start_s:
            total_s, reached_s = total_s + end_s - start_s, end_s
    return total_s


def unseen_words(review: Review) -> tuple[str, ...]:
    """The same in sentences, and what the program never looks for."""
    words, found = WORDS["unseen"], unseen_of(review)
    whole = seconds_words(found.whole_s)
    said = [
        words[name].format(seconds=seconds_words(seconds), whole=whole)
        for name, seconds in (
            ("missing", found.missing_s),
            ("mixed", found.mixed_s),
            ("doubtful", found.doubtful_s),
            ("unnamed", found.unnamed_s),
        )
        if seconds >= 0.05
    ]
    if found.cuts:
        said.append(words["cuts"].format(cuts=counted(found.cuts, *words["cut_times"])))
    if not said:
        said.append(words["nothing"])
    return (*said, words["never"])
